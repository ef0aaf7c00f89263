"""How a meter's own checks lie to earlier visits: told, kept, deciding nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Instrument
from benchcheck.session.self_check import Earlier, drift, earlier_readings
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
