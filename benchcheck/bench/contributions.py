"""What the bench adds to the budget of one reading: accuracy, leads, and digits that were not written down.

Ids name physical errors and are stable: `dmm.ohms.6k.accuracy` is one range's own error, `dmm.leads` the
leads of one meter, so that both cancel where two readings share them. The counts of an accuracy hold the
display's resolution already; a term of its own appears only when fewer digits were recorded than shown.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.bench.accuracy import Coverage
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange
from benchcheck.metrology import Contribution
from benchcheck.metrology.same_meter import linearity, rounding

__all__ = ["LeadCorrection", "accuracy_contributions", "lead_correction", "not_shared"]

#: functions whose reading holds the leads' own resistance.
TWO_WIRE = frozenset({Function.OHMS, Function.LOW_POWER_OHMS, Function.CONTINUITY, Function.ESR})


@dataclass(frozen=True, slots=True)
class LeadCorrection:
    """What to take off a two-wire reading, in ohm, and what that adds to its budget."""

    resistance_ohm: float = 0.0
    contributions: tuple[Contribution, ...] = ()


def accuracy_contributions(
    meter: Meter,
    chosen: MeterRange,
    value: float,
    *,
    reading: str,
    ambient_c: float = 23.0,
    recorded_resolution: float | None = None,
) -> tuple[Contribution, ...]:
    """Return the contributions of meter and display to one reading of `value` on the range `chosen`.

    `value` and `recorded_resolution` are in the function's quantity unit, the latter one step of the last
    digit that was written down. `reading` names the reading where an error is its own and nobody else's.
    """
    found = [_accuracy(meter, chosen, value, ambient_c)]
    if recorded_resolution is not None and recorded_resolution > chosen.resolution * 1.5:
        found.append(
            Contribution.from_limits(
                f"{reading}.digits",
                "digits not recorded",
                recorded_resolution / 2,
                origin="half a digit (GUM F.2.2.1)",
            )
        )
    return tuple(found)


def _accuracy(meter: Meter, chosen: MeterRange, value: float, ambient_c: float) -> Contribution:
    name = f"{meter.name}.{chosen.function}.{chosen.name}.accuracy"
    half_width = chosen.half_width(value, ambient_c)
    excess_k = chosen.temperature.excess_k(ambient_c)
    label = f"{meter.name} accuracy, range {chosen.name}"
    origin = f"{meter.class_name or 'bench file'}, {chosen.accuracy}"
    if excess_k:
        origin += f", {excess_k:g} K outside {chosen.temperature.lower_c:g} to {chosen.temperature.upper_c:g} degC"
    if chosen.coverage is Coverage.LIMITS:
        return Contribution.from_limits(name, label, half_width, origin=origin)
    if chosen.coverage is Coverage.K2:
        return Contribution.from_expanded(name, label, half_width, coverage_factor=2.0, origin=origin)
    return Contribution.from_expanded(name, label, half_width, level=0.95, origin=origin)


def lead_correction(
    meter: Meter,
    function: Function,
    measured_ohm: float | None = None,
    *,
    chosen: MeterRange | None = None,
    reading: str = "",
    value_ohm: float = 0.0,
    ambient_c: float = 23.0,
) -> LeadCorrection:
    """Return what the leads of this meter add to a reading of this function.

    `measured_ohm` is the session's reading with the tips shorted; None takes the bench file's figure within
    its limits. Taken off a reading of `value_ohm` on the range `chosen` it shares that range's errors, where
    it was read there too. Nulled leads are taken off by the meter already: what a null leaves behind remains,
    and no less than what the shorted tips still read, for nobody knows whether the null held.
    """
    leads = meter.leads
    if function not in TWO_WIRE:
        return LeadCorrection()
    residual = leads.residual_or(meter.finest_ohms)
    if leads.nulled:
        return _leads(meter, 0.0, max(residual, abs(measured_ohm or 0.0)), "left after the null")
    if measured_ohm is None:
        return _leads(meter, leads.resistance_ohm, leads.limits_ohm, "bench file")
    shorted = meter.range_for(Function.OHMS, measured_ohm)
    if shorted is None or chosen is None:
        return _leads(meter, measured_ohm, residual, "tips shorted")
    if shorted != chosen:
        residual += shorted.half_width(measured_ohm, ambient_c)
        return _leads(meter, measured_ohm, residual, f"tips shorted, read on range {shorted.name}")
    shared = (
        _accuracy(meter, chosen, measured_ohm, ambient_c).times(-1.0),
        *not_shared(reading, chosen, value_ohm - measured_ohm),
    )
    return _leads(meter, measured_ohm, residual, "tips shorted, read on the same range", shared)


def _leads(
    meter: Meter, taken_off: float, half_width: float, origin: str, shared: tuple[Contribution, ...] = ()
) -> LeadCorrection:
    if half_width == 0.0:
        return LeadCorrection(taken_off, shared)
    own = Contribution.from_limits(
        f"{meter.name}.leads", "leads and contacts", half_width, sensitivity=-1.0, origin=origin
    )
    return LeadCorrection(taken_off, (*shared, own))


def not_shared(name: str, chosen: MeterRange, separation: float) -> tuple[Contribution, Contribution]:
    """Return what the difference of two readings on one range keeps of the meter: its curve and two roundings.

    `separation` is how far apart the readings lie; the counts of the accuracy bound the bend of the curve.
    """
    curve = linearity(
        f"{name}.linearity",
        chosen.resolution,
        separation=separation,
        full_scale=chosen.full_scale,
        integral_nonlinearity=chosen.half_width(0.0),
    )
    return curve, rounding(f"{name}.rounding", chosen.resolution)
