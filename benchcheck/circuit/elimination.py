"""Gaussian elimination of many matrices at once that share their pattern: the order is worked out once.

A board's matrix is sparse, and every fault and probe pair leaves its pattern as it is. So the pivots, the fill and
every multiply-subtract are listed once (minimum degree, Markowitz 1957), and each then runs as one array operation
over the whole batch. The cost of a solution is a few hundred operations on a number each. Of few matrices those
operations cost more than their numbers: they are solved one by one, dense, by LAPACK.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

__all__ = ["Elimination", "Solved", "elimination_of"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Signs = Callable[[Bools], Bools]

#: so many matrices take as long together as one by one (33 unknowns).
_FEW = 40


@dataclass(frozen=True, slots=True)
class _Pivot:
    """One pivot: its place, row and column; the rows it clears and the columns right of it.

    `clears`: per row below, its own entry's place, the row, and (pivot row's place, target's place) pairs;
    `right`: (place, column) of what stays in the pivot's row.
    """

    place: int
    row: int
    col: int
    clears: tuple[tuple[int, int, tuple[tuple[int, int], ...]], ...]
    right: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Solved:
    """Solutions (size x batch) and, asked of some of them, whose product of the pivots is negative.

    Where a matrix is singular the solution is not finite. `factored` says whether the values are left as
    `solve_transposed` asks for; else they are as they were.
    """

    solution: Floats
    negative: Signs
    factored: bool


class Elimination:
    """The elimination of matrices of one pattern, with given pivots first and diagonal ones after.

    `places` maps (row, column) to the index of the entry in the values' first axis, fill included. A diagonal entry,
    of which next to nothing may be left, is no pivot while its column has a row whose own pivot is off the diagonal.
    """

    def __init__(
        self, size: int, entries: Iterable[tuple[int, int]], first_pivots: Sequence[tuple[int, int]]
    ) -> None:
        self.size = size
        self.places: dict[tuple[int, int], int] = {}
        self._rows: list[set[int]] = [set() for _ in range(size)]  # columns present in each row
        self._cols: list[set[int]] = [set() for _ in range(size)]  # rows present in each column
        for row, col in entries:
            self._enter(row, col)
        self._program = self._plan(first_pivots)
        self._odd = _is_odd([pivot.row for pivot in self._program], [pivot.col for pivot in self._program])
        places = np.array(list(self.places), dtype=np.intp).reshape(-1, 2)
        self._row_at, self._col_at = places[:, 0], places[:, 1]
        self.operations = sum(1 + len(pairs) for pivot in self._program for _, _, pairs in pivot.clears)

    def _enter(self, row: int, col: int) -> int:
        self._rows[row].add(col)
        self._cols[col].add(row)
        return self.places.setdefault((row, col), len(self.places))

    def _plan(self, first_pivots: Sequence[tuple[int, int]]) -> tuple[_Pivot, ...]:
        """List the pivots: the given ones, then a row's partner column of least fill at every turn."""
        partner = {index: index for index in range(self.size)}
        program = []
        for row, col in first_pivots:
            program.append(self._eliminate(row, col))
            # the row that lost its own column takes the one the pivot's row gave up
            partner[col] = partner.pop(row) if row != col else partner[col]
            if row == col:
                del partner[row]
        while partner:
            row = min(partner, key=lambda at: (self._waits(at, partner), self._fill(at, partner[at])))
            program.append(self._eliminate(row, partner.pop(row)))
        return tuple(program)

    def _waits(self, row: int, partner: dict[int, int]) -> bool:
        """Return whether a pivot may be next to nothing beside what it would clear of a row with another's column."""
        return partner[row] == row and any(partner.get(other, other) != other for other in self._cols[row])

    def _fill(self, row: int, col: int) -> int:
        """Return how many entries a pivot may add."""
        return (len(self._rows[row]) - 1) * (len(self._cols[col]) - 1)

    def _eliminate(self, row: int, col: int) -> _Pivot:
        """Take out one row and column, entering the fill."""
        place = self._enter(row, col)
        beside = sorted(self._rows[row] - {col})
        below = sorted(self._cols[col] - {row})
        right = tuple((self.places[row, at], at) for at in beside)
        clears = tuple(
            (self.places[at, col], at, tuple((self.places[row, over], self._enter(at, over)) for over in beside))
            for at in below
        )
        for at in beside:
            self._cols[at].discard(row)
        for at in below:
            self._rows[at].discard(col)
        self._rows[row].clear()
        self._cols[col].clear()
        return _Pivot(place, row, col, clears, right)

    def solve(self, values: Floats, right: Floats) -> Solved:
        """Solve for `right` (size x batch); it and `values` (places x batch) may be overwritten."""
        count = values.shape[1]
        if 0 < count <= _FEW:
            with suppress(np.linalg.LinAlgError):  # one is singular: elimination tells which
                return self._one_by_one(values, right)
        found, negative = self.eliminate(values, right)
        return Solved(found, negative.__getitem__, factored=True)

    def dense(self, values: Floats) -> Floats:
        """Return the matrices in full (batch x size x size)."""
        dense = np.zeros((values.shape[1], self.size, self.size))
        dense[:, self._row_at, self._col_at] = values.T
        return dense

    def _one_by_one(self, values: Floats, right: Floats) -> Solved:
        """Solve dense matrices; raises numpy.linalg.LinAlgError where one is singular."""
        dense = self.dense(values)
        with np.errstate(all="ignore"):
            found = np.linalg.solve(dense, right.T[..., None])[..., 0].T

        def negative(which: Bools) -> Bools:
            return np.asarray((np.linalg.slogdet(dense[which])[0] < 0.0) ^ self._odd)

        return Solved(np.ascontiguousarray(found), negative, factored=False)

    def eliminate(self, values: Floats, right: Floats) -> tuple[Floats, Bools]:
        """Return solutions and signs, all matrices together; leave in `values` what `solve_transposed` asks for."""
        entry, side = list(values), list(right)
        negative = np.zeros(values.shape[1], dtype=bool)
        product = np.empty(values.shape[1])
        inverses = []
        with np.errstate(all="ignore"):
            for pivot in self._program:
                own = entry[pivot.place]
                negative ^= own < 0.0
                inverse = 1.0 / own
                inverses.append(inverse)
                pivot_side = side[pivot.row]
                for place, row, pairs in pivot.clears:
                    share = entry[place] * inverse
                    for source, target in pairs:
                        np.multiply(share, entry[source], out=product)
                        entry[target] -= product
                    side[row] -= share * pivot_side
            found = np.empty_like(right)
            solution = list(found)
            for pivot, inverse in zip(reversed(self._program), reversed(inverses), strict=True):
                left = side[pivot.row]
                for place, col in pivot.right:
                    left -= entry[place] * solution[col]
                np.multiply(left, inverse, out=solution[pivot.col])
        return found, negative

    def solve_transposed(self, eliminated: Floats, right: Floats) -> Floats:
        """Return the solutions of the transposed equations (size x batch), `right` overwritten.

        `eliminated` are the values as `eliminate` left them: the upper factor in place, what was cleared standing.
        """
        entry, left = list(eliminated), list(right)
        found = np.empty_like(right)
        solution = list(found)
        inverses = []
        with np.errstate(all="ignore"):
            for pivot in self._program:
                inverse = 1.0 / entry[pivot.place]
                inverses.append(inverse)
                own = np.multiply(left[pivot.col], inverse, out=solution[pivot.row])
                for place, col in pivot.right:
                    left[col] -= entry[place] * own
            for pivot, inverse in zip(reversed(self._program), reversed(inverses), strict=True):
                own = solution[pivot.row]
                for place, row, _ in pivot.clears:
                    own -= entry[place] * inverse * solution[row]
        return found


def _is_odd(rows: Sequence[int], cols: Sequence[int]) -> bool:
    """Return whether the permutation that takes each row to its column is an odd one."""
    to, odd, left = dict(zip(rows, cols, strict=True)), False, set(rows)
    while left:
        at = left.pop()
        while (at := to[at]) in left:
            left.remove(at)
            odd = not odd
    return odd


@lru_cache(maxsize=64)
def elimination_of(
    size: int, entries: tuple[tuple[int, int], ...], first_pivots: tuple[tuple[int, int], ...]
) -> Elimination:
    """Return the elimination of a pattern, worked out once for boards that have the same parts on the same nets."""
    return Elimination(size, entries, first_pivots)
