"""How a solved reading leans on each device: the adjoint network, for a whole batch at once.

One more solution of the transposed equations gives the slope of a reading to every resistance, every junction's
forward voltage and ideality and every channel's threshold (Director and Rohrer 1969). Slopes are of the natural
logarithm of voltage over current between the probes, so that a leakage, which grows by factors, is as straight a line
as a forward voltage.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .extras import ExtraBjts, ExtraJunctions
from .idealities import bjt_by_ideality, by_ideality
from .variants import Variants

__all__ = ["Leaning", "Leanings"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Leaning:
    """What a reading may lean on: `of` says whether by ln of ohms, volts of drop or threshold, ln of breakdown volts.

    Or by a junction's ideality, its drop at 1 mA left as it is.
    `between` tells the junctions of one device apart (their rows); a fault's own resistance or junction has no name.
    """

    designator: str
    of: Literal["ohms", "drop", "ideality", "breakdown", "threshold"]
    between: tuple[int, int] = (-1, -1)


class Leanings:
    """The slopes of readings of one set of variants, one row for each of `slots`."""

    def __init__(self, variants: Variants) -> None:
        self._v = v = variants
        ohmic = [Leaning(name, "ohms", (a, b)) for name, a, b, _ in v.conductances]
        branches = [Leaning(each.designator, "ohms", (each.plus, each.minus)) for each in v.branches]
        drops = [Leaning(each.designator, "drop", (each.plus, each.minus)) for each in v.junctions]
        bjts = [Leaning(bjt.designator, "drop", (rows[1], rows[2])) for bjt, rows in v.bjts]
        self._breaking = np.flatnonzero(np.isfinite(v.junction_arrays.breakdown))
        broken = [Leaning(drops[at].designator, "breakdown", drops[at].between) for at in self._breaking]
        channels = [Leaning(mosfet.designator, "threshold", (rows[0], rows[2])) for mosfet, rows in v.mosfets]
        ideal = [replace(one, of="ideality") for one in (*drops, *bjts)]
        own = [Leaning("", "ohms"), Leaning("", "drop"), Leaning("", "ideality")]
        self.slots: tuple[Leaning, ...] = (*ohmic, *branches, *drops, *bjts, *broken, *channels, *ideal, *own)
        _, self._branches, self._drops, self._bjts, self._broken, self._channels, self._ideal, self._own = (
            int(at) for at in np.cumsum([0, *map(len, (ohmic, branches, drops, bjts, broken, channels, ideal))])
        )
        self._slot_of: dict[tuple[str, str], int] = {
            (one.designator, one.of): at for at, one in reversed(list(enumerate(self.slots)))
        }
        names = [one.designator for one in (*ohmic, *branches)]
        self._stays = np.array([[name not in removed for name in names] for removed in v.removed]).reshape(
            len(v.removed), len(names)
        )
        self._a = np.array([a for _, a, _, _ in v.conductances], dtype=np.intp)
        self._b = np.array([b for _, _, b, _ in v.conductances], dtype=np.intp)
        self._siemens = np.array([siemens for *_, siemens in v.conductances])
        self._branch_ohm = np.array([each.resistance_ohm for each in v.branches])
        self._sign = np.array([1.0 if bjt.polarity == "NPN" else -1.0 for bjt, _ in v.bjts])
        self._rows_of_channels = np.array([rows for _, rows in v.mosfets], dtype=np.intp).reshape(-1, 3)
        self._rows_of_bjts = np.array([rows for _, rows in v.bjts], dtype=np.intp).reshape(-1, 3)

    @property
    def drops(self) -> slice:
        """The slots of the shared junctions' forward voltages, in the junctions' own order."""
        return slice(self._drops, self._bjts)

    def of(
        self, variant: Indices, solution: Floats, adjoint: Floats, tangents: tuple[Floats, Floats],
        extras: tuple[ExtraJunctions, ExtraBjts],
    ) -> Floats:  # fmt: skip
        """Return how the voltage at the probes moves with every slot (slots x items), in volt.

        `tangents` are slopes and offsets of the shared devices, as the batch lays them out.
        """
        v, count = self._v, len(variant)
        found = np.zeros((len(self.slots), count))
        stays = self._stays[variant].T
        lift, flow = adjoint[self._a] - adjoint[self._b], solution[self._a] - solution[self._b]
        found[: self._branches] = lift * flow * self._siemens[:, None] * stays[: self._branches]
        branch = np.arange(v.nets, v.size)
        by_branch = adjoint[branch] * solution[branch] * self._branch_ohm[:, None]
        found[self._branches : self._drops] = by_branch * stays[self._branches :]
        seen, lift = v.controls @ solution, v.controls @ adjoint
        self._junctions(found, seen, lift, tangents)
        self._transistors(found, seen, adjoint, tangents)
        self._thresholds(found, adjoint, tangents[0])
        self._added(found, variant, solution, adjoint)
        self._changed(found, solution, adjoint, extras)
        return found

    def _junctions(self, found: Floats, seen: Floats, lift: Floats, tangents: tuple[Floats, Floats]) -> None:
        count, arrays = len(self._v.junctions), self._v.junction_arrays
        slope, current = tangents[0][:count], tangents[0][:count] * seen[:count] + tangents[1][:count]
        shrink = 1.0 - slope * arrays.series[:, None]
        found[self._drops : self._bjts] = lift[:count] * current * shrink / arrays.slope_v[:, None]
        back = seen[self._breaking] < 0.0
        volts = arrays.breakdown[self._breaking][:, None]
        by_volts = -lift[self._breaking] * slope[self._breaking] * volts
        found[self._broken : self._channels] = np.where(back, by_volts, 0.0)
        found[self._drops + self._breaking] *= ~back
        by_drop, vt = found[self._drops : self._bjts], self._v.conditions.thermal_voltage_v
        found[self._ideal : self._ideal + count] = by_drop * by_ideality(current, arrays.saturation[:, None], vt)

    def _transistors(self, found: Floats, seen: Floats, adjoint: Floats, tangents: tuple[Floats, Floats]) -> None:
        j, q, count = len(self._v.junctions), len(self._v.bjts), found.shape[1]
        by, sees = tangents[0][j : j + 4 * q].reshape(2, 2, q, count), seen[j : j + 2 * q].reshape(2, q, count)
        carried = (by * sees).sum(axis=1) + tangents[1][j : j + 2 * q].reshape(2, q, count)
        collector, base, emitter = (adjoint[self._rows_of_bjts[:, pin]] for pin in range(3))
        ideal = bjt_by_ideality(carried, self._v.bjt_arrays, self._v.conditions.thermal_voltage_v)
        per = (self._sign / self._v.bjt_arrays.forward_slope_v)[:, None]
        for begin, each in ((self._bjts, carried), (self._ideal + j, ideal)):
            found[begin : begin + q] = per * ((collector - emitter) * each[0] + (base - emitter) * each[1])

    def _thresholds(self, found: Floats, adjoint: Floats, slopes: Floats) -> None:
        """Enter the channels: a volt more of threshold is a volt less of gate voltage."""
        begin = len(self._v.junctions) + 4 * len(self._v.bjts)
        by_gate = slopes[begin : begin + len(self._v.mosfets)]
        lift = adjoint[self._rows_of_channels[:, 0]] - adjoint[self._rows_of_channels[:, 2]]
        found[self._channels : self._ideal] = lift * by_gate * self._v.mosfet_arrays.sign[:, None]

    def _added(self, found: Floats, variant: Indices, solution: Floats, adjoint: Floats) -> None:
        """Enter the resistances that variants have beside the shared ones."""
        for one in np.unique(variant):
            items = np.flatnonzero(variant == one)
            for (a, b, ohm), name in zip(self._v.added_ohmic[one], self._v.added_names[one], strict=True):
                slot = self._slot_of.get((name, "ohms"), self._own)
                lift = adjoint[a, items] - adjoint[b, items]
                found[slot, items] += lift * (solution[a, items] - solution[b, items]) / ohm

    def _changed(
        self, found: Floats, solution: Floats, adjoint: Floats, extras: tuple[ExtraJunctions, ExtraBjts]
    ) -> None:
        """Enter the junctions and transistors that variants have in another way."""
        junctions, bjts = extras
        both = (junctions, self._v.extras.junction_names), (bjts, self._v.extras.bjt_names)
        for extra, each in ((extra, each) for extra, each in both if extra.count):
            at, device, ways = extra.leaning(solution, adjoint)
            for own, (of, moved) in enumerate(zip(("drop", "ideality"), ways, strict=True), self._own + 1):
                slots = np.array([self._slot_of.get((name, of), own) for name in each], dtype=np.intp)
                found[slots[device], at] += moved
