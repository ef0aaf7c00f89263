"""Tries at a check that were refused: on disk at once, whatever ends the visit, and carried by the next reading."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial

from benchcheck.record.journal import Journal
from benchcheck.record.model import EventKind
from benchcheck.session.answers import Step

__all__ = ["Tries"]


@dataclass(slots=True)
class Tries:
    """What was tried and refused, by the id of its check, since that was read last."""

    journal: Journal
    refused: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def known_to(self, step: Step) -> Step:
        """Return a step that tells of the tries at its check, and by which more are kept."""
        check = step.check.id
        return replace(step, tries=self.refused.get(check, ()), refuse=partial(self._refuse, check))

    def _refuse(self, check: str, shown: str) -> None:
        self.journal.append_event(EventKind.TRY, check, shown)
        self.refused[check] = (*self.refused.get(check, ()), shown)

    def read(self, check: str) -> None:
        """Forget about a check that was read: its reading carries the tries."""
        self.refused.pop(check, None)
