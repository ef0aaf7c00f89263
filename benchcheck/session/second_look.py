"""A blind second reading of one check in twenty: how well this hand's contacts repeat, measured and not assumed.

Which check it is falls by lot among those read since the last one, and its first reading is not shown. Both
readings stay in the record as repeats of the check, so its own budget carries their scatter (GUM 4.2); from a few
of them on, pooled, every single reading's budget does.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Phase
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.measured import repeat_ratio

__all__ = ["BLIND", "SECOND_LOOK", "SecondLooks", "contacts_of"]

#: the note of a reading taken as a second look.
SECOND_LOOK = "second look, blind"
#: with fewer second looks nothing is said about a hand: a standard deviation from three is good to a half (GUM E.1).
_LEAST = 3

BLIND = "a second reading of one check in twenty, without the first in view: it shows how well contacts repeat"


@dataclass(slots=True)
class SecondLooks:
    """Which checks are read a second time; `every` 0 for none. `lot` decides by chance from a seed of the visit."""

    every: int = 0
    lot: random.Random = field(default_factory=random.Random)
    due: str = ""
    _since: list[str] = field(default_factory=list)
    _done: set[str] = field(default_factory=set)

    def taken(self, check: Check, readings: Sequence[Reading]) -> str:
        """Take in that a check was read; return the id of the check to read again now, "" for none."""
        if not self.every or not _fit(check, readings) or check.id in self._done:
            return ""
        self._since.append(check.id)
        if len(self._since) < self.every:
            return ""
        chosen = self.lot.choice(self._since[:-1] or self._since)
        self._since.clear()
        self._done.add(chosen)
        self.due = chosen
        return chosen

    def forget(self) -> None:
        """Let the reading that is due be: it was answered, or somebody would rather not."""
        self.due = ""


def contacts_of(
    readings: Mapping[str, Sequence[Reading]], checks: Mapping[str, Check], bench: Bench, session: Session
) -> tuple[float, int]:
    """Return how this hand's contacts repeat: see `Session.contacts`.

    Each pair has one degree of freedom and half the square of its difference for a variance (GUM 4.2.4, pooled).
    """
    ratios = [
        ratio
        for name, taken in readings.items()
        if name in checks and any(one.note.endswith(SECOND_LOOK) for one in taken)
        if (ratio := repeat_ratio(checks[name], taken, bench, session)) is not None
    ]
    if len(ratios) < _LEAST:
        return 0.0, 0
    return math.sqrt(math.fsum(ratio**2 for ratio in ratios) / (2.0 * len(ratios))), len(ratios)


def _fit(check: Check, readings: Sequence[Reading]) -> bool:
    """Whether a second contact says something: a number, read without power, on the unit itself."""
    plain = not check.powered and check.phase not in (Phase.SESSION, Phase.RESIDUAL_VOLTAGE, Phase.VISUAL)
    return plain and all(one.display.state is DisplayState.VALUE for one in readings)
