"""How a check is captured on a meter of the bench: its digit, its open leads, what metal and a short read on it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter
from benchcheck.kinds.check import Check, Phase
from benchcheck.quantity import DisplayState
from benchcheck.readings.capture_rule import CaptureRule, Opens
from benchcheck.readings.reading import Reading, Session

__all__ = ["capture_rule", "of_contacts", "shown_value"]

#: functions that drive a current: open leads show overload, and no part reads below zero.
_DRIVING = (
    Function.OHMS,
    Function.LOW_POWER_OHMS,
    Function.OHMS_4W,
    Function.CONTINUITY,
    Function.DIODE,
    Function.ESR,
)
#: what a short adds to the leads, and what a junction mode shows across metal (trade; meter manuals).
_METAL_OHM, _METAL_V = 0.5, 0.03
#: what shorted tips read at most (as `meter.leads_shorted` has it); more is a broken lead, and says nothing of metal.
_LEADS_OHM = 1.0
#: open leads on functions that show zero then (common practice, no source): a few picofarad, some millivolt.
_OPEN = {"F": 50e-12, "V": 0.02, "A": 1e-6, "H": 0.0}
#: what two touch-downs differ by beside a digit (as in scoring): a share of the reading, and contacts.
_AGREE, _CONTACT_OHM = 0.0005, 0.02
_PATIENT_S, _PATIENT_SHARE = 0.5, 0.33


def capture_rule(check: Check, meter: Meter, session: Session | None = None, *, open_is_good: bool) -> CaptureRule:
    """Return how a check is captured on a meter; the session says what shorted tips and the known cell read.

    `open_is_good` where overload is right. Where volts near zero are, everything that would be right counts as open
    leads, which drift, and only marks or a key can say otherwise.
    """
    session = session or Session()
    ranges = meter.ranges_of(check.function)
    coarsest = max((one.resolution for one in ranges), default=0.0)

    def count_at(value: float) -> float:
        chosen = meter.range_for(check.function, value)
        return chosen.resolution if chosen is not None else coarsest or abs(value) * 1e-4

    driving = check.function in _DRIVING
    known = session.leads_ohm
    leads = (
        known
        if known is not None and known <= _LEADS_OHM
        else (0.0 if meter.leads.nulled else meter.leads.resistance_ohm)
    )
    near_zero = not driving and check.phase is not Phase.SESSION and _near_zero(check)
    slow = check.settle or check.phase is Phase.ISOLATION
    return CaptureRule(
        count_at,
        opens=Opens.OVERLOAD if driving else Opens.ZERO,
        open_below=max(_OPEN.get(check.quantity_unit, 0.0), _widest(check) if near_zero else 0.0),
        short_below=_METAL_V if check.function is Function.DIODE else leads + _METAL_OHM if driving else 0.0,
        ceiling=max((one.overload_from for one in ranges), default=math.inf),
        open_is_good=open_is_good if driving else near_zero,
        cell_volt=(session.cell_volt or 0.0) if check.function is Function.DC_VOLTAGE else 0.0,
        never_negative=driving,
        hold_s=_PATIENT_S if slow else 0.06,
        share=_PATIENT_SHARE if slow else 0.25,
        agree=_AGREE,
        contact=_CONTACT_OHM if check.quantity_unit == "ohm" else 0.001 if check.function is Function.DIODE else 0.0,
    )


def _near_zero(check: Check) -> bool:
    """Whether nothing at all lies between the limits of a check, as open leads show it."""
    lower, upper = check.limits.lower, check.limits.upper
    return (lower is None or lower <= 0.0) and upper is not None and upper >= 0.0


def _widest(check: Check) -> float:
    """Return how far from zero a reading may lie and still be right."""
    return max(abs(check.limits.lower or 0.0), abs(check.limits.upper or 0.0))


def shown_value(reading: Reading) -> float:
    """Return the value a reading shows in SI, inf for overload, not a number for anything else."""
    display = reading.display
    if display.state is DisplayState.OVERLOAD:
        return math.inf
    return display.value if display.state is DisplayState.VALUE and display.value is not None else math.nan


def of_contacts(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Return readings numbered as the repeats of one check."""
    return tuple(replace(one, repeat=place) for place, one in enumerate(readings, 1))
