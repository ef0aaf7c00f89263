"""Direct-current readings between many pairs of nets at once, each begun where another unit of the board ended.

Units of one board differ by their tolerances, so Newton's method needs a few steps where it would need a score from
rest, and the range a pair ended on is near. The results are those of autorange: the lowest range not overloaded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.batch import Batch
from benchcheck.circuit.faults import FaultSizes, PartFault, edit_of
from benchcheck.circuit.items import Items, Outcome
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import on_a_board
from benchcheck.circuit.variants import Variants

__all__ = ["Place", "Row", "Solver"]

Floats = NDArray[np.float64]
#: red, black, and what is measured there.
Place = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Row:
    """One range: test current in ampere, compliance in volt, reading per volt, largest reading."""

    ampere: float
    volt: float
    per_volt: float
    ceiling: float


@dataclass(slots=True)
class _Search:
    """The range in use for one place, and what is known of its neighbours: the value on a range that holds it."""

    at: int
    held: dict[int, float]
    overloaded: set[int]

    def next(self, last: int) -> int | None:
        """Return the range to read next, None when the lowest that is not overloaded is known."""
        if self.at in self.held:
            below = self.at - 1
            return below if below >= 0 and below not in self.overloaded else None
        above = self.at + 1
        return above if above <= last and above not in self.held else None

    def value(self) -> float:
        """Return the reading on the lowest range that holds it, infinite where none does."""
        return self.held[min(self.held)] if self.held else math.inf


class Solver:
    """Solves for units of one board; what it learnt of one unit serves the next."""

    def __init__(self) -> None:
        """Know nothing yet."""
        self._ended: dict[Place, int] = {}
        self._seen: dict[tuple[Place, int, int], tuple[Floats, bool]] = {}

    def solve(
        self, netlist: Netlist, fault: PartFault | None, wanted: Mapping[Place, Sequence[Row]]
    ) -> dict[Place, float] | None:
        """Return readings by place, infinite for overload; None where this unit cannot be solved so.

        Single readings that cannot are left out.
        `fault` is one fault on top of the netlist. CircuitError for a fault the netlist cannot have.
        """
        edits = [] if fault is None else [edit_of(netlist, fault, FaultSizes())]
        variants = Variants(netlist, edits, on_a_board(None))
        if not variants.at_rest or not variants.fits.all():
            return None
        batch, row_of = Batch(variants), variants.row_of
        searches = {
            place: _Search(max(0, min(len(rows) - 1, self._ended.get(place, 0) - 1)), {}, set())
            for place, rows in wanted.items()
            if row_of[place[0]] != row_of[place[1]]
        }
        pending = list(searches)
        while pending:
            ranges = [(place, searches[place].at) for place in pending]
            found = batch.solve(self._items(variants, batch, wanted, ranges, len(edits)))
            self._learn(ranges, found)
            pending = _further(wanted, searches, ranges, found)
        self._ended |= {place: min(search.held, default=len(wanted[place]) - 1) for place, search in searches.items()}
        shorted = {place: 0.0 for place in wanted if row_of[place[0]] == row_of[place[1]]}
        return shorted | {place: search.value() for place, search in searches.items()}

    def _items(
        self,
        variants: Variants,
        batch: Batch,
        wanted: Mapping[Place, Sequence[Row]],
        ranges: Sequence[tuple[Place, int]],
        variant: int,
    ) -> Items:
        rows = [wanted[place][at] for place, at in ranges]
        start, holds = np.zeros((batch.rows_seen, len(ranges))), np.zeros(len(ranges), bool)
        for column, (place, at) in enumerate(ranges):
            known = self._seen.get((place, at, batch.rows_seen))
            if known is not None:
                start[:, column], holds[column] = known
        return Items(
            variant=np.full(len(ranges), variant, np.intp),
            red=np.array([variants.row_of[place[0]] for place, _ in ranges], np.intp),
            black=np.array([variants.row_of[place[1]] for place, _ in ranges], np.intp),
            ampere=np.array([row.ampere for row in rows]),
            volt=np.array([row.volt for row in rows]),
            start=start,
            holds_current=holds,
            shunt=np.zeros(len(ranges)),
        )

    def _learn(self, ranges: Sequence[tuple[Place, int]], found: Outcome) -> None:
        size = len(found.seen)
        for column, (place, at) in enumerate(ranges):
            if not found.solved[column]:
                continue
            self._seen.setdefault(
                (place, at, size), (found.seen[:, column].copy(), bool(found.holds_current[column]))
            )


def _further(
    wanted: Mapping[Place, Sequence[Row]],
    searches: dict[Place, _Search],
    ranges: Sequence[tuple[Place, int]],
    found: Outcome,
) -> list[Place]:
    """Take in what was read, drop what was not solved, and return the places that need another range."""
    pending = []
    for column, (place, at) in enumerate(ranges):
        if not found.solved[column]:
            del searches[place]
            continue
        row, search = wanted[place][at], searches[place]
        value = float(found.volt[column]) * row.per_volt
        if found.holds_current[column] and value <= row.ceiling:
            search.held[at] = value
        else:
            search.overloaded.add(at)
        following = search.next(len(wanted[place]) - 1)
        if following is not None:
            search.at = following
            pending.append(place)
    return pending
