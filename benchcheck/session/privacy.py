"""What an instrument's trouble says of where it is stays on the screen: records travel, addresses do not."""

from __future__ import annotations

import re
from collections.abc import Iterator

from benchcheck.bench.model import Bench

__all__ = ["concealed"]

_SHORTEST = 4  # a board number or a channel is no address
_PLACE = "(its address)"


def concealed(text: str, bench: Bench) -> str:
    """Return a text without the resources, hosts and devices of the bench's links, and without any host's number.

    >>> from benchcheck.bench.simulated import default_bench
    >>> concealed("psu: 192.0.2.7 refuses", default_bench())
    'psu: (its address) refuses'
    """
    for word in sorted(set(_words(bench)), key=len, reverse=True):
        text = text.replace(word, _PLACE)
    return re.sub(r"\b\d{1,3}(?:\.\d{1,3}){3}\b", _PLACE, text)


def _words(bench: Bench) -> Iterator[str]:
    powering = (*(one.link for one in bench.supplies.values()), *(one.link for one in bench.loads.values()))
    for link in (*(one.link for one in bench.meters.values()), *powering):
        if link is not None:
            yield link.resource
            if link.dialect_file:
                yield link.dialect_file
            pieces = link.resource.split("::")
            yield from (word for word in (*pieces[1:-1], pieces[0].removeprefix("ASRL")) if len(word) > _SHORTEST)
