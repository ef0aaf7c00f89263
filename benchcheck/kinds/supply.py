"""Supply: where the bench supply feeds the unit; shorts before power, currents and inrush under it."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from benchcheck.kinds.fields import Amperes, Farads, Ohms, Seconds, Volts, Window

__all__ = ["Supply"]


@attrs.frozen(kw_only=True)
class Supply:
    """`[supply.NAME]`: `nets` plus and minus, nominal voltage in volt, further `voltages` by name.

    Without `current_limit`, `idle_current.max` and `input_capacitance` no power is applied. `ac_voltage` (rms)
    and `peak_voltage` state what the unit's own adapter puts there, for the scope limits alone.
    """

    name: str
    nets: Mapping[str, str]
    voltage: Volts
    voltages: Mapping[str, Volts] = attrs.field(factory=dict)
    current_limit: Amperes | None = None
    start_current: Amperes | None = None
    input_capacitance: Farads | None = None
    ac_voltage: Volts | None = None
    peak_voltage: Volts | None = None
    switches: Mapping[str, str] = attrs.field(factory=dict)
    residual_voltage: Window[Volts] | None = None
    to_ground: Window[Ohms] | None = None
    idle_current: Window[Amperes] | None = None
    off_current: Window[Amperes] | None = None
    inrush_time: Window[Seconds] | None = None
