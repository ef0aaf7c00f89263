"""Remarks on a sound spec: legal, and often a slip all the same. They stop nothing."""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.document import Document
from benchcheck.quantity import format_value
from benchcheck.spec.board import Board
from benchcheck.spec.references import lone_nets
from benchcheck.spec.words import Path

__all__ = ["remarks"]


def remarks(board: Board, document: Document) -> Iterator[tuple[Path, str]]:
    """Yield (path, sentence): lone pins, pins without a model, polar parts against their bias, ratings below it."""
    yield from lone_nets(document.data)
    for name, part in board.parts.items():
        if part.unmodelled:
            nets = ", ".join(dict.fromkeys(part.pins[pin] for pin in part.unmodelled))
            found = f"names no ground pin, so nobody can say what {nets} conduct there"
            yield ("part", name, "nets"), f"{found}: they count as not complete; name the pin ground, or its clamps"
        across = _bias_v(board, name)
        rated = getattr(part, "rated_voltage", None)
        if across is None:
            continue
        if across < 0 and not getattr(part, "bipolar", False):
            at: Path = ("part", name, "nets")
            yield at, f"its plus stands {_shown(-across)} below its minus; is that the way round on the board?"
        if rated is not None and abs(across) > rated:
            found = f"is rated {_shown(rated)} with {_shown(abs(across))} across it"
            yield ("part", name, "rated_voltage"), f"{found}; check the print on the part"


def _bias_v(board: Board, name: str) -> float | None:
    """Return the DC voltage from plus to minus of a part under power, in volt, where both nets' are known."""
    pins = board.parts[name].pins
    plus, minus = pins.get("plus"), pins.get("minus")
    if plus is None or minus is None:
        return None
    high, low = board.voltage(plus), board.voltage(minus)
    return None if high is None or low is None else high - low


def _shown(volts: float) -> str:
    return format_value(volts, "V", ascii=True)
