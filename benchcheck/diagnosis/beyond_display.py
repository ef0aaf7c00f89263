"""Readings of more than any meter of the bench can show: they were not read so, and are said before they are lost.

A single one of them is weighed as a slip, or as nothing to do with the board, which by itself looks like no reading.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.diagnosis.evidence import check_of
from benchcheck.diagnosis.shots import ALTERNATING, DIRECT
from benchcheck.quantity import format_value
from benchcheck.readings.reading import Reading
from benchcheck.spec.board import Board

__all__ = ["beyond_display"]

#: how far beyond the end of a range a display may still count (common practice, no source).
_OVER = 1.05
#: readings that are named one by one.
_NAMED = 4


def beyond_display(board: Board, bench: Bench, readings: Sequence[Reading]) -> Iterator[str]:
    """Yield one remark that names the unpowered readings no meter of the bench can show, none without any."""
    told = list(dict.fromkeys(filter(None, (_told(board, bench, one) for one in readings))))
    if not told:
        return
    more = f", and {len(told) - _NAMED} more" if len(told) > _NAMED else ""
    yield (
        f"more than any meter of this bench shows: {', '.join(told[:_NAMED])}{more}; look at the prefix and "
        "the quantity unit, read again there, and write OL for overload"
    )


def _told(board: Board, bench: Bench, reading: Reading) -> str:
    check, value = check_of(board, reading.check), reading.display.value
    if check is None or check.powered or value is None or check.function not in (*DIRECT, *ALTERNATING):
        return ""
    most = _most(bench, check.function)
    if most is None or abs(value) <= _OVER * most:
        return ""
    found, allowed = (format_value(one, reading.quantity_unit, ascii=True) for one in (value, most))
    return f"{reading.check} as {found} ({check.function} ends at {allowed})"


def _most(bench: Bench, function: Function) -> float | None:
    """Return the largest value that any meter of the bench shows on a function, None where none has it."""
    ends = (one.ceiling for meter in bench.meters.values() for one in meter.ranges_of(function))
    return max(ends, default=None)
