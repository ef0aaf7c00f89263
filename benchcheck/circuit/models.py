"""What a semiconductor does, as numbers: model cards for junctions, bipolar transistors and MOSFETs.

The parameters are those of the simulators' model cards (saturation current, ideality, breakdown and so on),
under their full names, at the nominal temperature of 300.15 K (27 degC). The ready-made cards are typical
parts, chosen so that a 1 mA diode test reads what such parts are known to read; each says where its figure
comes from.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf

__all__ = [  # noqa: RUF022  # plain order, as everywhere
    "BjtModel",
    "CLAMP_JUNCTION",
    "GERMANIUM",
    "JunctionModel",
    "LED_BLUE_WHITE",
    "LED_INFRARED",
    "LED_RED",
    "LED_YELLOW_GREEN",
    "MosfetModel",
    "NOMINAL_TEMPERATURE_K",
    "RECTIFIER",
    "SCHOTTKY",
    "SILICON",
    "SMALL_BJT",
    "SMALL_MOSFET",
    "zener_junction",
]

NOMINAL_TEMPERATURE_K = 300.15


@dataclass(frozen=True, slots=True)
class JunctionModel:
    """A pn or Schottky junction: I = IS (exp(V / (N VT)) - 1), with series resistance and breakdown.

    `saturation_current_a` IS in ampere, `ideality` N, `series_resistance_ohm` RS in ohm;
    `breakdown_voltage_v` BV in volt (None: never breaks down) is reached at `breakdown_current_a` IBV in
    ampere with the slope of `breakdown_ideality` NBV; `bandgap_ev` EG in electronvolt and
    `temperature_exponent` XTI move IS with temperature.
    """

    saturation_current_a: float = 1e-14
    ideality: float = 1.0
    series_resistance_ohm: float = 0.0
    breakdown_voltage_v: float | None = None
    breakdown_current_a: float = 1e-3
    breakdown_ideality: float = 1.0
    bandgap_ev: float = 1.11
    temperature_exponent: float = 3.0


_BODY = JunctionModel(saturation_current_a=1e-12)


@dataclass(frozen=True, slots=True)
class BjtModel:
    """A bipolar transistor: the transport Gummel-Poon model with its terminal resistances.

    `saturation_current_a` IS, `leakage_emitter_a` ISE and `leakage_collector_a` ISC in ampere;
    `forward_gain` BF and `reverse_gain` BR; idealities NF, NR, NE, NC; Early voltages VAF, VAR in volt and
    knee currents IKF, IKR in ampere (infinite: absent); RB, RC, RE in ohm; `bandgap_ev` EG,
    `temperature_exponent` XTI and `gain_temperature_exponent` XTB.
    """

    saturation_current_a: float = 1e-14
    forward_gain: float = 200.0
    reverse_gain: float = 4.0
    forward_ideality: float = 1.0
    reverse_ideality: float = 1.0
    leakage_emitter_a: float = 0.0
    leakage_emitter_ideality: float = 1.5
    leakage_collector_a: float = 0.0
    leakage_collector_ideality: float = 2.0
    early_forward_v: float = inf
    early_reverse_v: float = inf
    knee_forward_a: float = inf
    knee_reverse_a: float = inf
    base_resistance_ohm: float = 0.0
    collector_resistance_ohm: float = 0.0
    emitter_resistance_ohm: float = 0.0
    bandgap_ev: float = 1.11
    temperature_exponent: float = 3.0
    gain_temperature_exponent: float = 0.0


@dataclass(frozen=True, slots=True)
class MosfetModel:
    """A MOSFET: the level 1 square law, bulk tied to source, so that a body diode spans drain and source.

    `threshold_v` VTO in volt (positive for an enhancement part of either channel: it is the magnitude),
    `transconductance_a_per_v2` KP W/L, `channel_modulation_per_v` LAMBDA, `drain_resistance_ohm` RD and
    `source_resistance_ohm` RS; `body` is the junction from source to drain (N channel).
    """

    threshold_v: float = 1.5
    transconductance_a_per_v2: float = 0.3
    channel_modulation_per_v: float = 0.0
    drain_resistance_ohm: float = 0.0
    source_resistance_ohm: float = 0.0
    body: JunctionModel = _BODY


#: small-signal transistors: gain 200, B-E 6 mV above B-C in diode mode; threshold 1.5 V (common practice)
SMALL_BJT = BjtModel()
SMALL_MOSFET = MosfetModel()
#: small-signal switching diode, 0.58 V at 1 mA; the card commonly passed round for the 1N4148 (common
#: practice)
SILICON = JunctionModel(2.52e-9, 1.752, 0.568)
#: 1 A mains rectifier, 0.55 V at 1 mA (common practice)
RECTIFIER = JunctionModel(7e-10, 1.5, 0.03)
#: small Schottky, 0.25 V at 1 mA, between the 0.15 V of a 3 A part and the 0.29 V of a BAT54 (common
#: practice)
SCHOTTKY = JunctionModel(1e-7, 1.05, 0.5, bandgap_ev=0.69, temperature_exponent=2.0)
#: point-contact germanium, 0.23 V at 1 mA as a 1N34 reads in diode mode (common practice)
GERMANIUM = JunctionModel(1e-6, 1.3, 5.0, bandgap_ev=0.67)
#: LEDs at 1 mA: infrared 1.05 V, red 1.79 V, yellow and old green 1.9 V, blue and white 2.65 V (common
#: practice)
LED_INFRARED = JunctionModel(1.5e-12, 2.0, 3.0, bandgap_ev=1.4)
LED_RED = JunctionModel(1e-18, 2.0, 5.0, bandgap_ev=1.9)
LED_YELLOW_GREEN = JunctionModel(1.2e-19, 2.0, 8.0, bandgap_ev=2.1)
LED_BLUE_WHITE = JunctionModel(6e-26, 2.0, 15.0, bandgap_ev=2.7)
#: input protection of an IC pin, 0.7 V at 1 mA (common practice: 0.3 V to 0.7 V in circuit)
CLAMP_JUNCTION = JunctionModel(1e-14, 1.0, 50.0)


def zener_junction(breakdown_voltage_v: float, breakdown_current_a: float = 5e-3) -> JunctionModel:
    """Return the junction of a 0.3 W zener of this nominal voltage, in volt, at its test current, in ampere.

    The knee follows the dynamic resistances of published BZX84C tables (480 ohm at 1 mA for 5.1 V, 150 ohm
    for 6.2 V and 12 V): below about 5.6 V zeners are soft, above they are sharp.

    >>> zener_junction(5.1).breakdown_ideality > zener_junction(6.2).breakdown_ideality
    True
    """
    softness = 5.0 + 11.0 / (1.0 + exp((breakdown_voltage_v - 5.7) / 0.15))
    return JunctionModel(
        saturation_current_a=1e-14,
        breakdown_voltage_v=breakdown_voltage_v,
        breakdown_current_a=breakdown_current_a,
        breakdown_ideality=softness,
    )
