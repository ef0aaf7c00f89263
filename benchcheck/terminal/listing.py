"""Checks listed for reading: what a spec asks for, and what a bench makes of it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from benchcheck.kinds.check import Check
from benchcheck.quantity import format_value
from benchcheck.score.capability import Capability

__all__ = ["capability_lines", "check_lines", "window"]


def window(lower: float | None, upper: float | None, quantity_unit: str) -> str:
    """Return an interval in words: `4.65 kohm to 4.75 kohm`, `at most 0.4 ohm`, "" when open on both sides."""
    low, high = (
        None if limit is None else format_value(limit, quantity_unit, ascii=True) for limit in (lower, upper)
    )
    if low and high:
        return f"{low} to {high}"
    if low or high:
        return f"at least {low}" if low else f"at most {high}"
    return ""


def check_lines(check: Check) -> tuple[str, ...]:
    """Return a check as one line for its limits and one for where they come from."""
    limits = window(check.limits.lower, check.limits.upper, check.quantity_unit) or " or ".join(check.answers)
    origin = textwrap.wrap(check.limits.origin, 74, initial_indent="      ", subsequent_indent="      ")
    return (f"  {check.id:<34} {check.function:<13} {limits}", *origin)


def capability_lines(found: Iterable[Capability]) -> tuple[str, ...]:
    """Return what a bench can decide, check by check, with the workaround under those it cannot."""
    lines: list[str] = []
    for one in found:
        uncertainty = (
            ""
            if one.expanded_uncertainty is None
            else f"U {format_value(one.expanded_uncertainty, one.quantity_unit, ascii=True)}"
        )
        ratio = "" if one.ratio is None else f"{one.ratio:.1f}"
        lines.append(f"{one.decides:<10} {one.check:<31} {one.function:<12} {uncertainty:<14} {ratio:>7}".rstrip())
        if one.workaround:
            lines.extend(textwrap.wrap(one.workaround, 66, initial_indent=" " * 11, subsequent_indent=" " * 11))
    return tuple(lines)
