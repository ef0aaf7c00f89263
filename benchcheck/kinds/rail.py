"""Rail: discharged, not shorted, then its voltage at every load and supply voltage, its sag and its ripple."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import attrs

from benchcheck.kinds.fields import Amperes, Farads, Hertz, Ohms, Ratio, Tolerance, Volts, Window

__all__ = ["Rail", "Ripple"]


@attrs.frozen(kw_only=True)
class Ripple:
    """`ripple = { max = "60 mV", as = "peak-to-peak", bandwidth = "20 MHz" }`; volt and hertz."""

    min: Volts | None = None
    max: Volts | None = None
    as_: Literal["peak-to-peak", "rms"] = "peak-to-peak"
    bandwidth: Hertz | None = None
    reason: str = ""
    switches: dict[str, str] = attrs.field(factory=dict)


@attrs.frozen(kw_only=True)
class Rail:
    """`[rail.NAME]`: `nets` plus and minus, nominal voltage from plus to minus in volt, its tolerance.

    A negative rail is written with its net as minus, or with its net as plus and a negative voltage. `loads`
    in ampere; `supply` names the supply that feeds it (needed only where there are several); `capacitance` in
    farad sits across it and counts for the inrush. `ac_voltage` (rms) and `peak_voltage` state what else
    stands on it, for the scope limits alone.
    """

    name: str
    nets: Mapping[str, str]
    voltage: Volts
    tolerance: Tolerance | None = None
    supply: str = ""
    loads: tuple[Amperes, ...] = ()
    capacitance: Farads | None = None
    ac_voltage: Volts | None = None
    peak_voltage: Volts | None = None
    switches: Mapping[str, str] = attrs.field(factory=dict)
    residual_voltage: Window[Volts] | None = None
    to_ground: Window[Ohms] | None = None
    load_regulation: Window[Ratio] | None = None
    ripple: Ripple | None = None
