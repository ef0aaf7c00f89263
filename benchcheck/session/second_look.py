"""A blind second reading of one check in twenty: how well this hand's contacts repeat, measured and not assumed.

Which check it is falls by lot among those read since the last one, and its first reading is not shown. Both
readings stay in the record as repeats of the check, so its own budget carries their scatter (GUM 4.2); from a few
of them on, pooled, every single reading's budget does.
"""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Phase
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.measured import repeat_ratio

__all__ = ["BLIND", "LEFT_OUT", "SECOND_LOOK", "SecondLooks", "contacts_of"]

#: the note of a reading taken as a second look.
SECOND_LOOK = "second look, blind"
#: the note kept where somebody would rather not look again.
LEFT_OUT = "second look left out"
#: with fewer second looks nothing is said about a hand: a standard deviation from three is good to a half (GUM E.1).
_LEAST = 3

BLIND = "a second reading of one check in twenty, without the first in view: it shows how well contacts repeat"


@dataclass(slots=True)
class SecondLooks:
    """Which checks are read a second time; `every` 0 for none.

    `lot` decides by chance from a seed of the visit, the same for the same checks when that is gone on with.
    """

    every: int = 0
    lot: random.Random = field(default_factory=random.Random)
    due: str = ""
    _since: list[str] = field(default_factory=list)
    _done: set[str] = field(default_factory=set)
    _seed: int = field(init=False)

    def __post_init__(self) -> None:
        """Draw the one number on which every choice rests."""
        self._seed = self.lot.getrandbits(64)

    def taken(self, check: Check, readings: Sequence[Reading]) -> str:
        """Take in that a check was read; return the id of the check to read again now, "" for none."""
        if not self.every or not _fit(check, readings) or check.id in self._done:
            return ""
        self._since.append(check.id)
        if len(self._since) < self.every:
            return ""
        self.due = self._chosen()
        return self.due

    def _chosen(self) -> str:
        lot = random.Random(f"{self._seed} {' '.join(self._since)}")
        chosen = lot.choice([one for one in self._since[:-1] if one not in self._done] or self._since)
        self._since.clear()
        self._done.add(chosen)
        return chosen

    def go_on(self, read: Sequence[str], readings: Mapping[str, Sequence[Reading]], queue: deque[Check]) -> None:
        """Go on where a visit was: `read` are the checks read, in order; a look that is due comes when all is known.

        A check read again blind stands among them a second time, after others.
        """
        checks = {check.id: check for check in queue}
        self._done = {name for name, taken in readings.items() if any(_blind(one) for one in taken)}
        before: list[str] = []
        for name in read:
            if name in before and before[-1] != name and name in self._done:
                self._since.clear()
            elif name in checks and name not in before and _fit(checks[name], readings.get(name, ())):
                self._since.append(name)
            before.append(name)
        if self.every and len(self._since) >= self.every:
            self.due = self._chosen()
            place = next((at for at, one in enumerate(queue) if one.id not in readings), len(queue))
            queue.insert(place, checks[self.due])

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
        if name in checks and any(map(_blind, taken))
        if (ratio := repeat_ratio(checks[name], taken, bench, session)) is not None
    ]
    if len(ratios) < _LEAST:
        return 0.0, 0
    return math.sqrt(math.fsum(ratio**2 for ratio in ratios) / (2.0 * len(ratios))), len(ratios)


def _blind(reading: Reading) -> bool:
    return reading.note.endswith(SECOND_LOOK)


def _fit(check: Check, readings: Sequence[Reading]) -> bool:
    """Whether a second contact says something: a number, read without power, on the unit itself."""
    plain = not check.powered and check.phase not in (Phase.SESSION, Phase.RESIDUAL_VOLTAGE, Phase.VISUAL)
    return plain and all(one.display.state is DisplayState.VALUE for one in readings)
