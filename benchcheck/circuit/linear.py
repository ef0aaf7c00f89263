"""Linear equations with fixed places and changing values: full elimination when small, sparse when large.

Both pivot. Rows and columns numbered -1 belong to the reference and are dropped; vectors are padded with
its zero. Values may be real or complex.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["LinearSolver", "Vector", "linear_solver", "padded"]

Indices = NDArray[np.intp]
Vector = NDArray[Any]  # float64, or complex128 at a frequency

#: unknowns up to which full elimination is the faster (measured: the two cross between 100 and 200)
_DENSE_UP_TO = 150


class LinearSolver(Protocol):
    """Solves equations whose matrix entries sit at fixed places."""

    def solve(self, values: Vector, right: Vector, *, transposed: bool = False) -> Vector | None:
        """Return the padded solution of the system or of its transpose; None when singular.

        `right` is padded too; it may have several columns.
        """

    def sign(self, values: Vector) -> float | Vector:
        """Return the sign of the determinant, or of every block's."""


def linear_solver(rows: Indices, cols: Indices, size: int) -> LinearSolver:
    """Return the solver that suits `size` unknowns, for entries at these rows and columns (repeats add up)."""
    return (_Dense if size <= _DENSE_UP_TO else _Sparse)(rows, cols, size)


def _summed(places: Indices, values: Vector, count: int) -> Vector:
    """Return the sum of the values at each place."""
    real = np.bincount(places, values.real, count)
    return real + 1j * np.bincount(places, values.imag, count) if np.iscomplexobj(values) else real


def padded(found: Vector) -> Vector | None:
    """Return the solution with the reference's zero after it, or None when it is no number."""
    if not np.isfinite(found).all():
        return None
    return np.concatenate([found, np.zeros((1, *found.shape[1:]), found.dtype)])


class _Dense:
    """Gaussian elimination with partial pivoting on a full matrix."""

    def __init__(self, rows: Indices, cols: Indices, size: int) -> None:
        self._size = size
        self._flat = (rows % (size + 1)) * (size + 1) + cols % (size + 1)

    def matrix(self, values: Vector) -> Vector:
        wide = self._size + 1
        return _summed(self._flat, values, wide * wide).reshape(wide, wide)[:-1, :-1]

    def solve(self, values: Vector, right: Vector, *, transposed: bool = False) -> Vector | None:
        matrix = self.matrix(values)
        if transposed:
            matrix = matrix.T
        # rows of picosiemens beside rows of siemens: brought to one size, or pivoting serves only the large
        largest = np.abs(matrix).max(axis=1, initial=0.0)
        if not largest.all():
            return None
        known = right[:-1] / (largest if right.ndim == 1 else largest[:, None])
        try:
            return padded(np.linalg.solve(matrix / largest[:, None], known))
        except np.linalg.LinAlgError:
            return None

    def sign(self, values: Vector) -> float:
        return float(np.linalg.slogdet(self.matrix(values))[0])


class _Sparse:
    """Sparse elimination with partial pivoting; the pattern is sorted out once."""

    def __init__(self, rows: Indices, cols: Indices, size: int) -> None:
        self._inside = (rows % (size + 1) < size) & (cols % (size + 1) < size)
        order = cols[self._inside] * size + rows[self._inside]
        places, self._slot = np.unique(order, return_inverse=True)
        self._size, self._row = size, places % size
        self._start = np.searchsorted(places // size, np.arange(size + 1))
        self._known: tuple[Vector, Any] | None = None

    def _factors(self, values: Vector) -> Any:
        """Return the factors; those of the last matrix are kept, for its slopes and its sign are asked for next."""
        if self._known is None or self._known[0] is not values:
            self._known = None  # of two at once there is no need
            self._known = values, self._made(values)
        return self._known[1]

    def _made(self, values: Vector) -> Any:
        # imported here: a small board, and a cold `between`, need not wait for it
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        data = _summed(self._slot, values[self._inside], len(self._row))
        return splu(csc_array((data, self._row, self._start), shape=(self._size, self._size)))

    def solve(self, values: Vector, right: Vector, *, transposed: bool = False) -> Vector | None:
        try:
            factors = self._factors(values)
        except RuntimeError:  # SuperLU says: "Factor is exactly singular"
            return None
        known = np.ascontiguousarray(right[:-1], dtype=values.dtype)
        return padded(factors.solve(known, "T" if transposed else "N"))

    def sign(self, values: Vector) -> float:
        factors = self._factors(values)
        pivots = float(np.prod(np.sign(factors.U.diagonal())))
        return pivots * _parity(factors.perm_r) * _parity(factors.perm_c)


def _parity(order: Indices) -> int:
    """Return 1 for an even permutation, -1 for an odd one."""
    seen = np.zeros(len(order), dtype=bool)
    sign = 1
    for start in range(len(order)):
        at, length = start, 0
        while not seen[at]:
            seen[at] = True
            at, length = int(order[at]), length + 1
        sign = -sign if length and length % 2 == 0 else sign
    return sign
