"""Budgets of different visits made comparable: which errors are one and the same error in both.

Within a visit an id names a physical error. Across visits only the meter's own errors can be the same, and
only of the same meter as it was: one name, model and serial number, not calibrated in between. Everything
else (digits, repeatability, the parts around) is a new draw each time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchcheck.metrology import Budget, Correlation
from benchcheck.record.model import Instrument
from benchcheck.record.record import Record

__all__ = ["across_visits", "meter_key", "record_budgets", "resolutions", "same_meters"]


def meter_key(instrument: Instrument) -> str:
    """Return what makes a meter the same meter, as it was: name, model, serial number, calibration."""
    due = instrument.calibration_due.isoformat() if instrument.calibration_due else ""
    return "|".join((instrument.name, instrument.model, instrument.identity, due))


def across_visits(budget: Budget, instruments: Sequence[Instrument], visit: str) -> Budget:
    """Return the budget with ids that hold across visits; `visit` is the seal by which the record is known."""
    names = {part.id: _renamed(part.id, instruments, visit) for part in budget.contributions}
    parts = tuple(replace(part, id=names[part.id]) for part in budget.contributions)
    correlations = tuple(Correlation(names[a], names[b], coefficient) for a, b, coefficient in budget.correlations)
    return Budget(budget.value, budget.quantity_unit, parts, correlations)


def record_budgets(record: Record) -> dict[str, Budget]:
    """Return the budgets of a record's scores by check, with ids that hold across visits."""
    return {
        score.check: across_visits(score.budget, record.head.instruments, record.identity)
        for score in record.scores
        if score.budget is not None
    }


def same_meters(first: Budget, second: Budget) -> bool:
    """Return whether two budgets made comparable share an error of a meter."""
    return bool({part.id for part in first.contributions} & {part.id for part in second.contributions})


def resolutions(record: Record) -> dict[str, float]:
    """Return one step of the display for each check, as the readings that stand gave it."""
    return {
        reading.check: reading.display.resolution
        for reading in record.readings
        if reading.display.resolution is not None
    }


def _renamed(name: str, instruments: Sequence[Instrument], visit: str) -> str:
    for instrument in instruments:
        if name.startswith(f"{instrument.name}."):
            return f"{meter_key(instrument)}:{name}"
    return f"{visit}:{name}"
