"""Hypotheses that no reading separates: found beforehand, from the predictions alone.

Two hypotheses are apart when some reading differs by more than the meter's own limit of error, a number from overload
by more than that too, or when the eyes tell them apart. Each joins the first group whose first member it is not apart
from, the good board's group first. A part of two leads that is open and its missing joints are one group between
nets: only a tip on the very lead tells, and a tip that presses on a cold joint closes it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.shots import MeterErrors

__all__ = ["groups_of"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

_LOTS = 8  # of the readings, looked at one after the other while any hypothesis is alike


def groups_of(
    predictions: Predictions, hypotheses: Sequence[Hypothesis], errors: MeterErrors, by_eye: Collection[str] = ()
) -> tuple[int, ...]:
    """Return the group of every hypothesis, numbered from 0, the good board's.

    `by_eye` are the parts whose way round is looked at: a reversed one of them is no other fault.
    """
    limits = predictions.limits(errors)
    edges = np.array([errors.overload_from(shot.function) for shot in predictions.shots])
    at_edge = np.abs(predictions.mean) + limits >= edges  # a number that may as well be shown as overload
    turned = np.array([h.code == "reversed" and h.designator in by_eye for h in hypotheses])
    group, apart = np.full(len(hypotheses), -1), _Apart(predictions, limits, at_edge)
    for row in range(len(hypotheses)):
        if group[row] < 0:
            waiting = np.flatnonzero((group < 0) & ~turned) if not turned[row] else np.array([row])
            group[apart.alike(row, waiting)] = group.max() + 1
    return _in_order(_joints_with_open(hypotheses, group))


class _Apart:
    """What tells hypotheses apart, some of the readings before others: few of them tell most."""

    def __init__(self, predictions: Predictions, limits: Floats, at_edge: Bools) -> None:
        lots = [np.arange(at, limits.shape[1], _LOTS) for at in range(_LOTS)]
        tables = predictions.mean, predictions.known, limits, at_edge
        self._lots = [tuple(np.ascontiguousarray(table[:, lot]) for table in tables) for lot in lots]

    def alike(self, row: int, others: Indices) -> Indices:
        """Return those that nothing tells apart from one."""
        for mean, known, limits, at_edge in self._lots:
            both = known[row] & known[others]
            overload = np.isnan(mean[row]), np.isnan(mean[others])
            far = np.abs(mean[others] - mean[row]) > np.maximum(limits[row], limits[others])
            beyond = (overload[0] != overload[1]) & ~(at_edge[row] | at_edge[others])
            others = others[~(both & (far | beyond)).any(axis=1)]
        return others


def _joints_with_open(hypotheses: Sequence[Hypothesis], group: Indices) -> Indices:
    opened = {h.designator: at for at, h in enumerate(hypotheses) if h.code == "open"}
    for at, one in enumerate(hypotheses):
        two_lead = one.part_fault is not None and one.part_fault.where in (("a",), ("b",), *_TWO_LEAD)
        if one.code == "missing-joint" and two_lead and one.designator in opened:
            whole = opened[one.designator]
            if group[whole] and group[at]:
                group[at] = group[whole]
    return group


_TWO_LEAD = (("plus",), ("minus",), ("anode",), ("cathode",))


def _in_order(group: Indices) -> tuple[int, ...]:
    numbers = {old: new for new, old in enumerate(dict.fromkeys(group.tolist()))}
    return tuple(numbers[old] for old in group.tolist())
