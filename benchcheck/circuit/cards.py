"""Model cards brought to the board's temperature and laid out as arrays.

Saturation currents follow the band gap (SPICE3 manual, appendix "temperature dependence"):
IS(T) = IS ((T/T0)^XTI exp((T/T0 - 1) EG/VT))^(1/N); a MOSFET's gain falls as (T/T0)^-1.5, its threshold and its
body follow the band gap of silicon itself, EG(T) = 1.16 - 7.02e-4 T^2 / (T + 1108) in electronvolt.
A part's spread in forward voltage is carried as a factor on IS, so that nothing flows at 0 V.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, inf, log

import numpy as np
from numpy.typing import NDArray

from .devices import Bjt, Mosfet
from .models import NOMINAL_TEMPERATURE_K, BjtModel, JunctionModel
from .physics import BjtArrays, Conditions, JunctionArrays, MosfetArrays

__all__ = ["BODY", "Junction", "bjt_arrays", "junction_arrays", "mosfet_arrays"]

Floats = NDArray[np.float64]

#: what the junction inside a MOSFET is called.
BODY = "body diode"
_SURFACE_V, _GAP_EV = 0.6, 1.1150877


@dataclass(frozen=True, slots=True)
class Junction:
    """One junction: whose it is, what to call it, the rows it sits between, its model and spread in volt."""

    designator: str
    name: str
    plus: int
    minus: int
    model: JunctionModel
    drop_shift_v: float = 0.0


def _warming(bandgap_ev: float, exponent: float, conditions: Conditions) -> float:
    """Return how IS of an ideality-1 junction grows from the nominal temperature to this one, as a factor."""
    ratio = conditions.temperature_k / NOMINAL_TEMPERATURE_K
    return float(ratio**exponent) * exp((ratio - 1.0) * bandgap_ev / conditions.thermal_voltage_v)


def _silicon_gap_ev(temperature_k: float) -> float:
    return float(1.16 - 7.02e-4 * temperature_k**2 / (temperature_k + 1108.0))


def _nominal(conditions: Conditions) -> Conditions:
    return replace(conditions, temperature_k=NOMINAL_TEMPERATURE_K)


def _body_warming(conditions: Conditions) -> float:
    """Return how IS of a MOSFET's body grows from the nominal temperature, as a factor (SPICE3, MOS level 1)."""
    nominal, warm = (
        _silicon_gap_ev(at.temperature_k) / at.thermal_voltage_v for at in (_nominal(conditions), conditions)
    )
    return exp(nominal - warm)


def _threshold_shift_v(mosfet: Mosfet, conditions: Conditions) -> float:
    """Return how far the magnitude of a threshold has moved from the nominal temperature, in volt.

    SPICE3, MOS level 1, with a surface potential of 0.6 V: half of what that moves, and half of what the gap does,
    which counts with the same sign for both channels.
    """
    ratio = conditions.temperature_k / NOMINAL_TEMPERATURE_K
    nominal, warm = _silicon_gap_ev(NOMINAL_TEMPERATURE_K), _silicon_gap_ev(conditions.temperature_k)
    cold_v, warm_v = _nominal(conditions).thermal_voltage_v, conditions.thermal_voltage_v
    built_in = (_potential_v(1.0, nominal, cold_v, cold_v), _potential_v(ratio, warm, warm_v, cold_v))
    surface = ratio * (_SURFACE_V - built_in[0]) + built_in[1]
    sense = 1.0 if mosfet.channel == "N" else -1.0
    return 0.5 * (sense * (nominal - warm) + surface - _SURFACE_V)


def _potential_v(ratio: float, gap_ev: float, thermal_v: float, nominal_v: float) -> float:
    return -2.0 * thermal_v * (1.5 * log(ratio) - gap_ev / (2.0 * thermal_v) + _GAP_EV / (2.0 * nominal_v))


def _column(values: Sequence[float]) -> Floats:
    return np.array(values, dtype=np.float64)


def _junction_saturation(junction: Junction, conditions: Conditions) -> float:
    model = junction.model
    slope_v = model.ideality * conditions.thermal_voltage_v
    if junction.name == BODY:
        return model.saturation_current_a * _body_warming(conditions) * exp(-junction.drop_shift_v / slope_v)
    warming = _warming(model.bandgap_ev, model.temperature_exponent, conditions)
    shift = exp(-junction.drop_shift_v / slope_v)
    return model.saturation_current_a * float(warming ** (1.0 / model.ideality)) * shift


def junction_arrays(junctions: Sequence[Junction], conditions: Conditions) -> JunctionArrays:
    """Return the parameters of junctions at the conditions' temperature."""
    models = [junction.model for junction in junctions]
    vt = conditions.thermal_voltage_v
    return JunctionArrays(
        saturation=_column([_junction_saturation(junction, conditions) for junction in junctions]),
        slope_v=_column([model.ideality * vt for model in models]),
        series=_column([model.series_resistance_ohm for model in models]),
        breakdown=_column([model.breakdown_voltage_v or inf for model in models]),
        breakdown_slope_v=_column([model.breakdown_ideality * vt for model in models]),
        breakdown_current=_column([model.breakdown_current_a for model in models]),
        gmin=conditions.gmin_s,
    )


def _bjt_saturation(bjt: Bjt, conditions: Conditions) -> float:
    model = bjt.model
    shift = bjt.drop_shift_v / (model.forward_ideality * conditions.thermal_voltage_v)
    return model.saturation_current_a * exp(-shift) * _warming(*_thermal(model), conditions)


def _thermal(model: BjtModel) -> tuple[float, float]:
    return model.bandgap_ev, model.temperature_exponent


def _leakage(model: BjtModel, current_a: float, ideality: float, conditions: Conditions) -> float:
    """Return ISE or ISC at temperature: as IS to the power 1/N, against the gain's own temperature law."""
    ratio = conditions.temperature_k / NOMINAL_TEMPERATURE_K
    warming = _warming(*_thermal(model), conditions) ** (1.0 / ideality)
    return current_a * float(warming / ratio**model.gain_temperature_exponent)


def bjt_arrays(bjts: Sequence[Bjt], conditions: Conditions) -> BjtArrays:
    """Return the parameters of bipolar transistors at the conditions' temperature."""
    models = [bjt.model for bjt in bjts]
    vt = conditions.thermal_voltage_v
    ratio = conditions.temperature_k / NOMINAL_TEMPERATURE_K
    gain = _column([ratio**model.gain_temperature_exponent for model in models])
    leak_e = [(m, m.leakage_emitter_a, m.leakage_emitter_ideality) for m in models]
    leak_c = [(m, m.leakage_collector_a, m.leakage_collector_ideality) for m in models]
    resistances = [(m.collector_resistance_ohm, m.base_resistance_ohm, m.emitter_resistance_ohm) for m in models]
    return BjtArrays(
        sign=_column([1.0 if bjt.polarity == "NPN" else -1.0 for bjt in bjts]),
        saturation=_column([_bjt_saturation(bjt, conditions) for bjt in bjts]),
        forward_slope_v=_column([model.forward_ideality * vt for model in models]),
        reverse_slope_v=_column([model.reverse_ideality * vt for model in models]),
        forward_gain=_column([model.forward_gain for model in models]) * gain,
        reverse_gain=_column([model.reverse_gain for model in models]) * gain,
        leakage_emitter=_column([_leakage(*leak, conditions) for leak in leak_e]),
        leakage_emitter_slope_v=_column([model.leakage_emitter_ideality * vt for model in models]),
        leakage_collector=_column([_leakage(*leak, conditions) for leak in leak_c]),
        leakage_collector_slope_v=_column([model.leakage_collector_ideality * vt for model in models]),
        early_forward=_column([model.early_forward_v for model in models]),
        early_reverse=_column([model.early_reverse_v for model in models]),
        knee_forward=_column([model.knee_forward_a for model in models]),
        knee_reverse=_column([model.knee_reverse_a for model in models]),
        series=np.array(resistances, dtype=np.float64).reshape(-1, 3).T,
        gmin=conditions.gmin_s,
    )


def _threshold_v(mosfet: Mosfet, conditions: Conditions) -> float:
    moved = _threshold_shift_v(mosfet, conditions) if conditions.temperature_k != NOMINAL_TEMPERATURE_K else 0.0
    return mosfet.model.threshold_v + mosfet.threshold_shift_v + moved


def mosfet_arrays(mosfets: Sequence[Mosfet], conditions: Conditions) -> MosfetArrays:
    """Return the parameters of MOSFET channels at the conditions' temperature."""
    models = [mosfet.model for mosfet in mosfets]
    gain = (conditions.temperature_k / NOMINAL_TEMPERATURE_K) ** -1.5
    resistances = [(0.0, 0.0, model.source_resistance_ohm) for model in models]
    return MosfetArrays(
        sign=_column([1.0 if mosfet.channel == "N" else -1.0 for mosfet in mosfets]),
        threshold=_column([_threshold_v(mosfet, conditions) for mosfet in mosfets]),
        transconductance=_column([model.transconductance_a_per_v2 * gain for model in models]),
        modulation=_column([model.channel_modulation_per_v for model in models]),
        series=np.array(resistances, dtype=np.float64).reshape(-1, 3).T,
    )
