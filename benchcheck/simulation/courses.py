"""The courses of many readings on one range, solved together: a visit asks for most pairs of a board anyway.

The same as `probing.course_between` pair by pair, in two batches of the circuit room: one at the end, one at the
first moment, with every capacitor a short.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.batch import Batch
from benchcheck.circuit.devices import Capacitor
from benchcheck.circuit.items import Items, Outcome
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import on_a_board
from benchcheck.circuit.variants import Variants
from benchcheck.errors import CircuitError
from benchcheck.simulation.probing import Course, charged_at_once, course_from, drive_of, emptied
from benchcheck.simulation.world import Excitation

__all__ = ["courses_between"]

Pair = tuple[str, str]
Floats = NDArray[np.float64]


def courses_between(netlist: Netlist, pairs: Sequence[Pair], excitation: Excitation) -> dict[Pair, Course]:
    """Return the course of every pair on a range that drives a direct current.

    Pairs the batch cannot solve are left out, all of them on a circuit with power or charge in it.
    """
    ampere, compliance_v, per = drive_of(excitation)
    known = [pair for pair in dict.fromkeys(pairs) if set(pair) <= netlist.pins_on.keys() and pair[0] != pair[1]]
    end, rows = _solved(netlist, known, ampere, compliance_v)
    if end is None:
        return {}
    moved = _moved(netlist, rows, end)
    courses, slow = {}, []
    for at, pair in enumerate(known):
        volt, limited = float(end.volt[at]), not bool(end.holds_current[at])
        if not end.solved[at]:
            continue
        if charged_at_once(moved[at], ampere, volt):
            courses[pair] = Course(volt, volt, 0.0, per, limited)
        else:
            slow.append((at, pair, volt, limited))
    begin, _ = _solved(emptied(netlist), [pair for _, pair, _, _ in slow], ampere, compliance_v)
    for place, (at, pair, volt, limited) in enumerate(slow):
        if begin is not None and begin.solved[place]:
            courses[pair] = course_from(volt, float(begin.volt[place]), moved[at], ampere, per, open_ended=limited)
    return courses


def _solved(
    netlist: Netlist, pairs: Sequence[Pair], ampere: float, compliance_v: float
) -> tuple[Outcome | None, dict[str, int]]:
    """Return what comes of all pairs, and the row of every net; None where the batch cannot be used."""
    if not pairs:
        return None, {}
    try:
        variants = Variants(netlist, (), on_a_board(None))
    except CircuitError:
        return None, {}
    row_of, batch, count = variants.row_of, Batch(variants), len(pairs)
    same = [row_of[red] == row_of[black] for red, black in pairs]
    if not variants.at_rest or any(same):
        return None, {}
    items = Items(
        variant=np.zeros(count, np.intp),
        red=np.array([row_of[red] for red, _ in pairs], np.intp),
        black=np.array([row_of[black] for _, black in pairs], np.intp),
        ampere=np.full(count, ampere),
        volt=np.full(count, compliance_v),
        start=np.zeros((batch.rows_seen, count)),
        holds_current=np.zeros(count, bool),
        shunt=np.zeros(count),
    )
    return batch.solve(items), dict(row_of)


def _moved(netlist: Netlist, rows: dict[str, int], end: Outcome) -> Floats:
    """Return the sum of C V^2 over all capacitors, in joule twice, for each reading."""
    moved = np.zeros(end.unknowns.shape[1])
    for one in netlist.devices:
        if isinstance(one, Capacitor):
            across = end.unknowns[rows[one.plus]] - end.unknowns[rows[one.minus]]
            moved += one.capacitance_f * across**2
    return moved
