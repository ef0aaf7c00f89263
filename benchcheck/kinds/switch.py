"""Switch and connector: joined when closed (or mated), apart when open."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import merged_switches, part_check
from benchcheck.kinds.check import Check, Limits
from benchcheck.kinds.fields import Ohms, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone

__all__ = ["Connector", "Switch"]

_LEADS = ("1", "2")
_CLOSED = Limits(None, 0.2, "common practice, no source: a clean contact has less than 0.2 ohm")
_OPEN = Limits(10e6, None, "common practice, no source: an open contact has more than 10 Mohm")


@attrs.frozen(kw_only=True)
class Switch(Part):
    """`kind = "switch"`: one pole; `rest` is its position while parts are measured."""

    rest: Literal["open", "closed"] = "open"
    closed_resistance: Window[Ohms] | None = None
    open_resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Connector(Part):
    """`kind = "connector"`: one contact pair, lead 1 on the board, lead 2 beyond the contact.

    `rest` says whether it is mated ("closed") while parts are measured.
    """

    rest: Literal["open", "closed"] = "open"
    closed_resistance: Window[Ohms] | None = None
    open_resistance: Window[Ohms] | None = None


def _checks(part: Switch | Connector, around: Surroundings, close: str, pull: str) -> tuple[Check, ...]:
    closed = part_check(
        part,
        "closed_resistance",
        Function.OHMS,
        _LEADS,
        _CLOSED,
        given=part.closed_resistance,
        first_step=f"{close}; {phrases.NULL_LEADS}",
        why="A dirty contact varies by ohms, a cracked joint jumps when it is moved: wiggle it while you read.",
        workaround="Under power read the volts across it at working current: 0.2 V at 400 mA is 0.5 ohm, a fault.",
        switches=_position(part, part.closed_resistance, "closed"),
        settle=True,
    )
    apart = part_check(
        part,
        "open_resistance",
        Function.OHMS,
        _LEADS,
        _OPEN,
        given=part.open_resistance,
        evidence=lowered_unless_alone(part, _LEADS, around),
        first_step=f"{pull}; keep the fingers off the tips",
        why="Flux, dirt or a bridge across the contact keeps it from being off.",
        workaround="A meter with a range above 10 Mohm.",
        switches=_position(part, part.open_resistance, "open"),
        settle=True,
    )
    return closed, apart


def _position(part: Switch | Connector, given: Window[Ohms] | None, position: str) -> tuple[tuple[str, str], ...]:
    return merged_switches(given, {part.designator: position})


def switch_checks(part: Switch, around: Surroundings) -> tuple[Check, ...]:
    """Return `closed_resistance` and `open_resistance`."""
    return _checks(part, around, "close it", "open it")


def connector_checks(part: Connector, around: Surroundings) -> tuple[Check, ...]:
    """Return `closed_resistance` and `open_resistance`."""
    return _checks(part, around, "mate the two halves", "pull the two halves apart")


KINDS = (
    Kind("switch", Switch, _LEADS, switch_checks, "joined when closed, apart when open", two_lead=True),
    Kind("connector", Connector, _LEADS, connector_checks, "joined when mated, apart when not", two_lead=True),
)
