"""Groups of like devices and their tangents, for a batch of circuits: currents, slopes, steps held back.

A group keeps what its devices see (junction voltages; V_BE and V_BC; V_GS and V_DS) with one column an item, or one
entry a device where every item has its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from .physics import (
    BjtArrays,
    JunctionArrays,
    MosfetArrays,
    bjt_currents,
    junction_current,
    limited_junction_step,
    mosfet_current,
)

__all__ = ["BjtTangent", "Limits", "MosfetTangent", "junction_tangent", "taken", "together"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Arrays = TypeVar("Arrays", JunctionArrays, BjtArrays, MosfetArrays)


def taken(arrays: Arrays, which: Indices) -> Arrays:
    """Return the parameters of some devices, repeats allowed."""
    values = {field.name: getattr(arrays, field.name) for field in fields(arrays)}
    chosen = {name: value[..., which] for name, value in values.items() if isinstance(value, np.ndarray)}
    return replace(arrays, **chosen)  # type: ignore[arg-type]  # every array of the group, and no other field


def together(groups: Sequence[Arrays]) -> Arrays:
    """Return the parameters of several groups of devices as one, in their order."""
    values = {field.name: [getattr(group, field.name) for group in groups] for field in fields(groups[0])}
    joined = {name: np.concatenate(each, axis=-1) for name, each in values.items() if not isinstance(each[0], float)}
    return replace(groups[0], **joined)  # type: ignore[arg-type]  # every array of the group, and no other field


def _column(array: Floats, like: Floats) -> Floats:
    return array.reshape(-1, *[1] * (like.ndim - 1))


def junction_tangent(arrays: JunctionArrays, seen: Floats) -> tuple[Floats, Floats, Floats]:
    """Return slope and offset at the terminals, series resistance eliminated, and the true current."""
    current, slope = junction_current(arrays, seen)
    shrink = 1.0 / (1.0 + slope * _column(arrays.series, seen))
    return slope * shrink, (current - slope * seen) * shrink, current


@dataclass(frozen=True, slots=True)
class BjtTangent:
    """Collector and base current (2 x ...), their slopes to V_BE and V_BC (2 x 2 x ...), offsets (2 x ...)."""

    current: Floats
    slopes: Floats
    offsets: Floats

    @classmethod
    def at(cls, arrays: BjtArrays, seen: Floats) -> BjtTangent:
        """Return the tangent where the transistors see these voltages."""
        current, slopes = bjt_currents(arrays, seen[0], seen[1])
        current, slopes = current[:2], slopes[:2]
        return cls(current, slopes, current - slopes[:, 0] * seen[0] - slopes[:, 1] * seen[1])


@dataclass(frozen=True, slots=True)
class MosfetTangent:
    """Channel current, its slopes to V_GS and V_DS (2 x ...), and its offset."""

    current: Floats
    slopes: Floats
    offset: Floats

    @classmethod
    def at(cls, arrays: MosfetArrays, seen: Floats) -> MosfetTangent:
        """Return the tangent where the channels see these voltages."""
        current, by_gs, by_ds = mosfet_current(arrays, seen[0], seen[1])
        return cls(current, np.stack([by_gs, by_ds]), current - by_gs * seen[0] - by_ds * seen[1])


class Limits:
    """How far each device's voltage may step: the corners of its exponentials and its threshold."""

    def __init__(self, junctions: JunctionArrays, bjts: BjtArrays, mosfets: MosfetArrays) -> None:
        self._junctions, self._threshold = junctions, mosfets.threshold
        self._knee = _knee(junctions.slope_v, junctions.saturation)
        self._breaking = np.isfinite(junctions.breakdown)
        self._bjt_slope = np.stack([bjts.forward_slope_v, bjts.reverse_slope_v])
        self._bjt_knee = _knee(self._bjt_slope, bjts.saturation)

    def junction(self, new: Floats, old: Floats) -> Floats:
        """Return junction voltages held back, on the far side too where breakdown runs away."""
        arrays = self._junctions
        kept = limited_junction_step(new, old, _column(arrays.slope_v, new), _column(self._knee, new))
        if not self._breaking.any():
            return kept
        width, corner = (
            _column(array[self._breaking], new) for array in (arrays.breakdown_slope_v, arrays.breakdown)
        )
        before = kept[self._breaking]
        beyond = -corner - before
        held = limited_junction_step(beyond, -corner - old[self._breaking], width, 2.0 * width)
        if held is beyond:
            return kept
        kept = kept.copy()
        kept[self._breaking] = np.where(held == beyond, before, -corner - held)
        return kept

    def bjt(self, new: Floats, old: Floats) -> Floats:
        """Return V_BE and V_BC (2 x ...) held back."""
        shape = (2, -1, *[1] * (new.ndim - 2))
        return limited_junction_step(new, old, self._bjt_slope.reshape(shape), self._bjt_knee.reshape(shape))

    def mosfet(self, new: Floats, old: Floats) -> Floats:
        """Return V_GS and V_DS (2 x ...) held back to the way to the threshold, at least 1 V."""
        room = np.maximum(1.0, np.abs(old - _column(self._threshold, new[0])))
        step = new - old
        far = np.abs(step) > room
        return np.where(far, old + np.clip(step, -room, room), new) if far.any() else new


def _knee(slope_v: Floats, saturation: Floats) -> Floats:
    """Return the voltage of greatest curvature, N VT ln(N VT / (sqrt 2 IS)), in volt (Nagel 1975, 4.3.2)."""
    knee: Floats = slope_v * np.log(slope_v / (np.sqrt(2.0) * saturation))
    return knee
