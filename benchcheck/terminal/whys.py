"""Why: what a check is for, what its reading can show on this meter, and what the circuit around makes of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import BenchcheckError
from benchcheck.kinds.check import Check, Evidence
from benchcheck.readings.reading import Session
from benchcheck.score.between import between
from benchcheck.score.capability import capability
from benchcheck.score.explain import explain
from benchcheck.score.model import Score
from benchcheck.spec.board import Board
from benchcheck.terminal.listing import between_lines

__all__ = ["why_lines"]

_SHOWS = {
    Evidence.DIRECT: "The reading is the thing itself.",
    Evidence.LOWERED: "Other paths on the board only lower it: too high convicts, low or right proves nothing.",
    Evidence.RAISED: "Other paths on the board only raise it: too low convicts, high or right proves nothing.",
    Evidence.SHUNTED: "Parts beside the junction only lower its drop: too low proves nothing, too high convicts.",
    Evidence.SCREEN: "It can reject the part, not prove it.",
}
_SOLVED = (Function.OHMS, Function.DIODE, Function.CAPACITANCE, Function.ESR)


def why_lines(
    check: Check, bench: Bench, session: Session, board: Board | None, last: tuple[Check, Score] | None
) -> tuple[str, ...]:
    """Return the explanation of a check, then how the check before it was decided."""
    lines = [check.id, f"  {check.why}", f"  limits: {check.limits.origin}"]
    if "paths" not in check.why:
        lines.append(f"  {_SHOWS[check.evidence]}")
    lines += _tried(lambda: _able(check, bench, session))
    if board is not None:
        lines += _tried(lambda: _around(check, bench, board))
    if last is not None:
        lines += ["", f"before: {last[0].id}"]
        lines += _tried(lambda: _rejoined(explain(last[1], last[0], bench.decision))[1:])
    return tuple(lines)


def _rejoined(lines: Sequence[str]) -> list[str]:
    """Return lines that were folded for another width in one piece each: the screen folds them for its own."""
    joined: list[str] = []
    for line in lines:
        before = len(joined[-1]) - len(joined[-1].lstrip()) if joined else 0
        if before and len(line) - len(line.lstrip()) == before + 2:
            joined[-1] += f" {line.strip()}"
        else:
            joined.append(line)
    return joined


def _tried(lines: Callable[[], list[str]]) -> list[str]:
    """Return lines, or in words why they cannot be made: an explanation never ends a visit."""
    try:
        return lines()
    except BenchcheckError as error:
        return [f"  {error}"]


def _able(check: Check, bench: Bench, session: Session) -> list[str]:
    able = capability(check, bench, session)
    lines = [f"  this bench decides: {able.decides}" + (f", {able.reason}" if able.reason else "")]
    return [*lines, f"  otherwise: {able.workaround}"] if able.workaround else lines


def _around(check: Check, bench: Bench, board: Board) -> list[str]:
    red, black = (probe.net if probe is not None else None for probe in (check.red, check.black))
    if red is None or black is None or red == black or check.function not in _SOLVED or check.powered:
        return []
    return ["", *between_lines(between(board, bench, red, black, check.function))]
