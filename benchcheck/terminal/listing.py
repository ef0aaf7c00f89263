"""Checks listed for reading: what a spec asks for, and what a bench makes of it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from benchcheck.quantity import brief_value, format_limits, format_value

if TYPE_CHECKING:
    from benchcheck.kinds.check import Check
    from benchcheck.score.between import Between, Expected
    from benchcheck.score.capability import Capability

__all__ = ["between_lines", "capability_lines", "check_lines"]


_RATIO = (
    "The ratio is half the width of the limits over U, the expanded uncertainty where a good unit reads: from 4 "
    "on comfortable, below 1.5 undecided near the limits, below 1 undecided everywhere."
)


def check_lines(check: Check) -> tuple[str, ...]:
    """Return a check as one line for its limits and one for where they come from."""
    within = format_limits(check.limits.lower, check.limits.upper, check.quantity_unit, ascii=True)
    limits = within or " or ".join(check.answers)
    origin = textwrap.wrap(check.limits.origin, 74, initial_indent="      ", subsequent_indent="      ")
    return (f"  {check.id:<34} {check.function:<13} {limits}", *origin)


def capability_lines(found: Iterable[Capability], unmodelled: Sequence[str] = ()) -> tuple[str, ...]:
    """Return what a bench can decide, check by check; a workaround stands once under a run of checks it serves.

    `unmodelled` are the parts that the circuit has no model of.
    """
    lines = [f"{'decides':<10} {'check':<34} {'function':<13} {'U there':>11} {'ratio':>7}"]
    told = ""
    for one in found:
        ratio = "" if one.ratio is None else f"{one.ratio:.1f}"
        lines.append(f"{one.decides:<10} {one.check:<34} {one.function:<13} {_expanded(one):>11} {ratio:>7}".rstrip())
        lines.extend(_on_board(one))
        if one.workaround and one.workaround != told:
            lines.extend(textwrap.wrap(one.workaround, 69, initial_indent=" " * 11, subsequent_indent=" " * 11))
        told = one.workaround
    said = f"No model of {', '.join(unmodelled)}: their nets count as not complete." if unmodelled else ""
    return (*lines, "", *textwrap.wrap(_RATIO, 80), *textwrap.wrap(said, 80))


def _on_board(one: Capability) -> list[str]:
    """Return what the good board reads both ways, and the parts that make it so; nothing where no circuit says."""
    seen = one.on_board
    if seen is None:
        return []
    ways = seen.display if seen.display == seen.display_exchanged else f"{seen.display}, exchanged"
    exchanged = "both ways" if seen.display == seen.display_exchanged else seen.display_exchanged
    parts = ", ".join(f"{share.part} {share.percent:.0f} %" for share in seen.shares)
    told = f"the good board reads {ways} {exchanged}" + (f": {parts}" if parts else "")
    return textwrap.wrap(told, 69, initial_indent=" " * 11, subsequent_indent=" " * 11)


def _expanded(one: Capability) -> str:
    if one.expanded_uncertainty is None:
        return ""
    return format_value(one.expanded_uncertainty, one.quantity_unit, digits=2, ascii=True)


def between_lines(found: Between) -> tuple[str, ...]:
    """Return what a meter should read between two nets: both ways round, the parts behind it, faults beside it."""
    lines: list[str] = []
    for one in found.readings:
        spread = "" if one.standard_uncertainty is None else f", u {_brief(one.standard_uncertainty, one)}"
        lines.append(f"red on {one.red}, black on {one.black}, {found.function}: {one.display}{spread}")
        if one.shares:
            parts = ", ".join(f"{share.part} {share.percent:.0f} %" for share in one.shares)
            lines.extend(textwrap.wrap(f"made so by {parts}", 76, initial_indent="    ", subsequent_indent="    "))
        told = [each for each in one.if_faulty if each.display != one.display]
        lines.extend(f"    {each.designator:<8} {each.fault:<12} would read {each.display}" for each in told)
    for remark in found.remarks:
        lines.extend(textwrap.wrap(remark, 80))
    return tuple(lines)


def _brief(value: float, one: Expected) -> str:
    return brief_value(value, one.quantity_unit, 2)
