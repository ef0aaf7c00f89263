"""The equations of junctions and transistors, over arrays of any shape: currents and their slopes.

They are those the field's circuit simulators publish (Nagel 1975, UCB/ERL M520; ngspice manual, "Junction
diode model", "BJT model (Gummel-Poon)", "MOSFET level 1"), so that results can be compared digit by digit.
Every current is what flows into the device at that terminal, in ampere; every slope is in siemens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import e

import numpy as np
from numpy.typing import NDArray

from .models import NOMINAL_TEMPERATURE_K

__all__ = [
    "BOARD_LEAK_S",
    "BOLTZMANN_OVER_CHARGE_V_PER_K",
    "BjtArrays",
    "Conditions",
    "JunctionArrays",
    "MosfetArrays",
    "bjt_currents",
    "junction_current",
    "junction_parts",
    "limited_junction_step",
    "mosfet_current",
    "on_a_board",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Indices = NDArray[np.intp]

#: k/q of CODATA 2014, as the simulators carry it; the exact SI value of 2019 is 3.4e-7 higher (0.1 mK at 27
#: degC).
BOLTZMANN_OVER_CHARGE_V_PER_K = 1.38064852e-23 / 1.6021766208e-19
#: 10 Tohm from every net to the black lead: cleaner than any board, enough to keep every pivot above rounding
BOARD_LEAK_S = 1e-13
#: beyond this exponent the exponential goes on as its tangent, so that no trial step overflows.
_STEEPEST = 100.0
#: of a junction's current, what one step leaves at least on its way down.
_LEAST_LEFT = 0.005


@dataclass(frozen=True, slots=True)
class Conditions:
    """Where a circuit is solved: `temperature_k` in kelvin, `gmin_s` across every junction in siemens, and k/q.

    `leak_s`, in siemens, goes from every net to the reference. Left out it is nothing for an operating point, and for
    a meter's reading `BOARD_LEAK_S`: what hangs on less than that is not settled by the parts of a board.
    """

    temperature_k: float = NOMINAL_TEMPERATURE_K
    gmin_s: float = 1e-15
    leak_s: float | None = None
    boltzmann_over_charge_v_per_k: float = BOLTZMANN_OVER_CHARGE_V_PER_K

    @property
    def thermal_voltage_v(self) -> float:
        """VT = kT/q in volt.

        >>> round(Conditions().thermal_voltage_v, 9)
        0.025864917
        """
        return self.boltzmann_over_charge_v_per_k * self.temperature_k


def on_a_board(conditions: Conditions | None) -> Conditions:
    """Return conditions for a meter's reading: with a board's leak unless one is given."""
    given = conditions or Conditions()
    return replace(given, leak_s=BOARD_LEAK_S) if given.leak_s is None else given


@dataclass(frozen=True, slots=True)
class JunctionArrays:
    """Junctions, one per entry: IS in ampere, N VT in volt, RS in ohm, BV and NBV VT in volt (BV inf: none), IBV."""

    saturation: Floats
    slope_v: Floats
    series: Floats
    breakdown: Floats
    breakdown_slope_v: Floats
    breakdown_current: Floats
    gmin: float


@dataclass(frozen=True)
class BjtArrays:
    """Bipolar transistors, one per entry; `sign` is 1 for NPN and -1 for PNP, `series` RC, RB, RE by row in ohm."""

    sign: Floats
    saturation: Floats
    forward_slope_v: Floats
    reverse_slope_v: Floats
    forward_gain: Floats
    reverse_gain: Floats
    leakage_emitter: Floats
    leakage_emitter_slope_v: Floats
    leakage_collector: Floats
    leakage_collector_slope_v: Floats
    early_forward: Floats
    early_reverse: Floats
    knee_forward: Floats
    knee_reverse: Floats
    series: Floats
    gmin: float

    @cached_property
    def upright(self) -> BjtArrays:
        """The parameters shaped to go with readings (transistors x readings)."""
        names = (field.name for field in fields(self) if field.name not in ("series", "gmin"))
        return replace(self, **{name: getattr(self, name)[:, None] for name in names})


@dataclass(frozen=True, slots=True)
class MosfetArrays:
    """MOSFET channels, one per entry; `sign` is 1 for N and -1 for P, `series` 0, 0, RS by row in ohm."""

    sign: Floats
    threshold: Floats
    transconductance: Floats
    modulation: Floats
    series: Floats


def _exponential(saturation: Floats, slope_v: Floats, voltage: Floats) -> tuple[Floats, Floats]:
    """Return IS (exp(V/NVT) - 1) and its slope; below -3 NVT the cubic tail of the simulators' diode.

    ngspice manual, "Junction diode equations": I = -IS (1 + (3 N VT / (V e))^3) for V < -3 N VT.
    """
    x = voltage / slope_v
    grown = np.minimum(x, _STEEPEST)
    np.exp(grown, out=grown)
    grown *= saturation
    slope = grown / slope_v
    beyond = grown * (x - _STEEPEST).clip(min=0.0) if (x > _STEEPEST).any() else 0.0
    tail = np.flatnonzero(x < -3.0)
    if len(tail):
        ratio = (3.0 / e) / np.take(x, tail)
        third = _of_places(saturation, x.shape, tail) * (ratio * ratio * ratio)
        np.put(grown, tail, -third)
        np.put(slope, tail, 3.0 * third / np.take(voltage, tail))
    grown -= saturation
    grown += beyond
    return grown, slope


def _of_places(parameter: Floats, shape: tuple[int, ...], at: Indices) -> Floats:
    """Return a parameter, of that shape or one number a row of it, at flat places."""
    if len(shape) > 1 and parameter.shape[-1] == 1:
        rows: Floats = np.broadcast_to(parameter, (*shape[:-1], 1)).ravel()
        return rows[at // shape[-1]]
    every: Floats = np.broadcast_to(parameter, shape).ravel()
    return every[at]


def junction_current(junctions: JunctionArrays, voltage: Floats) -> tuple[Floats, Floats]:
    """Return current and slope of junctions at `voltage` (shape: junctions, or junctions x readings), in volt."""
    forward, broken, slope = junction_parts(junctions, voltage)
    return forward + broken + junctions.gmin * voltage, slope


def junction_parts(junctions: JunctionArrays, voltage: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the diffusion current, the breakdown current and the slope of their sum with gmin.

    Breakdown is -IBV exp(-(V + BV) / (NBV VT)), less its value at 0 V so that nothing flows at rest.
    """
    shape = (-1, *[1] * (voltage.ndim - 1))
    forward, slope = _exponential(junctions.saturation.reshape(shape), junctions.slope_v.reshape(shape), voltage)
    slope = slope + junctions.gmin
    broken = np.zeros_like(voltage)
    breaking = np.isfinite(junctions.breakdown)
    if breaking.any():
        limit, width, at_limit = (
            array[breaking].reshape(shape)
            for array in (junctions.breakdown, junctions.breakdown_slope_v, junctions.breakdown_current)
        )
        x = -(voltage[breaking] + limit) / width
        steep = np.minimum(x, _STEEPEST)
        grown = at_limit * np.exp(steep)
        broken[breaking] = at_limit * np.exp(-limit / width) - grown * (1.0 + x - steep)
        slope[breaking] += grown / width
    return forward, broken, slope


def bjt_currents(bjts: BjtArrays, v_be: Floats, v_bc: Floats) -> tuple[Floats, Floats]:
    """Return the terminal currents (3 x ...) and their slopes (3 x 2 x ...) to V_BE and V_BC.

    Rows are collector, base, emitter; voltages and currents are of the NPN sense (multiply by `sign`).
    Transport Gummel-Poon: IC = (IF - IR)/qb - IR/BR - ILC, IB = IF/BF + ILE + IR/BR + ILC.
    """
    b = bjts if v_be.ndim == 1 else bjts.upright
    both = np.array([v_be, v_bc])
    diffusion, grown = _exponential(b.saturation, np.array([b.forward_slope_v, b.reverse_slope_v]), both)
    forward, reverse = diffusion + b.gmin * both
    g_forward, g_reverse = grown + b.gmin
    leak_e, g_leak_e = _leakage(b.leakage_emitter, b.leakage_emitter_slope_v, v_be)
    leak_c, g_leak_c = _leakage(b.leakage_collector, b.leakage_collector_slope_v, v_bc)
    charge, by_be, by_bc = _base_charge(b, v_be, v_bc, (forward, g_forward), (reverse, g_reverse))
    carried = (forward - reverse) / charge
    collector = carried - reverse / b.reverse_gain - leak_c
    base = forward / b.forward_gain + leak_e + reverse / b.reverse_gain + leak_c
    c_be = (g_forward - carried * by_be) / charge
    b_bc = g_reverse / b.reverse_gain + g_leak_c
    c_bc = (-g_reverse - carried * by_bc) / charge - b_bc
    b_be = g_forward / b.forward_gain + g_leak_e
    slopes = np.array([[c_be, c_bc], [b_be, b_bc], [-c_be - b_be, -c_bc - b_bc]])
    return np.array([collector, base, -collector - base]), slopes


def _leakage(saturation: Floats, slope_v: Floats, voltage: Floats) -> tuple[Floats, Floats]:
    """Return a leakage's current and slope, without asking for exponentials where there is none."""
    if saturation.any():
        return _exponential(saturation, slope_v, voltage)
    return np.zeros_like(voltage), np.zeros_like(voltage)


def _base_charge(
    b: BjtArrays,
    v_be: Floats,
    v_bc: Floats,
    forward: tuple[Floats, Floats],
    reverse: tuple[Floats, Floats],
) -> tuple[Floats, Floats, Floats]:
    """Return the normalised base charge qb and its slopes to V_BE and V_BC (Early effect, then knee currents)."""
    early = 1.0 / np.maximum(1.0 - v_bc / b.early_forward - v_be / b.early_reverse, 0.02)
    by_be, by_bc = early / b.early_reverse, early / b.early_forward
    if not (np.isfinite(b.knee_forward).any() or np.isfinite(b.knee_reverse).any()):
        return early, early * by_be, early * by_bc
    injected = forward[0] / b.knee_forward + reverse[0] / b.knee_reverse
    root = np.sqrt(np.maximum(1.0 + 4.0 * injected, 1e-6))
    charge = early * (1.0 + root) / 2.0
    slope_be = charge * by_be + early * forward[1] / b.knee_forward / root
    slope_bc = charge * by_bc + early * reverse[1] / b.knee_reverse / root
    return charge, slope_be, slope_bc


def mosfet_current(mosfets: MosfetArrays, v_gs: Floats, v_ds: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the channel current from drain to source and its slopes to V_GS and V_DS, in the N sense.

    Square law with channel-length modulation; for V_DS < 0 drain and source change places.
    """
    shape = (-1, *[1] * (v_gs.ndim - 1))
    threshold = mosfets.threshold.reshape(shape)
    modulation = mosfets.modulation.reshape(shape)
    backward = v_ds < 0.0
    across = np.abs(v_ds)
    drive = np.maximum(np.where(backward, v_gs - v_ds, v_gs) - threshold, 0.0)
    gain = mosfets.transconductance.reshape(shape)
    used = np.minimum(drive, across)
    stretch = 1.0 + modulation * across
    shape_factor = gain * (drive - used / 2.0) * used
    current = shape_factor * stretch
    by_drive = gain * used * stretch
    by_across = gain * (drive - used) * stretch + shape_factor * modulation
    by_ds = np.where(backward, by_drive + by_across, by_across)
    return np.where(backward, -current, current), np.where(backward, -by_drive, by_drive), by_ds


def limited_junction_step(new: Floats, old: Floats, slope_v: Floats, knee_v: Floats) -> Floats:
    """Return `new` junction voltages moved to where the exponential carries what the tangent promised.

    Upwards this holds back what would run away (Nagel 1975, 4.3.2); downwards it hurries, for plain steps come down
    an exponential by one N VT each, also where the tangent promises less than no current. `knee_v` is the voltage of
    greatest curvature; all in volt, `slope_v` and `knee_v` of the shape of the others or one column of it. Steps
    small enough for the tangent are left alone.
    """
    step = new - old
    at = np.flatnonzero(np.abs(step) > 0.5 * slope_v)
    if not len(at):
        return new
    row = at if slope_v.shape[-1] == new.shape[-1] else at // new.shape[-1]
    slope_v, knee_v = slope_v.ravel()[row], knee_v.ravel()[row]
    to, begun, far = (each.ravel()[at] for each in (new, old, step))
    rising = (to > knee_v) & (np.abs(far) > 2.0 * slope_v)
    falling = (begun > 8.0 * slope_v) & (far < 0.0) & (far > math.log(_LEAST_LEFT) * slope_v)
    held = np.flatnonzero(rising | falling)
    if not len(held):
        return new
    kept = new.ravel().copy()
    kept[at[held]] = _where_promised(to[held], begun[held], slope_v[held], knee_v[held], falling=falling[held])
    return kept.reshape(new.shape)


def _where_promised(new: Floats, old: Floats, slope_v: Floats, knee_v: Floats, *, falling: Bools) -> Floats:
    """Return where exponentials carry what tangents at `old` promised at `new`, all of one shape."""
    ratio = 1.0 + (new - old) / slope_v
    from_on = np.where((ratio > 0.0) | falling, old + slope_v * np.log(np.maximum(ratio, _LEAST_LEFT)), knee_v)
    from_off = slope_v * np.log(np.maximum(new / slope_v, 1e-300))
    return np.where(old > 0.0, from_on, from_off)
