"""Readings and scores as blocks of a record, and back: the keys of format version 1.

A key whose value is None, empty or the default is left out. Floats are written with all their digits and come
back bit for bit. Unknown keys are passed over, so that a later minor addition stays readable here.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from benchcheck.document import toml_value
from benchcheck.errors import DocumentError, Fault, RecordError
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.budgets import budget_fields, decode_budget
from benchcheck.record.fields import Fields
from benchcheck.score.model import Outcome, Reason, Score, Verdict

__all__ = ["body_of", "decode_reading", "decode_score", "reading_fields", "score_fields", "utc"]


def body_of(header: str, fields: Mapping[str, object]) -> bytes:
    """Return a block without its seal line: the header line, then a line a key, what is empty left out.

    Raises RecordError for a text that is not Unicode (half a surrogate pair).
    """
    lines = [header]
    try:
        for key, value in fields.items():
            if value is not None and value != "" and value != [] and value != {}:
                lines.append(f"{key} = {toml_value(value)}")
    except DocumentError as error:
        raise RecordError(Fault(header, key, error.faults[0].message)) from error
    return ("\n".join(lines) + "\n").encode("utf-8")


def utc(moment: datetime | None) -> datetime | None:
    """Return the moment in UTC; raises RecordError where its offset is not known."""
    if moment is not None and moment.tzinfo is None:
        raise RecordError(f"the time {moment.isoformat()} has no offset from UTC; give it one")
    return moment.astimezone(UTC) if moment else None


def reading_fields(reading: Reading) -> dict[str, object]:
    """Return the keys of a `[[reading]]` block."""
    shown = reading.display
    return {
        "check": reading.check,
        "display": shown.text or None,
        "state": str(shown.state),
        "value": shown.value,
        "resolution": shown.resolution,
        "to_overload": shown.to_overload or None,
        "quantity_unit": reading.quantity_unit,
        "origin": str(reading.origin),
        "polarity": reading.polarity,
        "repeat": reading.repeat if reading.repeat != 1 else None,
        "meter": reading.meter,
        "range": reading.meter_range,
        "note": reading.note,
        "line": reading.line or None,
        "taken": utc(reading.taken),
        "retries": list(reading.retries),
    }


def decode_reading(fields: Fields) -> Reading:
    """Return the reading of a block; raises RecordError naming the key that is not what it should be."""
    return Reading(
        check=fields.needed("check"),
        display=Display(
            text=fields.text("display"),
            state=fields.word("state", DisplayState),
            value=fields.number("value"),
            resolution=fields.number("resolution"),
            to_overload=fields.flag("to_overload"),
        ),
        quantity_unit=fields.text("quantity_unit"),
        origin=fields.word("origin", Origin),
        polarity=fields.text("polarity"),
        repeat=fields.count("repeat", 1),
        meter=fields.text("meter"),
        meter_range=fields.text("range"),
        note=fields.text("note"),
        line=fields.count("line", 0),
        taken=fields.moment("taken"),
        retries=fields.texts("retries"),
    )


def score_fields(score: Score) -> dict[str, object]:
    """Return the keys of a `[[score]]` block: those of `checks[]` in a result for programs, and the budget."""
    return {
        "check": score.check,
        "outcome": str(score.outcome),
        "verdict": str(score.verdict) if score.verdict else None,
        "display": score.display,
        "value": score.value,
        "quantity_unit": score.quantity_unit,
        "expanded_uncertainty": score.expanded_uncertainty,
        "coverage_factor": score.coverage_factor,
        "lower": score.lower,
        "upper": score.upper,
        "limit_origin": score.limit_origin,
        "guard_band": score.guard_band,
        "conformance_probability": score.conformance_probability,
        "polarity": score.polarity,
        "meter": score.meter,
        "attempts": score.attempts or None,
        "reason": str(score.code) if score.code else None,
        "because": score.because,
        "change": score.change,
        "budget": budget_fields(score.budget) if score.budget else None,
    }


def decode_score(fields: Fields, *, with_budget: bool = True) -> Score:
    """Return the score of a block; raises RecordError naming the key that is not what it should be."""
    budget = fields.table("budget") if with_budget else None
    return Score(
        check=fields.needed("check"),
        outcome=fields.word("outcome", Outcome),
        quantity_unit=fields.text("quantity_unit"),
        verdict=fields.word("verdict", Verdict) if "verdict" in fields.values else None,
        code=fields.word("reason", Reason) if "reason" in fields.values else None,
        display=fields.text("display"),
        value=fields.number("value"),
        expanded_uncertainty=fields.number("expanded_uncertainty"),
        coverage_factor=fields.number("coverage_factor"),
        lower=fields.number("lower"),
        upper=fields.number("upper"),
        limit_origin=fields.text("limit_origin"),
        guard_band=fields.number("guard_band"),
        conformance_probability=fields.number("conformance_probability"),
        polarity=fields.text("polarity"),
        meter=fields.text("meter"),
        attempts=fields.count("attempts", 0),
        because=fields.text("because"),
        change=fields.text("change"),
        budget=decode_budget(budget) if budget else None,
    )
