"""The ranges of a meter's direct-current functions as plain numbers, ready for arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .excitation import DiodeTest, Excitation, Ohms

__all__ = ["DrivenRange", "driven_ranges", "range_table", "ranges_from"]


@dataclass(frozen=True, slots=True)
class DrivenRange:
    """One range of one probe: A, V, what turns volt into the reading and what the leads add, full scale.

    The factor of a range that shows volts, diode mode's, is 1.
    """

    ampere: float
    volt: float
    factor: float
    leads: float
    full_scale: float


@lru_cache(maxsize=256)
def driven_ranges(excitation: Excitation) -> tuple[DrivenRange, ...]:
    """Return the direct-current ranges of an excitation; none for the others."""
    match excitation:
        case Ohms(ranges=ranges, lead_resistance_ohm=leads):
            return tuple(
                DrivenRange(
                    r.test_current_a, r.compliance_v - leads * r.test_current_a, 1.0 / r.test_current_a, leads,
                    r.full_scale_ohm,
                )
                for r in ranges
            )  # fmt: skip
        case DiodeTest(ampere, volt, full_scale):
            return (DrivenRange(ampere, volt, 1.0, 0.0, full_scale),)
        case _:
            return ()


def ranges_from(excitations: Sequence[Excitation], places: Sequence[int]) -> list[tuple[DrivenRange, ...]]:
    """Return the ranges of excitations from the one at each place on; like ones are one object."""
    known: dict[tuple[int, int], tuple[DrivenRange, ...]] = {}
    for excitation, place in zip(excitations, places, strict=True):
        if (id(excitation), place) not in known:  # to hash an excitation takes longer than all the rest
            known[id(excitation), place] = driven_ranges(excitation)[place:]
    return [known[id(excitation), place] for excitation, place in zip(excitations, places, strict=True)]


def range_table(ranges: Sequence[Sequence[DrivenRange]]) -> dict[str, NDArray[np.float64]]:
    """Return every number of some probes' ranges (probes x most ranges) by its name; NaN where there is none.

    Ranges that are one object are looked at once.
    """
    most = max(map(len, ranges), default=0)
    table = {field.name: np.full((len(ranges), most), np.nan) for field in fields(DrivenRange)}
    alike: dict[int, list[int]] = {}
    for at, each in enumerate(ranges):
        alike.setdefault(id(each), []).append(at)
    for places in alike.values():
        each = ranges[places[0]]
        for name, array in table.items():
            array[places, : len(each)] = [getattr(one, name) for one in each]
    return table
