"""From accepted readings to one measured value with its budget: leads off, repeats averaged, every error named.

Two touch-downs that disagree by more than three times what the meter and good contacts repeat to are a contact
problem and make no value. Repeats are averaged; their scatter is pooled with what the meter repeats to anyway
(GUM 4.2.4), for two or three readings alone say next to nothing about scatter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchcheck.bench.contributions import TWO_WIRE, accuracy_contributions, lead_correction
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Phase
from benchcheck.metrology import Budget, Contribution
from benchcheck.readings.reading import Reading, Session
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.model import Reason
from benchcheck.score.words import shown

__all__ = ["BROKEN_LEAD_OHM", "Measured", "measure", "picked_meter", "repeat_ratio"]

#: a junction moves 2 mV/K (data sheets), and within half a kelvin between touch-downs (common practice).
_JUNCTION_V_PER_K = 2e-3
_JUNCTION_DRIFT_K = 0.5
#: the ambient the limits of a junction are stated for.
_JUNCTION_REFERENCE_C = 23.0
#: what readings repeat to beside a digit, as a ratio of the reading (common practice, no source): a part
#: warms between the fingers; what charges or leaks settles slowly.
_REPEATS_TO = 0.0005
_REPEATS_TO_SETTLING = 0.05
#: shorted tips that read more than this are a broken lead or no reading of the leads (common practice).
BROKEN_LEAD_OHM = 5.0
#: how far two touch-downs may differ, in multiples of what readings repeat to.
_DISAGREE = 3.0
#: how well the meter's own repeatability is known: to a quarter, so 8 degrees of freedom (GUM G.4.2).
_PRIOR_DEGREES_OF_FREEDOM = 8.0
#: scatter of more than this many times the meter's own variance is no sample of it and is not pooled: the
#: 95 % quantile of the F distribution for 1 and 8 degrees of freedom, less for more readings.
_POOLS_BELOW = 5.3
_SIGNED = (Function.DC_VOLTAGE, Function.DC_CURRENT)
_DRIVEN = (*TWO_WIRE, Function.OHMS_4W)


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value: its budget, and the range of which meter it was read on (None for a stop watch)."""

    budget: Budget
    meter: Meter | None = None
    range: MeterRange | None = None


def picked_meter(check: Check, readings: Sequence[Reading], bench: Bench) -> Meter | Finding:
    """Return the meter the readings came from, or why there is none."""
    name = readings[0].meter
    meter = bench.meter_for(check.function, name)
    if meter is not None:
        return meter
    if name:
        because = f'the bench file has no instrument "{name}" that measures {check.function}'
        return undecided(Reason.METER, because, "name the instrument as the bench file does, or add it there")
    because = f"nothing on the bench measures {check.function}"
    return undecided(Reason.METER, because, check.workaround or "borrow an instrument that does")


@dataclass(frozen=True, slots=True)
class _Taken:
    """Readings of one check that carry numbers, with what they were taken with; numbers in the quantity unit."""

    check: Check
    values: tuple[float, ...]
    mean: float
    recorded: float  # the coarsest last digit that was written down
    meter: Meter
    range: MeterRange
    leads_ohm: float | None  # the session's reading with the tips shorted, where it speaks for this meter

    @property
    def digit(self) -> float:
        """What one step of the readings was: the display's, or coarser where less was written down."""
        return max(self.recorded, self.range.resolution)


def measure(check: Check, readings: Sequence[Reading], bench: Bench, session: Session) -> Measured | Finding:
    """Return the value and budget of readings that all carry a number, or why they make no value."""
    if check.function is Function.TIME:
        return _timed(check, readings)
    meter = picked_meter(check, readings, bench)
    if isinstance(meter, Finding):
        return meter
    values = tuple(_signed(check, reading) for reading in readings)
    mean = values[0] if len(values) == 1 else math.fsum(values) / len(values)
    chosen = meter.range_for(check.function, mean, readings[0].meter_range)
    if chosen is None:
        return _no_range(check, meter, mean, readings[0].meter_range)
    of_session = check.subject != "meter" and meter is bench.meter_for(Function.OHMS)
    recorded = max(reading.display.resolution or 0.0 for reading in readings)
    taken = _Taken(check, values, mean, recorded, meter, chosen, session.leads_ohm if of_session else None)
    return _unusable(taken) or _budgeted(taken, session)


def repeat_ratio(check: Check, readings: Sequence[Reading], bench: Bench, session: Session) -> float | None:
    """Return how far two touch-downs lie apart, as a multiple of what good ones differ by; None without two."""
    meter = picked_meter(check, readings, bench)
    values = [one.display.value for one in readings if one.display.value is not None]
    if isinstance(meter, Finding) or len(values) < 2:
        return None
    mean = math.fsum(values) / len(values)
    chosen = meter.range_for(check.function, mean, readings[0].meter_range)
    if chosen is None:
        return None
    recorded = max(one.display.resolution or 0.0 for one in readings)
    scale = _repeats_to(_Taken(check, tuple(values), mean, recorded, meter, chosen, session.leads_ohm))
    return abs(values[-1] - values[0]) / scale if scale > 0.0 else None


def _budgeted(taken: _Taken, session: Session) -> Measured:
    ambient_c = session.ambient_c
    check, meter, chosen = taken.check, taken.meter, taken.range
    contributions = list(
        accuracy_contributions(
            meter, chosen, taken.mean, reading=check.id, ambient_c=ambient_c, recorded_resolution=taken.recorded
        )
    )
    value = taken.mean
    if check.subject != "meter":
        leads = lead_correction(
            meter,
            check.function,
            taken.leads_ohm,
            chosen=chosen,
            reading=check.id,
            value_ohm=taken.mean,
            ambient_c=ambient_c,
        )
        value -= leads.resistance_ohm
        contributions += leads.contributions
    if len(taken.values) > 1:
        contributions.append(_repeatability(taken))
    elif session.contacts[1] and check.subject != "meter":
        contributions.append(_contacts(taken, *session.contacts))
    if check.function is Function.DIODE:
        contributions += _junction(check, ambient_c)
    return Measured(Budget(value, check.quantity_unit, tuple(contributions)), meter, chosen)


def _signed(check: Check, reading: Reading) -> float:
    value = reading.display.value
    assert value is not None
    return -value if reading.polarity == "swapped" and check.function in _SIGNED else value


def _timed(check: Check, readings: Sequence[Reading]) -> Measured:
    """A time is good to one whole digit of what was written down."""
    values = [reading.display.value or 0.0 for reading in readings]
    digit = max(reading.display.resolution or 0.0 for reading in readings)
    timing = Contribution.from_limits(f"{check.id}.timing", "one digit of the time", digit, origin="as written down")
    return Measured(Budget(math.fsum(values) / len(values), check.quantity_unit, (timing,)))


def _no_range(check: Check, meter: Meter, value: float, named: str) -> Finding:
    what = f'range "{named}" of {check.function} that shows {shown(check, value)}' if named else ""
    because = f"{meter.name} has no {what or f'range of {check.function} that shows {shown(check, value)}'}"
    return undecided(Reason.METER, because, "name the meter and range the reading was taken on, or read again")


def _unusable(taken: _Taken) -> Finding | None:
    """Return why numbers are no measurement of this check: residual charge, a broken lead, loose contacts."""
    check, lowest = taken.check, min(taken.values)
    if taken.leads_ohm is not None and abs(taken.leads_ohm) > BROKEN_LEAD_OHM and check.function in TWO_WIRE:
        tips = shown(check, taken.leads_ohm)
        because = f"the shorted tips read {tips}: a broken lead, or not a reading of the leads"
        return undecided(Reason.CONTACT, because, "change the leads, then enter meter.leads_shorted again")
    if check.function in _DRIVEN and lowest < -taken.range.half_width(lowest):
        because = f"{shown(check, lowest)}: a resistance below zero means charge or a voltage across it"
        return undecided(Reason.METHOD, because, "discharge through a resistor, read the volts, then read again")
    if len(taken.values) == 1:
        return None
    spread, allowed = max(taken.values) - lowest, _DISAGREE * _repeats_to(taken)
    if spread <= allowed:
        return None
    differ, most = shown(check, spread, 2), shown(check, allowed, 2)
    because = f"touch-downs differ by {differ}, more than the {most} contacts allow"
    return undecided(Reason.CONTACT, because, "clean the point and read again twice with a needle tip")


def _repeats_to(taken: _Taken) -> float:
    """Return what two good touch-downs differ by, in the quantity unit."""
    check = taken.check
    slow = check.settle or check.phase is Phase.ISOLATION
    share = _REPEATS_TO_SETTLING if slow else _REPEATS_TO
    contacts = taken.meter.leads.residual_or(taken.meter.finest_ohms) if check.function in TWO_WIRE else 0.0
    drift = _JUNCTION_V_PER_K * _JUNCTION_DRIFT_K if check.function is Function.DIODE else 0.0
    return taken.digit + share * max(map(abs, taken.values)) + contacts + drift


def _repeatability(taken: _Taken) -> Contribution:
    """Return the type A contribution of the mean, its scatter pooled with half a digit of the meter's own.

    Readings that scatter beyond that stand for themselves.
    """
    count = len(taken.values)
    squares = math.fsum((value - taken.mean) ** 2 for value in taken.values)
    dof = _PRIOR_DEGREES_OF_FREEDOM + count - 1
    own = (taken.digit / 2) ** 2
    name, label = f"{taken.check.id}.repeatability", f"repeatability of {count} readings"
    if squares / (count - 1) > _POOLS_BELOW * own:
        return Contribution.from_readings(name, label, taken.values, origin="type A (GUM 4.2.3)")
    pooled = math.sqrt((_PRIOR_DEGREES_OF_FREEDOM * own + squares) / dof)
    origin = "type A, pooled with half a digit (GUM 4.2.4)"
    return Contribution.from_standard(name, label, pooled / math.sqrt(count), degrees_of_freedom=dof, origin=origin)


def _contacts(taken: _Taken, ratio: float, degrees_of_freedom: int) -> Contribution:
    """Return what a single touch-down of this hand scatters by, as its second looks have shown."""
    return Contribution.from_standard(
        f"{taken.check.id}.contacts",
        "contacts of this hand",
        ratio * _repeats_to(taken),
        degrees_of_freedom=float(degrees_of_freedom),
        origin=f"type A, {degrees_of_freedom} second looks of this visit (GUM 4.2.4)",
    )


def _junction(check: Check, ambient_c: float) -> list[Contribution]:
    """Return drift between touch-downs and ambient away from what the limits are stated for, in volt."""
    drift = Contribution.from_limits(
        f"{check.id}.drift", "junction warmth", _JUNCTION_V_PER_K * _JUNCTION_DRIFT_K, origin="2 mV/K x 0.5 K"
    )
    away_k = abs(ambient_c - _JUNCTION_REFERENCE_C)
    if away_k == 0.0:
        return [drift]
    ambient = Contribution.from_limits(
        "ambient.junction", "ambient on the junction", _JUNCTION_V_PER_K * away_k, origin=f"2 mV/K x {away_k:g} K"
    )
    return [drift, ambient]
