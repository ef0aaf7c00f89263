"""An invented visit, as a record holds it: every kind of block, texts that want escaping, an undo."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

from benchcheck.checklist.waivers import Waiver
from benchcheck.clock import FakeClock
from benchcheck.metrology import Budget, Contribution, Correlation
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Instrument, Result, Stage
from benchcheck.score.model import Outcome, Reason, Score, Verdict

SPEC_DIGEST = "5a" * 32
HEAD = Head(
    unit="PR-3 Nr. 42",
    board="Marrowby PR-3 pocket receiver",
    stage=Stage.AS_LEFT,
    spec_digest=SPEC_DIGEST,
    revision="B",
    bench_digest="b7" * 32,
    operator="AB",
    ambient_c=22.5,
    decision_rule="ILAC-G8:09/2019 4.2.3",
    guard_band="1 U",
    coverage="95.45 %",
    instruments=(
        Instrument("dmm", "handheld-6000", "serial 0815", date(2027, 1, 31), "leads 0.2 ohm"),
        Instrument("esrmeter", "esr-meter"),
    ),
    waivers=(Waiver("C9.polarity[other]", 'the "other" lead is under the shield'),),
    cautions=("Extra-low voltage only.",),
    versions=(("benchcheck", "0.1.0"),),
)


def value(check: str, text: str, number: float, quantity_unit: str = "ohm", **more: object) -> Reading:
    display = Display(text, DisplayState.VALUE, number, number / 128)
    return Reading(check, display, quantity_unit, Origin.TYPED, **more)  # type: ignore[arg-type]


READINGS = (
    value("R14.resistance", "4.68k", 4680.0, taken=datetime(2026, 1, 31, 10, 16, 3, 250000, UTC)),
    Reading("D3.reverse", Display("OL", DisplayState.OVERLOAD), "V", Origin.FILE, line=7, meter="dmm"),
    value("VSW.voltage[120mA]", "8.97", 8.97, "V", note='hot "already"\n\tand so on', retries=("8.1", "0L")),
    value("Q2.body_diode", "0.52", 0.1 + 0.2, "V", polarity="swapped", repeat=2, meter_range="2 V"),
)
BUDGET = Budget(
    4679.8,
    "ohm",
    (
        Contribution.from_limits("dmm.ohms.6k.accuracy", "dmm accuracy", 40.6, origin="handheld-6000, 0.8 % + 3"),
        Contribution.from_standard("dmm.leads", "leads", 0.1 / 3, sensitivity=-1.0),
        Contribution.from_readings("R14.repeat", "repeatability", (4678.0, 4680.0, 4681.0)),
        Contribution.trapezoidal("R13.tolerance", "R13 beside it", 24.0, 0.3, sensitivity=0.0123),
    ),
    (Correlation("dmm.leads", "R13.tolerance", 0.25),),
)
SCORES = (
    Score(
        "R14.resistance",
        Outcome.MEASURED,
        "ohm",
        Verdict.PASS,
        display="4.68k",
        value=4679.8,
        expanded_uncertainty=24.3,
        coverage_factor=1.65,
        lower=4653.0,
        upper=4747.0,
        limit_origin="the spec",
        guard_band=24.3,
        conformance_probability=0.998,
        meter="dmm",
        attempts=1,
        budget=BUDGET,
    ),
    Score(
        "D3.reverse",
        Outcome.MEASURED,
        "V",
        Verdict.UNDECIDED,
        Reason.COMPLIANCE,
        display="OL",
        attempts=1,
        because="2 V of compliance show nothing above",
        change="a meter with more",
    ),
    Score("C9.esr", Outcome.SKIPPED, "ohm", because="no ESR meter"),
)
RESULT = Result(3, (("pass", 1), ("undecided", 1), ("skipped", 1)))


def write_visit(records_dir: Path, head: Head = HEAD, clock: FakeClock | None = None) -> Path:
    """Return the path of a record with every kind of block, closed."""
    with Journal.create(records_dir, head, clock or FakeClock()) as journal:
        journal.append_reading(READINGS[0])
        journal.append_readings(READINGS[1:])
        journal.append_event("undo", "Q2.body_diode", "probe slipped")
        journal.append_event("skip", "C9.esr", "no ESR meter")
        journal.append_scores(SCORES)
        journal.append_result(RESULT)
    return journal.path
