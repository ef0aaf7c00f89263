"""How much a reading spreads: by each device's stray where that was solved, else by its size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Capacitor, Device, Inductor, Resistor
from benchcheck.circuit.dictionary import EditedReadings
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.shots import MeterErrors, Shot
from benchcheck.diagnosis.spread import COMMON_JUNCTION_V, IDEALITY, JUNCTION_V, Deviation, value_spread
from benchcheck.spec.board import Board

__all__ = ["moved_spread", "nearest_step", "reactive_strays", "strays_table"]

Floats = NDArray[np.float64]

_OHMS = (Function.OHMS, Function.LOW_POWER_OHMS)
#: of a reading that a fault has moved: what the parts on its way spread, as a ratio, and a junction on it, in volt.
_MOVED_RATIO, _MOVED_JUNCTION_V = 0.04, 0.04
_JUNCTION_FROM_V, _JUNCTION_TO_V = 0.1, 1.3
_THERMAL_V, _AT_A = 0.0259, 1e-3
#: standard deviation of a good capacitor's series resistance, as a ratio (common practice, no source).
_SERIES_SPREAD = 0.5
#: a step of more than this share of the reading is another range's number, not a spread.
_NO_STEP = 3.0
#: a step of more than this share is leakage, which spreads by far more than a forward voltage: so many steps.
_LEAKAGE, _LEAKS_MORE = 0.3, 2.0


def nearest_step(found: EditedReadings, good: Floats) -> Floats:
    """Return each stray's step from the good reading, within the range it is shown in; 0 where there is none."""
    every = np.concatenate([found.value[1:, :, None], found.held[1:]], axis=2) - good[None, :, None]
    size = np.where(np.isnan(every), np.inf, np.abs(every))
    least = size.argmin(axis=2)[..., None]
    step = np.take_along_axis(np.nan_to_num(every), least, axis=2)[..., 0]
    share = np.abs(step) / np.maximum(np.abs(np.nan_to_num(good)), 1e-12)
    return np.asarray(np.where(share > _NO_STEP, 0.0, np.where(share > _LEAKAGE, _LEAKS_MORE * step, step)))


def strays_table(
    strays: Sequence[Deviation], steps: Floats, shots: Sequence[Shot], good: Floats, errors: MeterErrors
) -> Floats:
    """Return slopes of the readings: each device, each junction's ideality at the test current, all at once."""
    volts = np.array([stray.volts for stray in strays])
    per_volt = np.where(volts[:, None] > 0, steps / np.where(volts > 0, volts, 1.0)[:, None], 0.0)
    current = np.array(
        [
            float(errors.test_current_a(shot.function, np.array([value]))[0])
            for shot, value in zip(shots, good, strict=True)
        ]
    )
    by_ideality = IDEALITY * _THERMAL_V * np.abs(np.log(current / _AT_A))
    junctions = per_volt * np.where(volts > JUNCTION_V, 0.6, 1.0)[:, None]
    common = junctions.sum(axis=0, keepdims=True) * COMMON_JUNCTION_V
    return np.concatenate([steps, per_volt * by_ideality, common])


def moved_spread(function: Function, value: Floats, errors: MeterErrors) -> Floats:
    """Return the standard deviation of a reading that a fault has moved, from its size alone."""
    size = np.abs(np.nan_to_num(value))
    per = errors.test_current_a(function, value) if function in _OHMS else np.ones_like(size)
    volts = size * per
    ideal = IDEALITY * _THERMAL_V * np.abs(np.log(per / _AT_A)) if function in _OHMS else 0.0
    junction = (volts > _JUNCTION_FROM_V) & (volts < _JUNCTION_TO_V)
    by_junction = np.where(junction, np.hypot(_MOVED_JUNCTION_V, ideal) / per, 0.0)
    return np.asarray(np.hypot(_MOVED_RATIO * size, by_junction))


def reactive_strays(board: Board, netlist: Netlist) -> list[tuple[str, Device]]:
    """Return every passive part strayed by one standard deviation, capacitors in value and in series resistance."""
    found: list[tuple[str, Device]] = []
    for device in netlist.devices:
        ratio = 1.0 + value_spread(board, device)
        match device:
            case Capacitor(capacitance_f=farad, series_resistance_ohm=ohm):
                found.append((device.designator, replace(device, capacitance_f=farad * ratio)))
                strayed = replace(device, series_resistance_ohm=ohm * (1.0 + _SERIES_SPREAD))
                found.append((device.designator, strayed))
            case Resistor(resistance_ohm=ohm):
                found.append((device.designator, replace(device, resistance_ohm=ohm * ratio)))
            case Inductor(dc_resistance_ohm=ohm):
                found.append((device.designator, replace(device, dc_resistance_ohm=ohm * ratio)))
    return found
