"""Variants sorted by what they add to the matrix, beside all of them in one pattern."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from benchcheck.circuit.devices import Bjt, Diode, Resistor
from benchcheck.circuit.driven import driven_ranges, range_table
from benchcheck.circuit.excitation import DiodeTest, Ohms, OhmsRange
from benchcheck.circuit.faults import Edit
from benchcheck.circuit.items import Items
from benchcheck.circuit.models import BjtModel, JunctionModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import on_a_board
from benchcheck.circuit.sorted_variants import Sort, SortedVariants

NETS = [f"N{at}" for at in range(40)]
TRANSISTOR = Bjt("Q1", "N5", "N6", "GND", "NPN", BjtModel(1e-14, 200.0, 2.0))
BOARD = Netlist(
    [
        *(Resistor(f"R{at}", a, b, 1e3 * (1 + at)) for at, (a, b) in enumerate(pairwise(NETS))),
        *(Resistor(f"R{at}G", NETS[at], "GND", 4.7e3 + at) for at in range(0, 40, 5)),
        Diode("D1", "N3", "GND", JunctionModel(1e-12, 1.5)),
        TRANSISTOR,
    ]
)
TURNED = Bjt("Q1", "GND", "N6", "N5", "NPN", TRANSISTOR.model)
EDITS = (
    Edit(("R3",)),
    Edit(("D1",), (Diode("D1", "GND", "N3", JunctionModel(1e-12, 1.5)),)),
    Edit(("Q1",), (TURNED,)),
    *(Edit((), (Resistor("bridge", NETS[at], NETS[at + 3], 0.1),)) for at in range(36)),
)


def _items(sort: Sort) -> Items:
    """Return every variant of a sort read between three pairs of nets, 100 uA up to 3 V."""
    row_of = sort.batch.variants.row_of
    red, black = ([row_of[net] for net in nets] for nets in (("N0", "N3", "N6"), ("GND", "N39", "N5")))
    own = sort.number[sort.number >= 0]
    variant, every = np.repeat(own, 3), 3 * len(own)
    return Items(
        variant, np.tile(red, len(own)), np.tile(black, len(own)), np.full(every, 1e-4), np.full(every, 3.0),
        np.zeros((sort.batch.rows_seen, every)), np.zeros(every, bool), np.zeros(every),
    )  # fmt: skip


def test_every_variant_is_solved_as_in_one_pattern_of_them_all() -> None:
    sorts = SortedVariants(BOARD, EDITS, on_a_board(None))
    whole, every = sorts.together.batch, _items(sorts.together)
    together = whole.solve(every)
    assert together.solved.all()
    slopes = whole.leanings(every, together, sorts.together.leanings)
    met = []
    for sort in sorts.apart:
        items, at = _items(sort), np.flatnonzero(np.isin(every.variant, np.flatnonzero(sort.number >= 0)))
        apart = sort.batch.solve(items)
        assert apart.solved.all()
        assert apart.volt == pytest.approx(together.volt[at], rel=1e-7)
        found = sort.batch.leanings(items, apart, sort.leanings)
        assert found == pytest.approx(slopes[:, at], rel=1e-5, abs=1e-9)
        met += at.tolist()
    assert sorted(met) == list(range(3, len(every.variant)))  # all but the good board's


def test_bridges_lengthen_no_elimination_but_their_own() -> None:
    sorts = SortedVariants(BOARD, EDITS, on_a_board(None))
    patterns = [sort.batch.variants.elimination.operations for sort in sorts.apart]
    good = sorts.good.batch.variants.elimination.operations
    assert len(patterns) == 3  # those that add nothing, and 36 bridges in two lots
    assert patterns[0] == good
    assert all(good < each < sorts.whole.elimination.operations for each in patterns[1:])


def test_a_board_without_variants_has_none_to_sort() -> None:
    sorts = SortedVariants(BOARD, (), on_a_board(None))
    assert sorts.apart == ()
    assert sorts.together.batch.variants is sorts.good.batch.variants


def test_ranges_are_one_row_a_probe_with_nothing_where_there_is_none() -> None:
    ohms = Ohms((OhmsRange(600.0, 1e-3, 2.7), OhmsRange(6e3, 1e-4, 2.7)), lead_resistance_ohm=0.2)
    table = range_table([driven_ranges(ohms), driven_ranges(DiodeTest(1e-3, 3.0, 2.0)), ()])
    assert table["ampere"] == pytest.approx(np.array([[1e-3, 1e-4], [1e-3, np.nan], [np.nan, np.nan]]), nan_ok=True)
    assert table["leads"][0] == pytest.approx(0.2)
    assert table["factor"][1, 0] == 1.0
    assert table["volt"][0, 0] == pytest.approx(2.7 - 0.2e-3)  # the leads take their share of the compliance
