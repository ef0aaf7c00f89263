"""Supply: where the bench supply feeds the unit; shorts before power, currents and inrush under it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import Details, check, chosen, merged_switches
from benchcheck.kinds.check import Check, Limits, Phase, Probe
from benchcheck.kinds.fields import Amperes, Farads, Ohms, Seconds, Volts, Window
from benchcheck.kinds.part import Surroundings
from benchcheck.kinds.unpowered import residual_check, to_ground_checks
from benchcheck.quantity import format_value

__all__ = ["Supply", "checks", "first_power_limit_a", "inrush_s"]

#: in constant current for longer than this many times C V / I is a fault: common practice.
_INRUSH_FACTOR = 3.0


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

    @property
    def idle_max_a(self) -> float | None:
        """The largest idle current the spec allows, in ampere."""
        return self.idle_current.max if self.idle_current is not None else None


class Output(Protocol):
    """A rail, as far as the inrush needs to know it."""

    @property
    def voltage(self) -> Volts:
        """Its nominal voltage."""
        ...

    @property
    def capacitance(self) -> Farads | None:
        """The capacitance across it."""
        ...


def first_power_limit_a(supply: Supply) -> float | None:
    """Return the current limit of the first power-up in ampere; None where the spec gives too little.

    It is `start_current`, else twice the largest idle current, and never above `current_limit`.
    """
    idle, limit = supply.idle_max_a, supply.current_limit
    if limit is None or (supply.start_current is None and idle is None):
        return None
    start = supply.start_current if supply.start_current is not None else 2.0 * (idle or 0.0)
    return min(start, limit)


def inrush_s(supply: Supply, outputs: Iterable[Output]) -> float | None:
    """Return how long a good unit holds the first power-up in constant current, in second.

    t = C V / (I_limit - I_idle,max), C being the input capacitance and each fed output's
    C (V_out / V_in)^2. None where the spec gives too little, or the limit leaves nothing to charge with.
    """
    limit, idle, own = first_power_limit_a(supply), supply.idle_max_a, supply.input_capacitance
    if limit is None or idle is None or own is None or limit <= idle or not supply.voltage:
        return None
    seen = own + sum((output.capacitance or 0.0) * (output.voltage / supply.voltage) ** 2 for output in outputs)
    return seen * abs(supply.voltage) / (limit - idle)


def checks(supply: Supply, outputs: Iterable[Output], around: Surroundings) -> tuple[Check, ...]:
    """Return `residual_voltage` and `to_ground` both ways, and the currents and the inrush the spec gives data for.

    `outputs` are the rails it feeds.
    """
    given = [residual_check(supply, around), *to_ground_checks(supply, around)]
    if supply.idle_current is not None:
        given.append(_idle(supply, supply.idle_current))
    charging_s = inrush_s(supply, outputs)
    if charging_s is not None or supply.inrush_time is not None:
        given.append(_inrush(supply, charging_s))
    if supply.off_current is not None:
        given.append(_off(supply, supply.off_current))
    return tuple(given)


def _in_series(supply: Supply) -> tuple[Probe, Probe]:
    """Red toward the bench supply, black toward the unit: current that flows into the unit reads positive."""
    plus = supply.nets["plus"]
    return Probe("plus of the bench supply, in series"), Probe(f"the unit's {plus}, in series", plus)


def _idle(supply: Supply, given: Window[Amperes]) -> Check:
    limit = first_power_limit_a(supply)
    at = format_value(supply.voltage, "V")
    held = f"current limit to {format_value(limit, 'A')} first, then {at}; wait until it has settled" if limit else ""
    red, black = _in_series(supply)
    return check(
        supply.name,
        "idle_current",
        Function.DC_CURRENT,
        Phase.IDLE,
        chosen(given, Limits()),
        red,
        black,
        switches=merged_switches(given, supply.switches),
        first_step=held,
        why="Eyes on the current, then the volts, then the nose: at the limit means off, not a higher limit.",
        workaround="The supply's own display serves when it shows three digits of this current.",
        settle=True,
    )


def _off(supply: Supply, given: Window[Amperes]) -> Check:
    """Unit switched off, meter in series on the positive side."""
    red, black = _in_series(supply)
    details: Details = {
        "switches": merged_switches(given, supply.switches),
        "first_step": (
            "output off, meter in series with a bridge across it, lead in the jack for small currents; output on, "
            "unit on and off again, then open the bridge and wait one to five minutes"
        ),
        "why": "Off means off: this is what empties the cells on the shelf. A falling value is charge, not drain.",
        "workaround": "A supply's display below 5 mA is no evidence: read the volts across 1 kohm in series.",
        "settle": True,
    }
    limits = chosen(given, Limits())
    return check(supply.name, "off_current", Function.DC_CURRENT, Phase.OFF, limits, red, black, **details)


def _inrush(supply: Supply, charging_s: float | None) -> Check:
    upper = None if charging_s is None else _INRUSH_FACTOR * charging_s
    plus, minus = supply.nets["plus"], supply.nets["minus"]
    return check(
        supply.name,
        "inrush_time",
        Function.TIME,
        Phase.IDLE,
        chosen(supply.inrush_time, Limits(None, upper, "computed: three times C V / (limit - idle current)")),
        Probe(f"plus of the bench supply to {plus}", plus),
        Probe(f"minus of the bench supply to {minus}", minus),
        expected=None,
        switches=merged_switches(supply.inrush_time, supply.switches),
        first_step="watch the supply's constant-current sign from the moment the output goes on",
        why="Charging the capacitors takes this long; a fault stays in constant current.",
        workaround="If the supply is read less often than a fifth of this time, only an upper bound can be said.",
    )
