"""A unit asked check by check: needs first, one record, power only past the interlocks, off at the end."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec
from benchcheck.errors import ReadingsError, UsageError
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome, Verdict
from benchcheck.session.answers import Skip, Step
from benchcheck.session.run import Request
from benchcheck.session.simulated import simulated_bench, simulated_source
from benchcheck.session.sitting import NOBODY, Sitting
from benchcheck.session.which_bench import bench_from
from tests.cli.scratch import BENCH, GOOD, SPEC

UNPOWERED = [name for name in GOOD if not name.startswith(("BATT.idle", "VCC.voltage"))]
MINE = Check("lamp.drop", "lamp", "drop", Function.DC_VOLTAGE, "V", Phase.RAILS, Limits(1.0, 2.0), why="It glows.")


@contextlib.contextmanager
def sitting(folder: Path, spec: str = SPEC, **request: object) -> Iterator[Sitting]:
    (folder / "board.toml").write_text(spec, encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    board, bench = load_spec(folder / "board.toml"), bench_from(str(folder / "bench.toml"))
    with Sitting(board, bench, Request("T-4", records=folder / "records", **request)) as made:  # type: ignore[arg-type]
        yield made


def test_a_sitting_without_a_reading_leaves_no_record(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        assert made.scores == ()
        assert made.record is None
    assert not (tmp_path / "records").exists()


def test_a_check_is_taken_once_and_kept_once(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        first = made.take("VCC.residual_voltage", "0.004")
        assert made.take("VCC.residual_voltage") is first
    record = read_record(made.record or tmp_path)
    assert [one.check for one in record.readings] == ["VCC.residual_voltage"]
    assert record.last_seal == made.last_seal
    assert not record.problems


def test_another_reading_of_what_was_taken_is_refused_not_dropped(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        first = made.take("VCC.residual_voltage", "0.004")
        assert made.take("VCC.residual_voltage", "0.004") is first
        with pytest.raises(UsageError, match=r"VCC.residual_voltage: '7.1' comes too late.*where it is first needed"):
            made.take("VCC.residual_voltage", "7.1")


def test_what_a_check_needs_is_asked_for_before_it(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        assert made.take("R1.resistance", "4.7k").outcome is Outcome.BLOCKED
        skipped = {score.check: score.because for score in made.scores if score.outcome is Outcome.SKIPPED}
    assert skipped == dict.fromkeys(("BATT.residual_voltage", "VCC.residual_voltage"), NOBODY)


def test_power_is_clear_only_when_everything_before_it_passed(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        for name in UNPOWERED[:-1]:
            made.take(name, GOOD[name])
        assert made.in_the_way() == (f"not in order: {UNPOWERED[-1]}",)
    with sitting(tmp_path) as made:
        for name in UNPOWERED:
            made.take(name, GOOD[name])
        assert made.in_the_way() == ()
        assert made.take("VCC.voltage[50mA]", "8.35").verdict is Verdict.PASS


def test_a_check_of_ones_own_waits_for_power_like_any(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        assert made.take(MINE, "1.5").outcome is Outcome.BLOCKED
    with sitting(tmp_path) as made:
        for name in UNPOWERED:
            made.take(name, GOOD[name])
        assert made.take(MINE, "1.5").verdict is Verdict.PASS
        assert made.take(MINE).verdict is Verdict.PASS
        with pytest.raises(UsageError, match="is a check of the board already"):
            made.take(replace(MINE, limits=Limits(0.0, 9.0)))


def test_a_board_without_power_takes_no_powered_check_of_ones_own(tmp_path: Path) -> None:
    with sitting(tmp_path, SPEC.replace("hazards = []", 'hazards = ["crt"]')) as made:
        with pytest.raises(UsageError, match="crt"):
            made.take(MINE, "1.5")
        assert any("crt" in words for words in made.in_the_way())


def test_what_cannot_be_is_refused_before_anything_is_kept(tmp_path: Path) -> None:
    with sitting(tmp_path) as made:
        with pytest.raises(UsageError, match=r'did you mean "R1\.resistance"'):
            made.take("R1.resistence")
        with pytest.raises(ReadingsError, match=r"R1\.resistance"):
            made.take("R1.resistance", "much")
    assert made.record is None
    with pytest.raises(UsageError, match="this sitting is over"):
        made.take("D1.reverse", "OL")


def test_a_source_may_rather_skip(tmp_path: Path) -> None:
    class Idle:
        def answer(self, step: Step) -> Skip:
            return Skip("tea")

    with sitting(tmp_path) as made:
        made._dictated.source = Idle()
        assert made.take("VCC.residual_voltage").because.startswith("tea")


def test_a_served_bench_answers_and_is_off_at_the_end(tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(SPEC, encoding="utf-8")
    board, plain = load_spec(tmp_path / "board.toml"), bench_from("simulated")
    request = Request("T-4", bench="simulated", records=tmp_path / "records")
    with simulated_bench(board, plain) as served:
        with Sitting(board, served.bench, request, simulated_source(served)) as made:
            assert made.in_the_way() == ()
            assert made.take("BATT.idle_current").outcome is Outcome.MEASURED
            was_on = served.supply.output
        assert (was_on, served.supply.output) == (True, False)
    record = read_record(made.record or tmp_path)
    told = [one.text for one in record.events if one.kind is EventKind.INSTRUMENT]
    assert any(words.startswith("BATT on") for words in told)
    assert any(words.startswith("off (") for words in told)
