"""Which net each pin is on: named pins in a table, or the two nets of a two-lead part in a list."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial

from benchcheck.errors import close_match
from benchcheck.kinds.part import Kind
from benchcheck.spec.words import Wrong, describe, one_of, together

__all__ = ["NAME_PATTERN", "POLES", "check_name", "read_pair", "read_pins", "read_poles"]

#: of nets, parts, rails, supplies and pins: they stand in check ids, so they work in pytest's -k.
NAME_PATTERN = r"[A-Za-z0-9_+\-./]{1,40}"
_NAME = re.compile(NAME_PATTERN)
#: the pins of rails and supplies.
POLES = ("plus", "minus")


def check_name(name: object, what: str) -> str:
    """Return a name of letters, digits and `_ + - . /`; raises Wrong. `what` is "a net" and the like."""
    if not isinstance(name, str):
        raise Wrong(f"{describe(name)} is not the name of {what}; write it in quotes")
    if not _NAME.fullmatch(name):
        allowed = "1 to 40 of the letters A to Z, a to z, digits and _ + - . /"
        raise Wrong(f"{describe(name)} cannot name {what}; names are {allowed}")
    return name


def read_pins(value: object, kind: Kind) -> dict[str, str]:
    """Return pin -> net in the kind's pin order; raises Wrong for pins the kind has not, or lacks."""
    if isinstance(value, list) and kind.two_lead:
        return dict(zip(kind.pins, read_pair(value, _example(kind)), strict=True))
    if not isinstance(value, dict):
        raise Wrong(f"{describe(value)} does not say which pin is on which net; write {_example(kind)}")
    nets = _named(value)
    if not kind.any_pins:
        _require_pins(nets, kind.pins, f"kind {kind.name}", _example(kind))
    if len(nets) > 1 and len(set(nets.values())) == 1:
        raise Wrong(f'every pin is on net "{next(iter(nets.values()))}"; nothing could be measured, name each net')
    order = [pin for pin in kind.pins if pin in nets]
    return {pin: nets[pin] for pin in (*order, *(pin for pin in nets if pin not in order))}


def read_poles(value: object) -> dict[str, str]:
    """Return the nets of a rail or supply, plus and minus; raises Wrong."""
    example = '{ plus = "V5", minus = "GND" }'
    if not isinstance(value, dict):
        raise Wrong(f"{describe(value)} does not say which net is plus and which minus; write {example}")
    nets = _named(value)
    _require_pins(nets, POLES, "a rail or supply", example)
    if nets["plus"] == nets["minus"]:
        raise Wrong(f'plus and minus are both net "{nets["plus"]}"; name two nets')
    return {pin: nets[pin] for pin in POLES}


def read_pair(value: object, example: str = '["GDR", "LX"]') -> tuple[str, str]:
    """Return two different nets written as a list; raises Wrong."""
    if not isinstance(value, list) or len(value) != 2:
        found = f"a list of {len(value)}" if isinstance(value, list) else describe(value)
        raise Wrong(f"{found} is not a pair of nets; write {example}")
    first, second = together({place: partial(check_name, net, "a net") for place, net in enumerate(value)}).values()
    if first == second:
        raise Wrong(f'both are net "{first}"; nothing could be measured, name two nets')
    return first, second


def _named(table: Mapping[str, object]) -> dict[str, str]:
    if not table:
        raise Wrong("is an empty table; name a net for each pin, or leave nets out")
    together({pin: partial(check_name, pin, "a pin") for pin in table})
    return together({pin: partial(check_name, net, "a net") for pin, net in table.items()})


def _require_pins(nets: dict[str, str], pins: tuple[str, ...], what: str, example: str) -> None:
    strangers = [
        ((pin,), f"is not a pin of {what}{close_match(pin, pins) or f'; write {one_of(pins)}'}")
        for pin in nets
        if pin not in pins
    ]
    missing = [pin for pin in pins if pin not in nets]
    if strangers:
        raise Wrong(*strangers)
    if missing:
        raise Wrong(f"says no net for {one_of(missing, 'and')}; write {example}")


def _example(kind: Kind) -> str:
    if kind.two_lead and kind.pins == ("1", "2"):
        return '["FB", "GND"]'
    pins = kind.pins or ("supply", "ground")
    return "{ " + ", ".join(f'{pin} = "..."' for pin in pins) + " }"
