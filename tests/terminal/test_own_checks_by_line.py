"""The meter's own checks in a visit line by line without linked meters: asked, left out, taken back, gone on with."""

from __future__ import annotations

import pathlib
import subprocess
import sys

import pytest

from benchcheck.record.model import EventKind
from tests.cli.scratch import GOOD, clean_environment, lay_out
from tests.terminal.pseudo import Person
from tests.terminal.test_bench_side import DROP, ORDER, record_of

OWN = ["meter.leads_shorted", "meter.reference_resistor", "meter.diode", "meter.cell"]
READ = {OWN[0]: "0.12", OWN[1]: "0.9996k", OWN[2]: "0.61", OWN[3]: "1.56"}


def begun(folder: pathlib.Path, *more: str) -> Person:
    return Person(folder, *DROP, *more)


def answer(person: Person, checks: list[str]) -> None:
    for check in checks:
        assert person.asked() == check
        person.type({**GOOD, **READ}[check])


@pytest.mark.parametrize("more", [(), ("--source", "typed")])
def test_a_visit_line_by_line_begins_with_the_meters_own_checks(
    tmp_path: pathlib.Path, more: tuple[str, ...]
) -> None:
    with begun(lay_out(tmp_path), *more) as person:
        answer(person, [*OWN, *ORDER[:4]])
        assert person.end() == 0
    said = " ".join(person.screen.split())
    assert said.count("The meter itself comes first") == 1
    for place in ("1 of 4 meter.leads_shorted", "4 of 4 meter.cell", f"1 of 4 {ORDER[0]}", f"4 of 4 {ORDER[3]}"):
        assert place in said, "the meter's checks and the board's are counted apart"
    assert "meter.cell: dmm: 1.56; nothing earlier to compare it with" in said
    assert [one.check for one in record_of(tmp_path).readings] == [*OWN, *ORDER[:4]]


def test_a_lead_that_is_broken_is_told_at_once_and_taken_again(tmp_path: pathlib.Path) -> None:
    with begun(lay_out(tmp_path)) as person:
        assert person.asked() == OWN[0]
        person.type("150")
        assert "meter.leads_shorted reads 150" in " ".join(person.prompted().split())
        person.type("undo")
        answer(person, [*OWN, *ORDER[:4]])
        assert person.end() == 0
    assert "taken back: meter.leads_shorted" in person.screen
    assert len(record_of(tmp_path).all_readings) == len(OWN) + 5


def test_the_last_of_them_can_be_taken_back_from_the_first_check_of_the_board(tmp_path: pathlib.Path) -> None:
    with begun(lay_out(tmp_path)) as person:
        answer(person, OWN[:3])
        assert person.asked() == OWN[3]
        person.type("0.9")
        assert "Put it right, then undo and take it again" in " ".join(person.prompted().split())
        person.type("u")
        answer(person, [OWN[3], *ORDER[:4]])
        assert person.end() == 0
    assert {one.check: one.display.text for one in record_of(tmp_path).readings}[OWN[3]] == "1.56"


def test_killed_among_them_nothing_is_lost_and_what_was_left_out_is_not_asked_again(tmp_path: pathlib.Path) -> None:
    with begun(lay_out(tmp_path)) as person:
        answer(person, OWN[:1])
        assert person.asked() == OWN[1]
        person.type("l")
        answer(person, OWN[2:3])
        assert person.asked() == OWN[3]
        person.kill()
    with begun(tmp_path, "--resume") as person:
        assert person.asked() == OWN[3]
        for back in (OWN[2], OWN[1], OWN[0]):
            person.type("u")
            assert person.asked() == back, "what was left out is taken back like any answer"
        person.type("u")
        assert "nothing was answered yet that could be taken back" in person.prompted()
        person.type(READ[OWN[0]])
        assert person.asked() == OWN[1]
        person.type("later no resistor in the bag")
        answer(person, OWN[2:])
        answer(person, ORDER[:1])
        person.prompted()
        person.kill()
    with begun(tmp_path, "--resume") as person:
        answer(person, ORDER[1:4])
        assert person.end() == 0
    record = record_of(tmp_path)
    assert [one.check for one in record.readings] == [OWN[0], OWN[2], OWN[3], *ORDER[:4]]
    assert [(one.check, one.text) for one in record.events if one.kind is EventKind.SKIP][-1] == (
        OWN[1],
        "no resistor in the bag",
    )


def test_what_does_nothing_among_them_says_why(tmp_path: pathlib.Path) -> None:
    with begun(lay_out(tmp_path)) as person:
        assert person.asked() == OWN[0]
        person.type("m")
        assert "the meter itself comes first" in " ".join(person.prompted().split())
        person.type("r")
        assert "does nothing here" in person.prompted()
        person.kill()


def test_answers_from_a_file_begin_with_the_first_check_of_the_board(tmp_path: pathlib.Path) -> None:
    (lay_out(tmp_path) / "answers.txt").write_text("".join(f"{GOOD[one]}\n" for one in ORDER[:4]))
    command = [sys.executable, "-m", *DROP, "--source", "typed"]
    with (tmp_path / "answers.txt").open() as answers:
        ran = subprocess.run(
            command,
            cwd=tmp_path,
            stdin=answers,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
            env=clean_environment(),
        )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert [one.check for one in record_of(tmp_path).readings] == ORDER[:4]


def test_lines_that_came_together_down_a_pipe_that_stays_open_are_answered_at_once(tmp_path: pathlib.Path) -> None:
    """Another program writes what it has, and waits for the prompt that follows: nothing more comes until then."""
    asked = subprocess.Popen(
        [sys.executable, "-m", *DROP, "--source", "typed"],
        cwd=lay_out(tmp_path),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env=clean_environment(PYTHONUNBUFFERED="1"),
    )
    assert asked.stdin is not None
    assert asked.stdout is not None
    try:
        asked.stdin.write("".join(f"{GOOD[one]}\n" for one in ORDER[:4]))
        asked.stdin.flush()
        told = asked.stdout.read()
        assert asked.wait(60) == 0
    finally:
        asked.kill()
        asked.stdin.close()
        asked.stdout.close()
    assert "4 checks: 4 pass" in told


def test_without_a_terminal_the_message_says_how_answers_come_from_a_file(tmp_path: pathlib.Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", *DROP],
        cwd=lay_out(tmp_path),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
        env=clean_environment(),
    )
    assert ran.returncode == 2
    assert "--source typed" in " ".join(ran.stderr.split())
