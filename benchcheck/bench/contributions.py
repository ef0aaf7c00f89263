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

__all__ = ["LeadCorrection", "accuracy_contributions", "lead_correction"]

#: functions whose reading holds the leads' own resistance.
TWO_WIRE = frozenset({Function.OHMS, Function.LOW_POWER_OHMS, Function.CONTINUITY, Function.ESR})


@dataclass(frozen=True, slots=True)
class LeadCorrection:
    """What to take off a two-wire reading, in ohm, and how far off that may be."""

    resistance_ohm: float = 0.0
    contribution: Contribution | None = None


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


def lead_correction(meter: Meter, function: Function, measured_ohm: float | None = None) -> LeadCorrection:
    """Return what the leads of this meter add to a reading of this function.

    `measured_ohm` is the session's reading with the tips shorted; None takes the bench file's figure within
    its limits. Nulled leads are taken off by the meter already: what a null leaves behind remains, and no less
    than what the shorted tips still read, for nobody knows whether the null held for the other readings.
    """
    leads = meter.leads
    if function not in TWO_WIRE:
        return LeadCorrection()
    if leads.nulled:
        half_width = max(leads.residual_or(meter.finest_ohms), abs(measured_ohm or 0.0))
        taken_off, origin = 0.0, "left after the null"
    elif measured_ohm is not None:
        taken_off, half_width, origin = measured_ohm, leads.residual_or(meter.finest_ohms), "tips shorted"
    else:
        taken_off, half_width, origin = leads.resistance_ohm, leads.limits_ohm, "bench file"
    if half_width == 0.0:
        return LeadCorrection(taken_off)
    contribution = Contribution.from_limits(
        f"{meter.name}.leads", "leads and contacts", half_width, sensitivity=-1.0, origin=origin
    )
    return LeadCorrection(taken_off, contribution)
