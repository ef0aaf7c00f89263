"""What a diagnosis comes to: hypotheses with probabilities, in groups, and the measurements worth making."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.hypotheses import Hypothesis

__all__ = ["NOT_COUNTED", "Cause", "Diagnosis", "Ranked", "Suggestion", "each_once"]


@dataclass(frozen=True, slots=True)
class Ranked:
    """One hypothesis with its probability and the number of its group, from 0; the good board's is 0."""

    hypothesis: Hypothesis
    probability: float
    group: int


@dataclass(frozen=True, slots=True)
class Cause:
    """What a suggested reading would show if a hypothesis were true."""

    hypothesis: Hypothesis
    display: str


#: information of what comes first whatever it tells, in bits.
NOT_COUNTED = 0.0


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A measurement worth making: nets or leads, function, what it tells in bits, what it costs in seconds.

    What comes before anything else, such as taking charge off, tells `NOT_COUNTED`.
    """

    red: str
    black: str
    function: Function | None
    information_bits: float
    cost_s: float
    if_cause: tuple[Cause, ...]
    words: str
    check: str = ""
    by_net: bool = False


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All hypotheses, the likeliest first, what to measure next, and what has to be said beside.

    `unexplained` are the checks whose readings the likeliest does not explain.
    """

    ranked: tuple[Ranked, ...]
    suggestions: tuple[Suggestion, ...] = ()
    remarks: tuple[str, ...] = ()
    unexplained: tuple[str, ...] = ()

    @property
    def leading(self) -> tuple[tuple[Ranked, ...], float]:
        """The likeliest group and its probability."""
        return self.groups()[0]

    def groups(self) -> tuple[tuple[tuple[Ranked, ...], float], ...]:
        """Return every group with its probability, the likeliest first."""
        members: dict[int, list[Ranked]] = {}
        for one in self.ranked:
            members.setdefault(one.group, []).append(one)
        groups = [(tuple(group), math.fsum(one.probability for one in group)) for group in members.values()]
        return tuple(sorted(groups, key=lambda pair: -pair[1]))


def each_once(group: Sequence[Ranked]) -> tuple[Ranked, ...]:
    """Return the members of a group, what is wrong told once: by itself or beside unnamed paths, as is likelier."""
    told: dict[Hypothesis, Ranked] = {}
    for one in group:
        told.setdefault(one.hypothesis.without_paths, one)
    return tuple(told.values())
