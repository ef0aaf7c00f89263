"""Batches that are fed from queues: every item comes out once, however they come."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from benchcheck.circuit.batch import Batch
from benchcheck.circuit.devices import Diode, Resistor
from benchcheck.circuit.faults import Edit
from benchcheck.circuit.items import Items, Outcome
from benchcheck.circuit.leanings import Leanings
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import on_a_board
from benchcheck.circuit.queues import Lot
from benchcheck.circuit.variants import Variants

BOARD = Netlist((Resistor("R1", "A", "B", 1e3), Diode("D1", "B", "GND"), Resistor("R2", "A", "GND", 22e3)))
VARIANTS = Variants(BOARD, (Edit(("R2",)), Edit(("D1",), (Diode("D1", "GND", "B"),))), on_a_board(None))
COUNT = 60


def _items() -> Items:
    rng = np.random.default_rng(5)
    row_of = VARIANTS.row_of
    red, black = np.full(COUNT, row_of["A"]), np.full(COUNT, row_of["GND"])
    return Items(
        rng.integers(0, 3, COUNT), red, black, 10.0 ** rng.uniform(-7, -3, COUNT), np.full(COUNT, 3.0),
        np.zeros((1, COUNT)), np.zeros(COUNT, bool), np.zeros(COUNT),
    )  # fmt: skip


class _Trickle:
    """A queue of a few items, each of which brings the next one when it settles."""

    grows = True

    def __init__(self, begin: int) -> None:
        self._items, self._waiting, self._next = _items(), list(range(begin)), begin
        self.volt, self.met = np.full(COUNT, np.nan), np.zeros(COUNT, int)
        self.slopes = np.full((len(Leanings(VARIANTS).slots), COUNT), np.nan)
        self.failed: list[int] = []

    def more(self, most: int) -> Lot | None:
        some, self._waiting = self._waiting[:most], self._waiting[most:]
        at = np.array(some, np.intp)
        return Lot(at, self._items.chosen(at), None) if some else None

    def leans(self, at: NDArray[np.intp], volt: NDArray[np.float64]) -> NDArray[np.bool_]:
        assert len(volt) == len(at)
        return np.asarray(at % 2 == 0)

    def settle(self, at: NDArray[np.intp], outcome: Outcome, slopes: NDArray[np.float64]) -> None:
        self.volt[at], self.slopes[: len(slopes), at] = outcome.volt, slopes
        self._bring(at)

    def fail(self, at: NDArray[np.intp]) -> None:
        self.failed += at.tolist()
        self._bring(at)

    def _bring(self, at: NDArray[np.intp]) -> None:
        self.met[at] += 1
        further = min(COUNT, self._next + len(at))
        self._waiting += range(self._next, further)
        self._next = further


@pytest.mark.parametrize("begin", [1, 7, COUNT])
def test_every_item_of_a_queue_that_grows_settles_once(begin: int) -> None:
    batch, queue = Batch(VARIANTS), _Trickle(begin)
    batch.run(queue, leanings=Leanings(VARIANTS))
    whole = batch.solve(_items())
    assert (queue.met == 1).all()
    assert not queue.failed
    assert queue.volt == pytest.approx(whole.volt, rel=1e-9)


def test_slopes_are_given_where_they_are_asked_for() -> None:
    batch, queue = Batch(VARIANTS), _Trickle(COUNT)
    batch.run(queue, leanings=Leanings(VARIANTS))
    _, slopes = batch.solve_leaning(_items(), Leanings(VARIANTS))
    asked = np.arange(COUNT) % 2 == 0
    assert queue.slopes[:, asked] == pytest.approx(slopes[:, asked], rel=1e-9, abs=1e-12)
    assert np.isnan(queue.slopes[:, ~asked]).all()


def test_the_last_few_are_given_up_where_they_may_be() -> None:
    queue = _Trickle(COUNT)
    Batch(VARIANTS).run(queue, leave=12)
    assert (queue.met == 1).all()
    assert 0 < len(queue.failed) <= 12
    assert np.isnan(queue.volt[queue.failed]).all()


@pytest.mark.parametrize("chunk", [8, 16, 24, 100])
@pytest.mark.parametrize(("begin", "most"), [(1, COUNT), (COUNT, COUNT // 4)])
def test_none_is_lost_where_chunks_are_small(chunk: int, begin: int, most: int) -> None:
    """A queue that has but one at a time may have each given up; one that has all, only its last."""
    batch, queue = Batch(VARIANTS), _Trickle(begin)
    batch.chunk = chunk
    batch.run(queue, leave=12, leanings=Leanings(VARIANTS))
    assert (queue.met == 1).all()
    assert len(queue.failed) <= most
    assert np.isnan(queue.volt).sum() == len(queue.failed)
