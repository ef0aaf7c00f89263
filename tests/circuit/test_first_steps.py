"""First steps of rank one beside the steps that Newton's method takes from the same places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchcheck.circuit.batch import Batch
from benchcheck.circuit.devices import Bjt, Device, Diode, Resistor
from benchcheck.circuit.faults import Edit
from benchcheck.circuit.first_steps import Changes, FirstSteps
from benchcheck.circuit.items import Items
from benchcheck.circuit.models import BjtModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import on_a_board
from benchcheck.circuit.underway import Underway
from benchcheck.circuit.variants import Variants

DIODE = Diode("D1", "B", "GND")
PARTS: tuple[Device, ...] = (
    Resistor("R1", "A", "B", 1e3), Resistor("R2", "B", "C", 0.2), DIODE, Resistor("R3", "C", "GND", 22e3),
    Resistor("R4", "A", "E", 4.7e3), Bjt("Q1", "E", "B", "GND", "NPN", BjtModel(1e-14, 200.0, 2.0)),
)  # fmt: skip
SINGLE = {
    "a bridge": Edit((), (Resistor("bridge", "A", "C", 0.05),)),
    "a resistor that is out": Edit(("R3",)),
    "a branch that is out": Edit(("R2",)),
    "a resistor of another decade": Edit(("R1",), (Resistor("R1", "A", "B", 1e4),)),
    "a diode that is out": Edit(("D1",)),
    "nothing": Edit(),
}
OTHER = {
    "a diode turned round": Edit(("D1",), (Diode("D1", "GND", "B"),)),
    "a transistor that is out": Edit(("Q1",)),
    "two changes": Edit(("R1",), (Resistor("bridge", "A", "C", 0.05),)),
    "a diode that is out and a bridge elsewhere": Edit(("D1",), (Resistor("bridge", "A", "C", 0.05),)),
}
EVERY = {**SINGLE, **OTHER}


def _settled(variants: Variants) -> tuple[Items, FirstSteps]:
    """Return the good board read between three pairs of nets, with little current and with its source giving way."""
    nets = [("A", "GND"), ("GND", "A"), ("C", "A")]
    red, black = ([variants.row_of[net] for net in each] for each in zip(*nets, strict=True))
    batch, count = Batch(variants), 2 * len(nets)
    items = Items(
        np.zeros(count, np.intp), np.array(red * 2), np.array(black * 2), np.repeat([1e-4, 1e-2], 3),
        np.full(count, 2.7), np.zeros((batch.rows_seen, count)), np.zeros(count, bool), np.zeros(count),
    )  # fmt: skip
    outcome = batch.solve(items)
    assert outcome.solved.all()
    assert 0 < outcome.holds_current.sum() < count
    begun = replace(items, start=outcome.seen, holds_current=outcome.holds_current)
    return begun, FirstSteps(variants, items, outcome)


def test_one_change_of_a_conductance_is_of_rank_one() -> None:
    changes = Changes(Variants(Netlist(PARTS), tuple(EVERY.values()), on_a_board(None)))
    assert dict(zip(EVERY, changes.single[1:].tolist(), strict=True)) == {
        **dict.fromkeys(SINGLE, True), **dict.fromkeys(OTHER, False),
    }  # fmt: skip


@pytest.mark.parametrize("what", SINGLE)
def test_the_first_solution_is_the_one_that_would_have_been_eliminated(what: str) -> None:
    variants = Variants(Netlist(PARTS), tuple(EVERY.values()), on_a_board(None))
    begun, steps = _settled(variants)
    variant, at = np.full(len(begun.variant), 1 + list(EVERY).index(what)), np.arange(len(begun.variant))
    found, holds = steps.solution(Changes(variants), variant, at)
    assert holds.sum() >= 5  # one part may be all there is on the way of one reading
    work = Underway(
        variants,
        Items(
            variant, begun.red, begun.black, begun.ampere, begun.volt, begun.start, begun.holds_current, begun.shunt
        ),
    )
    work.evaluate()
    assert found[:, holds] == pytest.approx(work.step().solution[:, holds], rel=1e-6, abs=1e-9)


def test_taking_such_a_step_leaves_items_where_a_step_of_their_own_does() -> None:
    variants = Variants(Netlist(PARTS), tuple(EVERY.values()), on_a_board(None))
    begun, steps = _settled(variants)
    variant, at = np.full(len(begun.variant), 1 + list(EVERY).index("a diode that is out")), np.arange(6)
    items = replace(begun, variant=variant)
    own, given = Underway(variants, items), Underway(variants, items)
    own.evaluate()
    own.advance(own.step().solution)
    given.take(*steps.tangents(at), steps.solution(Changes(variants), variant, at)[0])
    assert given.seen == pytest.approx(own.seen, rel=1e-6, abs=1e-9)
    assert (given.holds_current == own.holds_current).all()
    assert given.evaluate() == pytest.approx(own.evaluate(), rel=1e-3, abs=1e-9)


def test_of_an_item_that_is_not_among_them_nothing_is_known() -> None:
    variants = Variants(Netlist(PARTS), tuple(EVERY.values()), on_a_board(None))
    _, steps = _settled(variants)
    _, holds = steps.solution(Changes(variants), np.array([1, 1]), np.array([0, -1]))
    assert holds.tolist() == [True, False]


def test_what_would_leave_next_to_nothing_is_not_taken() -> None:
    """The only part between two nets is out: what is left to divide by is rounding."""
    board = Netlist((Resistor("R1", "A", "B", 1e3), Resistor("R2", "B", "GND", 1e3)))
    variants = Variants(board, (Edit(("R1",)),), on_a_board(None))
    row, black = variants.row_of["A"], variants.row_of["GND"]
    one = np.zeros(1, np.intp)
    items = Items(
        one, one + row, one + black, np.full(1, 1e-4), np.full(1, 2.7), np.zeros((0, 1)), np.zeros(1, bool),
        np.zeros(1),
    )  # fmt: skip
    outcome = Batch(variants).solve(items)
    _, holds = FirstSteps(variants, items, outcome).solution(Changes(variants), one + 1, one)
    assert not holds.any()
