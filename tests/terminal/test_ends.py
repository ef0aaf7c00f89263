"""How a visit begins and ends: left at its cautions it leaves nothing, after the last check undo serves."""

from __future__ import annotations

import pathlib
from types import SimpleNamespace

import pytest

from benchcheck.session.run import Request
from benchcheck.terminal.app import _Show
from benchcheck.terminal.manner import Manner
from benchcheck.terminal.screen import Screen
from tests.cli.scratch import GOOD, lay_out, records
from tests.terminal.pseudo import Person
from tests.terminal.test_bench_side import DROP, past_own_checks, record_of
from tests.terminal.test_bench_side import answer as answer_line
from tests.terminal.test_desk import TYPED, answer, begin, desk
from tests.terminal.test_power_keys import Bursts, guided


def test_q_at_the_cautions_begins_no_record_and_confuses_no_later_visit(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    for _ in range(2):
        with desk(tmp_path) as person:
            assert "was not finished" not in person.sees("any key goes on")
            person.press(b"q")
            assert person.finish() == 130
            assert "no record was begun" in " ".join(person.screen.split())
        assert records(tmp_path) == []
    with desk(tmp_path) as person:
        begin(person)
        answer(person, TYPED[:1])
        person.at(TYPED[1])
        person.kill()
    with desk(tmp_path, "--resume") as person:
        person.sees("any key goes on")
        person.press(b"q")
        assert person.finish() == 130
    with desk(tmp_path, "--resume") as person:
        person.sees("any key goes on")
        person.press(b" ")
        answer(person, TYPED[1:])
        assert person.finish() == 0
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_after_a_last_check_that_passed_the_last_answer_can_be_taken_back_on_the_screen(
    tmp_path: pathlib.Path,
) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED)
        assert "end by themselves after 20 s" in " ".join(person.sees("That was the last check").split())
        person.press(b"u")
        answer(person, TYPED[-1:])
        assert person.finish() == 0
    record = record_of(tmp_path)
    assert [one.check for one in record.readings] == TYPED
    assert len(record.all_readings) == len(TYPED) + 1


def test_after_a_last_check_that_passed_the_last_answers_can_be_taken_back_line_by_line(
    tmp_path: pathlib.Path,
) -> None:
    with past_own_checks(Person(lay_out(tmp_path), *DROP)) as person:
        answer_line(person, TYPED)
        assert "Nothing is left to ask" in person.prompted()
        person.type("undo")
        assert person.asked() == TYPED[-1]
        person.type("undo")
        assert person.asked() == TYPED[-2]
        for check in TYPED[-2:]:
            person.type(GOOD[check])
        assert person.end() == 0
    assert len(record_of(tmp_path).all_readings) == len(TYPED) + 2


def test_charge_that_is_left_after_the_soak_is_said_on_the_terminal_that_stays(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The screen closes behind a soak: what stood on it last is gone before anybody has read it."""
    show = _Show(Request("7"), Screen(), True, None, Manner())
    show._guided, _ = guided(Bursts(), power="")
    for line in (
        "power off, the series meter comes out: output off",
        "soak 10 s: 9.010 V, 44.0 mA",
        "soak stopped after 10 s: at the current limit: 4.012 V, 255 mA, and it had been steady",
        "switching off: at the current limit: 4.012 V, 255 mA, and it had been steady",
        "output off; the board still holds 4.53 V: discharge it through a resistor",
    ):
        show.told(line)
    nothing = SimpleNamespace(checklist=SimpleNamespace(checks=()), scores=())
    show._tell_open_ends(nothing)  # type: ignore[arg-type]
    assert " ".join(capsys.readouterr().out.split()) == (
        "soak stopped after 10 s: at the current limit: 4.012 V, 255 mA, and it had been steady "
        "output off; the board still holds 4.53 V: discharge it through a resistor"
    )
