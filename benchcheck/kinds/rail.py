"""Rail: discharged, not shorted, then its voltage at every load and supply voltage, its sag and its ripple."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import check, chosen, merged_switches
from benchcheck.kinds.check import Check, Evidence, Formula, Limits, Phase
from benchcheck.kinds.fields import Amperes, Farads, Hertz, Ohms, Ratio, Tolerance, Volts, Window
from benchcheck.kinds.part import Surroundings
from benchcheck.kinds.paths import pad
from benchcheck.kinds.supply import Supply
from benchcheck.kinds.unpowered import residual_check, to_ground_checks
from benchcheck.quantity import bracket_value, format_percent, format_value

__all__ = ["Rail", "Ripple", "checks"]

_USUAL = Tolerance(0.05, 0.05)
_SAG = Limits(None, 0.02, "common practice: 1 to 2 % of sag is healthy")
_RIPPLE_SHARE = 0.01


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

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or 5 % either way."""
        return self.tolerance or _USUAL

    def fed_by(self, supplies: Collection[Supply]) -> Supply | None:
        """Return the supply it names, or the only one there is."""
        named = [supply for supply in supplies if supply.name == self.supply]
        if named or self.supply:
            return named[0] if named else None
        return next(iter(supplies)) if len(supplies) == 1 else None


def checks(rail: Rail, supplies: Collection[Supply], around: Surroundings) -> tuple[Check, ...]:
    """Return `residual_voltage`, `to_ground` both ways, `voltage` per load and supply voltage, and what follows.

    `load_regulation` needs two loads. A rail that is a supply's own net follows that supply, so it is read
    at the nominal supply voltage only.
    """
    regulation = [_regulation(rail)] if len(set(rail.loads)) > 1 else []
    return (
        residual_check(rail, around),
        *to_ground_checks(rail, around),
        *_voltages(rail, rail.fed_by(supplies), around),
        *regulation,
        _ripple(rail, around),
    )


def _voltages(rail: Rail, supply: Supply | None, around: Surroundings) -> Iterator[Check]:
    names = [""]
    if supply is not None and dict(supply.nets) != dict(rail.nets):
        names.extend(name for name, volts in supply.voltages.items() if volts != supply.voltage)
    loads: tuple[float | None, ...] = tuple(sorted(set(rail.loads))) or (None,)
    for name in names:
        for load_a in loads:
            yield _voltage(rail, load_a, name, supply, around)


def _bracket(load_a: float | None, supply_voltage: str) -> str:
    return ":".join(filter(None, ("" if load_a is None else bracket_value(load_a, "A"), supply_voltage)))


def _voltage(rail: Rail, load_a: float | None, at: str, supply: Supply | None, around: Surroundings) -> Check:
    lower, upper = rail.spread.interval(rail.voltage)
    steps = []
    if supply is not None and at:
        steps.append(f"set {supply.name} to {format_value(supply.voltages[at], 'V')} ({at.replace('_', ' ')})")
    if load_a is not None:
        steps.append(f"load {rail.name} with {format_value(load_a, 'A')}" if load_a else f"no load on {rail.name}")
    return check(
        rail.name,
        "voltage",
        Function.DC_VOLTAGE,
        Phase.RAILS,
        Limits(lower, upper, _voltage_origin(rail)),
        pad(rail.nets["plus"], around),
        pad(rail.nets["minus"], around),
        bracket=_bracket(load_a, at),
        expected=rail.voltage,
        load_a=load_a,
        input_voltage=at,
        switches=merged_switches(None, rail.switches),
        first_step=", ".join(steps),
        why="At the pins it feeds, not at the regulator: what is lost on the way counts.",
        workaround="A meter of 0.1 % or better, or compare with a reference voltage near it on the same range.",
    )


def _voltage_origin(rail: Rail) -> str:
    if rail.tolerance is not None:
        return "computed: voltage and tolerance of the spec"
    return "common practice: 5 %, as PC supply guides ask of 3.3 V, 5 V and 12 V"


def _regulation(rail: Rail) -> Check:
    least, full = min(rail.loads), max(rail.loads)
    sources = tuple(f"{rail.name}.voltage[{_bracket(load_a, '')}]" for load_a in (least, full))
    return check(
        rail.name,
        "load_regulation",
        Function.DERIVED,
        Phase.RAILS,
        chosen(rail.load_regulation, _SAG),
        quantity_unit="1",
        sources=sources,
        formula=Formula.LOAD_REGULATION,
        switches=merged_switches(rail.load_regulation, rail.switches),
        why="The sag from least to full load over the full-load voltage; on one meter most of its error cancels.",
        workaround="Leave the tips in place on one range and step the load.",
    )


def _ripple(rail: Rail, around: Surroundings) -> Check:
    given, full_a = rail.ripple, max(rail.loads, default=None)
    supplied = Limits(
        None,
        _RIPPLE_SHARE * abs(rail.voltage),
        f"common practice: {format_percent(_RIPPLE_SHARE)} peak to peak, as PC supply guides ask at 20 MHz",
    )
    return check(
        rail.name,
        "ripple",
        Function.AC_VOLTAGE,
        Phase.RAILS,
        chosen(given, supplied),
        pad(rail.nets["plus"], around),
        pad(rail.nets["minus"], around),
        evidence=Evidence.SCREEN,
        load_a=full_a,
        switches=merged_switches(given, rail.switches),
        first_step=f"load {rail.name} with {format_value(full_a, 'A')}" if full_a else "",
        why="More than the limit on an AC meter already rejects; less proves nothing.",
        workaround="Oscilloscope limited to 20 MHz, tip and ring at the capacitor, no long ground lead.",
        method=_ripple_method(given or Ripple()),
    )


def _ripple_method(given: Ripple) -> str:
    band = f" up to {format_value(given.bandwidth, 'Hz')}" if given.bandwidth is not None else ""
    if given.as_ == "rms":
        return f"an AC meter reads only what lies in its own bandwidth, the limit holds{band or ' without one'}"
    return f"an AC meter reads rms in its own bandwidth, the limit is peak to peak{band}"
