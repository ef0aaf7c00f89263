"""How a meter's own checks lie to earlier visits: told, kept, deciding nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.kinds.check import Check
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Instrument
from benchcheck.record.store import read_record
from benchcheck.session.answers import Answer, Later, Photo, Remark, Skip, Step, Taken, Undo
from benchcheck.session.kept import Kept, kept_in
from benchcheck.session.self_check import Earlier, drift, earlier_readings, out_of_order, self_check
from tests.factories import bench, reading
from tests.record.samples import HEAD

CHECKS = {check.id: check for check in session_checks()}
BEFORE = datetime(2026, 1, 31, 10, 15, tzinfo=UTC)


def shown(text: str, check: str = "meter.reference_resistor") -> Reading:
    return reading(CHECKS[check], text, origin=Origin.METERED, meter="dmm")


@pytest.mark.parametrize(
    ("text", "earlier", "told"),
    [
        ("1.0004k", (), "dmm: 1.0004k; nothing earlier to compare it with"),
        (
            "1.0004k",
            (1000.4,),
            "dmm: 1.0004k; as on the last visit of 2026-01-31, 1 earlier visit and this within 0.0 ohm",
        ),
        ("1.0014k", (1000.2, 1000.4), "dmm: 1.0014k; 1.0 ohm more than on the visit of 2026-01-31, 2 earlier visits"),
        ("0.9994k", (1000.2, 1000.4), "dmm: 0.9994k; 1.0 ohm less than on the visit of 2026-01-31, 2 earlier visits"),
        ("OL", (1000.4,), ""),
    ],
)
def test_a_drift_is_told_against_the_last_visit_and_all_of_them(
    text: str, earlier: tuple[float, ...], told: str
) -> None:
    assert drift(shown(text), tuple(Earlier(value, BEFORE) for value in earlier)).startswith(told)


@dataclass
class Answering:
    """Answers check by check from a script, and keeps what was asked."""

    answers: list[Answer]
    asked: list[str] = field(default_factory=list)

    def answer(self, step: Step) -> Answer:
        self.asked.append(step.check.id)
        return self.answers.pop(0)


OWN = tuple(CHECKS[name] for name in ("meter.leads_shorted", "meter.diode", "meter.cell"))


def answered(folder: Path, *answers: Answer) -> tuple[list[str], Mapping[str, tuple[Reading, ...]], list[str], Path]:
    source, told = Answering(list(answers)), list[str]()
    with Journal.create(folder, HEAD, FakeClock()) as journal:

        def judged(check: Check, readings: tuple[Reading, ...]) -> None:
            told.append(out_of_order(check, readings, bench()))

        taken = self_check(source, OWN, journal, Kept(), judged).readings
    assert source.answers == []
    return source.asked, taken, told, journal.path


def test_a_broken_lead_is_told_at_once_and_can_be_taken_again(tmp_path: Path) -> None:
    """It spoilt a whole visit before: every reading after it was undecided, and nobody knew until then."""
    broken, mended = (Taken((shown(text, "meter.leads_shorted"),)) for text in ("150", "0.2"))
    diode, cell = Taken((shown("0.6", "meter.diode"),)), Skip("no cell here")
    asked, taken, told, path = answered(tmp_path, broken, Undo(), mended, diode, cell)
    assert asked == [OWN[0].id, OWN[1].id, OWN[0].id, OWN[1].id, OWN[2].id]
    assert told[0].startswith("meter.leads_shorted reads 150: ")
    assert told[1:] == ["", ""]
    assert {name: one[0].display.text for name, one in taken.items()} == {OWN[0].id: "0.2", OWN[1].id: "0.6"}
    record = read_record(path)
    assert {one.check: one.display.text for one in record.readings} == {OWN[0].id: "0.2", OWN[1].id: "0.6"}
    assert len(record.all_readings) == 3, "and the broken lead stays on file"


def test_notes_photos_and_an_undo_of_nothing_stay_at_the_check(tmp_path: Path) -> None:
    leads = Taken((shown("0.2", "meter.leads_shorted"),))
    aside = (Undo(), Remark("new leads"), Photo("leads.jpg", "0" * 64))
    asked, _, _, path = answered(tmp_path, *aside, leads, Later(), Skip("no cell here"))
    assert asked == [OWN[0].id] * 4 + [OWN[1].id, OWN[2].id]
    told = [one.text for one in read_record(path).events]
    assert "new leads" in told
    assert any(one.startswith("leads.jpg") for one in told)


def test_a_skip_among_the_meters_own_checks_can_be_taken_back(tmp_path: Path) -> None:
    leads, cell = Taken((shown("0.2", "meter.leads_shorted"),)), Taken((shown("1.55", "meter.cell"),))
    asked, taken, _, path = answered(tmp_path, leads, Skip("no diode"), Undo(), Later(), cell)
    assert asked == [OWN[0].id, OWN[1].id, OWN[2].id, OWN[1].id, OWN[2].id]
    assert set(taken) == {OWN[0].id, OWN[2].id}
    assert kept_in(read_record(path)).skips == {"meter.diode": "left out"}, "and not for the reason taken back"


def test_without_records_there_is_nothing_earlier(tmp_path: Path) -> None:
    assert earlier_readings(tmp_path / "none", bench(), {}) == {}
    (tmp_path / "unit").mkdir()
    (tmp_path / "unit" / "20260131T101500Z-abcdef01.toml").write_text("not a record")
    assert earlier_readings(tmp_path, bench(), {}) == {}


@pytest.mark.parametrize(
    ("class_name", "identity", "same"),
    [
        ("handheld-6000", "", True),
        ("handheld-6000", "Fenwater,M55,1,1.0", True),
        ("handheld-6000", "Fenwater,M55,2,1.0", False),
        ("bench-5.5", "Fenwater,M55,1,1.0", False),
    ],
)
def test_a_meter_of_one_name_but_another_class_or_identity_has_no_history(
    tmp_path: Path, class_name: str, identity: str, same: bool
) -> None:
    head = replace(HEAD, instruments=(Instrument("dmm", class_name, identity),))
    with Journal.create(tmp_path, head, FakeClock()) as journal:
        journal.append_readings((shown("1.0004k"),))
    earlier = earlier_readings(tmp_path, bench(), {"dmm": "Fenwater,M55,1,1.0"})
    assert bool(earlier) is same
