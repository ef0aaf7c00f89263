"""Whoever places the probes, answers questions and looks: a person with prompts, a simulated hand, a script.

The methods return None unless somebody would rather do something else than the check: then what was said instead
(skip, later, undo, stop) comes back as an answer and the check is not taken.
"""

from __future__ import annotations

from typing import Protocol

from benchcheck.kinds.check import Check
from benchcheck.session.answers import Answer

__all__ = ["Hand"]


class Hand(Protocol):
    """The hands and eyes of a visit."""

    def place(self, check: Check) -> Answer | None:
        """Put probes, switches and the load's leads where the check says."""
        ...

    def lift(self) -> None:
        """Take the probes off."""
        ...

    def look(self, check: Check) -> str:
        """Return the answer to a visual check, in the words its `answers` allow."""
        ...

    def confirm(self, question: str) -> bool:
        """Return whether somebody says that what the question asks for is so."""
        ...

    def read(self, check: Check, meter: str) -> str:
        """Return what the display of a meter without a link shows."""
        ...

    def discharge(self, check: Check) -> None:
        """Discharge, through a resistor, what the check found charged."""
        ...
