"""Hypotheses gathered with their log odds and groups, more of them as they come up in a diagnosis."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.result import Ranked

__all__ = ["Gathered"]


@dataclass(slots=True)
class Gathered:
    """Hypotheses, their log odds and their groups, one place each.

    A fault beside paths that the spec does not name is of that fault's group: which part is wrong is the same answer,
    and whether something else lies on its nets is another question.
    """

    hypotheses: list[Hypothesis]
    odds: list[float]
    group: list[int]
    _place: dict[Hypothesis, int] = field(init=False)

    def __post_init__(self) -> None:
        self._place = {_told(one): at for at, one in enumerate(self.hypotheses)}

    def add(self, one: Hypothesis, odds: float, like: Hypothesis | None = None) -> None:
        """Add a hypothesis; of one that is there already the better odds count.

        It is of a group of its own, or of that of one that is there and reads the same (`like`).
        """
        told = _told(one)
        if (there := self._place.get(told)) is not None:
            self.odds[there] = max(self.odds[there], odds)
            return
        bare = self._place.get(_told(one.without_paths if like is None else like))
        self._place[told] = len(self.hypotheses)
        self.hypotheses.append(one)
        self.odds.append(odds)
        self.group.append(max(self.group) + 1 if bare is None else self.group[bare])

    @property
    def first(self) -> Hypothesis:
        """The likeliest of all."""
        return self.hypotheses[int(np.argmax(self.odds))]

    def ranked(self) -> tuple[Ranked, ...]:
        """Return all with their probabilities, the likeliest first."""
        share = np.exp(np.array(self.odds) - max(self.odds))
        share /= share.sum()
        order = np.argsort(-share, kind="stable")
        return tuple(Ranked(self.hypotheses[at], float(share[at]), self.group[at]) for at in order)


def _told(one: Hypothesis) -> Hypothesis:
    """Return a hypothesis as it is told, whatever its odds."""
    return replace(one, odds=0.0, also=tuple(_told(each) for each in one.also))
