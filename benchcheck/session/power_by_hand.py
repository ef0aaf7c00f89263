"""Power that somebody at the bench switches, no supply being driven from here: no cell may be in all the same."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.session.answers import Answer, LeavePower, Note, Step
from benchcheck.session.power_words import CELLS_OUT

__all__ = ["PowerByHand"]


def _unkept(check: str, text: str) -> None:
    """Nothing is kept before the record is open."""


@dataclass(slots=True)
class PowerByHand:
    """Asks whether every cell is out before the first powered check, and again after one that was not powered."""

    confirm: Callable[[str], bool]
    note: Note = _unkept
    _out: bool = False

    def refused(self, step: Step) -> Answer | None:
        """Return that powered checks are left for after the others where cells may be in; None to go on."""
        if not step.check.powered:
            self._out = False  # a cell may be put back for it, or by whoever had time
            return None
        if self._out:
            return None
        if not self.confirm(CELLS_OUT):
            return LeavePower(f"not confirmed: {CELLS_OUT}")
        self._out = True
        self.note("", f"confirmed: {CELLS_OUT}")
        return None
