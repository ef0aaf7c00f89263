"""A check without limits between any two nets, named so that it can be written down: `between.ohms[BSW:LX]`."""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import check
from benchcheck.kinds.check import Check, Limits, Phase, Probe

__all__ = ["between_check", "between_named"]

_SUBJECT = "between"
_FUNCTIONS = tuple(map(str, Function))


def between_check(function: Function, red: str, black: str) -> Check:
    """Return the check that reads a function with red on one net and black on another."""
    limits = Limits(origin="none: for the diagnosis")
    ends = f"{red}:{black}"
    return check(
        _SUBJECT, str(function), function, Phase.PARTS, limits, Probe(red, red), Probe(black, black), bracket=ends
    )


def between_named(name: str) -> Check | None:
    """Return the check of such a name, None for any other name.

    >>> between_named("between.ohms[BSW:LX]").red.net
    'BSW'
    """
    subject, _, rest = name.partition(".")
    function, _, ends = rest.removesuffix("]").partition("[")
    red, _, black = ends.partition(":")
    if subject != _SUBJECT or function not in _FUNCTIONS or not red or not black:
        return None
    return between_check(Function(function), red, black)
