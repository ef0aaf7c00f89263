"""The changed devices of a batch: a diode turned round, a transistor of the wrong type or with swapped pins.

They sit beside the shared pattern: each belongs to some of the items, has parameters of its own there, and is put
into the matrix entry by entry.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Generic, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from .cards import bjt_arrays, junction_arrays, mosfet_arrays
from .idealities import bjt_by_ideality, by_ideality
from .physics import BjtArrays, Conditions, JunctionArrays, MosfetArrays
from .tangents import BjtTangent, Limits, MosfetTangent, junction_tangent, taken

if TYPE_CHECKING:
    from .variants import Variants

__all__ = ["ExtraBjts", "ExtraJunctions", "ExtraMosfets"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]
Arrays = TypeVar("Arrays", JunctionArrays, BjtArrays, MosfetArrays)
_STATE = ("_seen", "_predicted")


class _Extra(Generic[Arrays]):
    """Changed devices of one sort: the positions of their items, their parameters and rows.

    `_conductances` (terminals x terminals x devices) and `_offsets` (terminals x devices) are the tangents last
    taken, `_seen` what they see, `_predicted` what the last step said they carry.
    """

    _TANGENTS: tuple[str, ...] = ("_conductances", "_offsets")

    def __init__(self, variants: Variants, device_of: Indices, arrays: Arrays, rows: Indices, sees: int) -> None:
        self._variants, self._device_of = variants, device_of
        self._count = 0
        self._at = np.zeros(0, np.intp)
        self._device = np.zeros(0, np.intp)
        self._all: Arrays = arrays
        self._all_rows = rows
        self._seen: Floats = np.zeros((sees, 0))
        self._predicted: Floats = np.zeros((sees, 0))
        self._conductances: Floats = np.zeros((0, 0, 0))
        self._offsets: Floats = np.zeros((0, 0))
        self._arrays: Arrays = arrays
        self._rows: Indices = rows.T

    def _choose(self) -> None:
        self._arrays = taken(self._all, self._device)
        self._rows = self._all_rows[self._device].T

    def begin(self, variant: Indices) -> None:
        """Begin the devices of some items, at rest."""
        device = self._device_of[variant]
        self._at, self._count = np.flatnonzero(device >= 0), len(variant)
        self._device = device[self._at]
        self._seen = self._predicted = np.zeros((len(self._seen), self.count))
        if self.count:
            self._choose()

    def join(self, parts: Sequence[Self], *, settled: bool) -> None:
        """Be the devices of the items of all parts, one after the other; of `settled` ones keep the tangents."""
        before = np.cumsum([0, *(part._count for part in parts)])
        self._at = np.concatenate([begin + part._at for begin, part in zip(before, parts, strict=False)])
        self._device = np.concatenate([part._device for part in parts])
        self._count = int(before[-1])
        if not self.count:
            return
        self._choose()
        for name in (*_STATE, *(self._TANGENTS if settled else ())):
            setattr(self, name, np.concatenate([getattr(part, name) for part in parts if part.count], axis=-1))

    def keep(self, which: Indices) -> None:
        """Go on with the devices of some of the items."""
        if self.count:
            place = np.full(self._count, -1)
            place[which] = np.arange(len(which))
            kept = place[self._at] >= 0
            self._at, self._device = place[self._at[kept]], self._device[kept]
            self._choose()
            for name in (*_STATE, *self._TANGENTS):
                setattr(self, name, getattr(self, name)[..., kept])
        self._count = len(which)

    def add_to(self, values: Floats, right: Floats) -> None:
        """Put the tangents into the matrix values and right sides."""
        for i, row in enumerate(self._rows):
            for j, col in enumerate(self._rows):
                values[self._variants.places[row, col], self._at] += self._conductances[i, j]
            right[row, self._at] -= self._offsets[i]

    @property
    def count(self) -> int:
        """How many of the items have such a device."""
        return len(self._at)

    def leaning(self, solution: Floats, adjoint: Floats) -> tuple[Indices, Indices, tuple[Floats, Floats]]:
        """Return items, devices, and how the probes' voltage moves with each one's forward drop and its ideality."""
        carried, at_rows = self._carried(self._outer(solution)), adjoint[self._rows, self._at]
        drop, ideal = ((at_rows * (each / self._drop_v())).sum(axis=0) for each in (carried, self._ideal(carried)))
        return self._at, self._device, (drop, ideal)

    def _ideal(self, carried: Floats) -> Floats:
        """Return what the terminals carry, times the volts of forward drop that one more of ideality is worth."""
        raise NotImplementedError

    def _drop_v(self) -> Floats:
        """Return by how many volts of forward drop a device's currents fall by a factor e, at its terminals."""
        raise NotImplementedError

    def _note(self, current: Floats, astray: Floats) -> None:
        """Raise `astray` where a true current is off what the last step predicted."""
        off = np.abs(current - self._predicted).max(axis=0, initial=0.0)
        astray[self._at] = np.maximum(astray[self._at], off)

    def _outer(self, solution: Floats) -> Floats:
        return solution[self._rows, self._at]

    def _carried(self, outer: Floats) -> Floats:
        """Return what the tangents carry at these terminal voltages (terminals x devices)."""
        carried: Floats = (self._conductances * outer).sum(axis=1) + self._offsets
        return carried

    def _held(self, kept: Floats, new: Floats, held_back: Bools) -> None:
        held_back[self._at] |= (kept != new).any(axis=0)
        self._seen = kept


class ExtraJunctions(_Extra[JunctionArrays]):
    """Junctions turned round or moved."""

    def __init__(self, variants: Variants) -> None:
        extras = variants.extras
        super().__init__(variants, extras.junction_of, extras.junctions, extras.junction_rows, 1)

    def evaluate(self, astray: Floats) -> None:
        """Take the tangents."""
        slope, offset, current = junction_tangent(self._arrays, self._seen[0])
        self._note(current, astray)
        self._conductances = np.stack([np.stack([slope, -slope]), np.stack([-slope, slope])])
        self._offsets = np.stack([offset, -offset])

    def _drop_v(self) -> Floats:
        return np.asarray(self._arrays.slope_v / (1.0 - self._conductances[0, 0] * self._arrays.series))

    def _ideal(self, carried: Floats) -> Floats:
        thermal_v = self._variants.conditions.thermal_voltage_v
        return carried * by_ideality(carried[0], self._arrays.saturation, thermal_v)

    def advance(self, solution: Floats, held_back: Bools) -> None:
        """Move to what the solution shows, held back where need be."""
        outer = self._outer(solution)
        self._predicted = self._carried(outer)[:1]
        new = outer[0] - outer[1] - self._arrays.series * self._predicted[0]
        limits = Limits(self._arrays, _NO_BJTS, _NO_MOSFETS)
        self._held(limits.junction(new, self._seen[0])[None], new[None], held_back)


class ExtraBjts(_Extra[BjtArrays]):
    """Bipolar transistors of the wrong type, with pins swapped, or with one pin lifted."""

    _TANGENTS = ("_conductances", "_offsets", "_inner", "_inner_offsets")

    def __init__(self, variants: Variants) -> None:
        extras = variants.extras
        super().__init__(variants, extras.bjt_of, extras.bjts, extras.bjt_rows, 2)

    def _choose(self) -> None:
        super()._choose()
        self._open = self._variants.extras.open_pin[self._device]

    def evaluate(self, astray: Floats) -> None:
        """Take the tangents; a lifted pin carries nothing, which settles its voltage and takes it out."""
        tangent = BjtTangent.at(self._arrays, self._seen)
        self._note(tangent.current, astray)
        by = np.stack([-tangent.slopes[:, 1], tangent.slopes.sum(axis=1), -tangent.slopes[:, 0]], axis=1)
        self._inner = np.concatenate([by, -by.sum(axis=0, keepdims=True)])
        offsets = self._arrays.sign * tangent.offsets
        self._inner_offsets = np.concatenate([offsets, -offsets.sum(axis=0, keepdims=True)])
        self._conductances, self._offsets = self._inner.copy(), self._inner_offsets.copy()
        for pin in range(3):
            self._lift(pin, np.flatnonzero(self._open == pin))

    def _drop_v(self) -> Floats:
        return self._arrays.forward_slope_v

    def _ideal(self, carried: Floats) -> Floats:
        sign, thermal_v = self._arrays.sign, self._variants.conditions.thermal_voltage_v
        collector, base = sign * bjt_by_ideality(sign * carried[:2], self._arrays, thermal_v)
        ideal = np.stack([collector, base, -collector - base])
        for pin in range(3):  # a lifted pin carries nothing, whatever its junctions are
            which = np.flatnonzero(self._open == pin)
            share = self._inner[:, pin, which] / self._inner[pin, pin, which]
            ideal[:, which] -= share * ideal[pin, which]
        return ideal

    def _lift(self, pin: int, which: Indices) -> None:
        if not len(which):
            return
        inner, offsets = self._inner[:, :, which], self._inner_offsets[:, which]
        share = inner[:, pin] / inner[pin, pin]
        self._conductances[:, :, which] = inner - share[:, None] * inner[pin][None]
        self._offsets[:, which] = offsets - share * offsets[pin]
        self._conductances[pin, :, which] = 0.0
        self._conductances[:, pin, which] = 0.0
        self._offsets[pin, which] = 0.0

    def advance(self, solution: Floats, held_back: Bools) -> None:
        """Move to what the solution shows, held back where need be."""
        outer = self._outer(solution)
        for pin in range(3):
            which = np.flatnonzero(self._open == pin)
            if len(which):
                others = [at for at in range(3) if at != pin]
                pulled = (self._inner[pin][:, which][others] * outer[:, which][others]).sum(axis=0)
                outer[pin, which] = -(pulled + self._inner_offsets[pin, which]) / self._inner[pin, pin, which]
        carried = (self._inner * outer).sum(axis=1) + self._inner_offsets
        self._predicted = self._arrays.sign * carried[:2]
        collector, base, emitter = outer
        new = self._arrays.sign * np.stack([base - emitter, base - collector])
        limits = Limits(_NO_JUNCTIONS, self._arrays, _NO_MOSFETS)
        self._held(limits.bjt(new, self._seen), new, held_back)


class ExtraMosfets(_Extra[MosfetArrays]):
    """MOSFET channels of the wrong type or with pins swapped."""

    def __init__(self, variants: Variants) -> None:
        extras = variants.extras
        super().__init__(variants, extras.mosfet_of, extras.mosfets, extras.mosfet_rows, 2)

    def evaluate(self, astray: Floats) -> None:
        """Take the tangents."""
        tangent = MosfetTangent.at(self._arrays, self._seen)
        self._note(tangent.current, astray)
        by_gs, by_ds = tangent.slopes
        drain = np.stack([by_ds, by_gs, -by_gs - by_ds])
        self._conductances = np.stack([drain, np.zeros_like(drain), -drain])
        offset = self._arrays.sign * tangent.offset
        self._offsets = np.stack([offset, np.zeros_like(offset), -offset])

    def advance(self, solution: Floats, held_back: Bools) -> None:
        """Move to what the solution shows, held back where need be."""
        outer = self._outer(solution)
        self._predicted = np.stack([self._arrays.sign * self._carried(outer)[0]] * 2)
        drain, gate, source = outer
        new = self._arrays.sign * np.stack([gate - source, drain - source])
        limits = Limits(_NO_JUNCTIONS, _NO_BJTS, self._arrays)
        self._held(limits.mosfet(new, self._seen), new, held_back)


_NO_JUNCTIONS = junction_arrays([], Conditions())
_NO_BJTS = bjt_arrays([], Conditions())
_NO_MOSFETS = mosfet_arrays([], Conditions())
