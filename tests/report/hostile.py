"""A record in which every text a person or file could have written tries to be more than text."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

from benchcheck.checklist.waivers import Waiver
from benchcheck.clock import FakeClock
from benchcheck.metrology import Budget, Contribution
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Instrument, Result
from benchcheck.record.record import Record, read_record
from benchcheck.score.model import Outcome, Reason, Score, Verdict
from tests.record.samples import HEAD

#: what breaks out of text, attributes, style, comments and templates, and a sign no HTML may hold.
NASTY = (
    "</title></style><script>document.title='broken out'</script><img src=x onerror=\"alert(1)\">"
    "'\" --> {{ 7*7 }} {% raw %} &amp; </td></table><svg onload=alert(2)> \x1b[2J\u202eevil"
)
LABEL = NASTY.replace("\x1b", "")[:60]


def hostile_head() -> Head:
    return replace(
        HEAD,
        unit=LABEL,
        board=NASTY,
        revision=NASTY,
        operator=NASTY,
        decision_rule=NASTY,
        guard_band=NASTY,
        coverage=NASTY,
        instruments=(Instrument(NASTY, NASTY, NASTY, date(2020, 1, 1), NASTY),),
        waivers=(Waiver(NASTY, NASTY),),
        cautions=(NASTY,),
        versions=((NASTY, NASTY),),
    )


def hostile_score(name: str, **more: object) -> Score:
    budget = Budget(5.0, "ohm", (Contribution.from_limits("x", NASTY, 1.0, origin=NASTY),))
    fields: dict[str, object] = {
        "verdict": Verdict.UNDECIDED,
        "code": Reason.METHOD,
        "display": NASTY,
        "value": 5.0,
        "expanded_uncertainty": 0.5,
        "coverage_factor": 2.0,
        "lower": 1.0,
        "upper": 9.0,
        "limit_origin": NASTY,
        "guard_band": 0.5,
        "conformance_probability": 0.99,
        "meter": NASTY,
        "because": NASTY,
        "change": NASTY,
        "budget": budget,
    }
    return Score(name, Outcome.MEASURED, "ohm", **{**fields, **more})  # type: ignore[arg-type]


def hostile_record(records_dir: Path) -> Record:
    """Write a hostile visit and return it as it reads back."""
    reading = Reading(
        NASTY, Display(NASTY, DisplayState.TEXT), "text", Origin.TYPED, note=NASTY, retries=(NASTY,), meter=NASTY
    )
    answered = hostile_score(NASTY, value=None, lower=None, upper=None, budget=None, expanded_uncertainty=None)
    skipped = Score("C9.esr", Outcome.SKIPPED, "ohm", because=NASTY)
    failed = hostile_score("R2.resistance", verdict=Verdict.FAIL, code=None, value=50.0)
    clock = FakeClock(datetime(2026, 3, 29, 1, 30, tzinfo=UTC))
    with Journal.create(records_dir, hostile_head(), clock) as journal:
        journal.append_reading(reading)
        journal.append_event("note", NASTY, NASTY)
        journal.append_scores((hostile_score("R1.resistance"), failed, answered, skipped))
        journal.append_result(Result(3, ((NASTY, 1),)))
    return read_record(journal.path)
