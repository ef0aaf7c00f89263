"""A visit with a person at a terminal: what is asked, taken back, put off, stopped, killed and gone on with."""

from __future__ import annotations

import pathlib
import signal

import pytest

from benchcheck.record.model import EventKind
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from tests.cli.scratch import GOOD, NAMES, lay_out, records
from tests.terminal.pseudo import Person

ORDER = [
    "BATT.residual_voltage", "VCC.residual_voltage", "D1.forward_drop", "D1.reverse",
    "isolation.resistance[BASE:VCC]", "BATT.to_ground[red:BATT]", "BATT.to_ground[red:GND]",
    "VCC.to_ground[red:VCC]", "VCC.to_ground[red:GND]", "BATT.idle_current", "VCC.voltage[0A]",
    "VCC.voltage[50mA]",
]  # fmt: skip
DROP = ("benchcheck", "verify", "board.toml", "--unit", "7", "--linear", "--only", "D1")


def visit(folder: pathlib.Path, *more: str) -> Person:
    command = ("benchcheck", "verify", "board.toml", "--unit", "7", "--linear", "--only", NAMES, *more)
    return past_own_checks(Person(folder, *command), *more)


def past_own_checks(person: Person, *more: str) -> Person:
    """Leave out the meter's own checks, which a visit that is gone on with does not ask again."""
    return person if "--resume" in more else person.leave_own_checks_out()


def record_of(folder: pathlib.Path) -> Record:
    (path,) = (path for path in records(folder) if path.suffix == ".toml")
    return read_record(path)


def answer(person: Person, checks: list[str]) -> None:
    for check in checks:
        assert person.asked() == check
        person.type(GOOD[check])


def test_a_visit_asks_in_order_and_ends_with_what_verify_says_of_a_file(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER)
        assert person.end() == 0
    assert "13 checks: 13 pass" in person.screen
    assert [one.check for one in record_of(tmp_path).readings] == ORDER


def test_a_prompt_says_place_function_first_step_probes_and_window_in_lines_that_fit(tmp_path: pathlib.Path) -> None:
    with past_own_checks(Person(lay_out(tmp_path), *DROP)) as person:
        answer(person, ORDER[:2])
        told = person.prompted()
        for words in ("3 of 4  D1.forward_drop", "set       diode test", "red       ", "black     ", "expect    "):
            assert words in told
        assert all(len(line) <= 80 for line in person.screen.splitlines())


def test_undo_goes_back_step_by_step_and_the_record_keeps_every_try(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:3])
        assert person.asked() == ORDER[3]
        for back in (ORDER[2], ORDER[1]):
            person.type("undo")
            assert person.asked() == back
        person.type("0.0051")
        answer(person, ORDER[2:])
        assert person.end() == 0
    record = record_of(tmp_path)
    standing = {one.check: one.display.text for one in record.readings}
    assert standing == {**GOOD, "VCC.residual_voltage": "0.0051"}
    assert len(record.all_readings) == len(GOOD) + 2
    assert len(record.scores) == len(GOOD) + 1


def test_after_the_last_check_any_number_of_answers_can_still_be_taken_back(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:-1])
        assert person.asked() == ORDER[-1]
        person.type("5.9")
        assert "Nothing is left to ask" in person.prompted()
        person.type("what now")
        assert "Enter alone, or undo" in person.prompted()
        for back in (ORDER[-1], ORDER[-2], ORDER[-3]):
            person.type("undo")
            assert person.asked() == back
        for check in ORDER[-3:]:
            person.type(GOOD[check])
        assert person.end() == 0
    assert "13 checks: 13 pass" in person.screen
    assert {one.check: one.display.text for one in record_of(tmp_path).readings} == GOOD


@pytest.mark.parametrize("how", [b"\n", b"\x04"])
def test_after_a_last_check_that_is_no_pass_enter_or_the_end_of_input_ends_the_visit(
    tmp_path: pathlib.Path, how: bytes
) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:-1])
        assert person.asked() == ORDER[-1]
        person.type("5.9")
        person.prompted()
        person.press(how)
        assert person.end() == 1
    assert "2 fail" in person.screen


def test_later_comes_after_the_others_and_whatever_needs_it_waits(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:2])
        assert person.asked() == "D1.forward_drop"
        person.type("later")
        answer(person, ORDER[3:9])
        assert person.asked() == "D1.forward_drop", "power waits for the junction that was put off"
        person.type(GOOD["D1.forward_drop"])
        answer(person, ORDER[9:])
        assert person.end() == 0


def test_a_skip_needs_a_reason_and_why_tells_what_a_check_is_for(tmp_path: pathlib.Path) -> None:
    with past_own_checks(Person(lay_out(tmp_path), *DROP)) as person:
        answer(person, ORDER[:3])
        assert person.asked() == "D1.reverse"
        person.type("why")
        told = person.prompted()
        for words in ("limits:", "this bench decides:", "before: D1.forward_drop", "contribution", "verdict: pass"):
            assert words in told, "what the screen shows as well"
        person.type("")
        assert "take the last answer back" in person.prompted()
        person.type("skip")
        assert "say why" in person.prompted()
        person.type("skip no room for the probe")
        assert person.end() == 3
    *_, skip = (event for event in record_of(tmp_path).events if event.kind is EventKind.SKIP)
    assert (skip.check, skip.text) == ("D1.reverse", "no room for the probe")


def test_a_slip_is_asked_about_and_the_refused_try_is_kept_with_the_reading(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:10])
        assert person.asked() == "VCC.voltage[0A]"
        person.type("8410")
        question = person.prompted()
        assert "Keep 8.41 kV?" in question
        assert question.count("?") == 1, "one question, one meaning"
        person.type("hm")
        assert "Keep 8.41 kV?" in person.prompted()
        person.type("no")
        assert "not kept; type it again with its unit; 8.41 V would be likelier" in person.prompted()
        person.type("nonsense")
        assert '"nonsense"' in person.prompted()
        person.type("8.41")
        answer(person, ORDER[11:])
        assert person.end() == 0
    reading = next(one for one in record_of(tmp_path).readings if one.check == "VCC.voltage[0A]")
    assert (reading.display.text, reading.retries) == ("8.41", ("8410",))


def test_charge_is_measured_until_it_is_gone_also_across_a_kill(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        assert person.asked() == ORDER[0]
        for charge in ("3.2", "1.4"):
            person.type(charge)
            told = person.prompted()
            assert f" of 13  {ORDER[0]}" in told
            assert "discharge it through a resistor" in told
        person.kill()
    with visit(tmp_path, "--resume") as person:
        answer(person, ORDER)
        assert person.end() == 0
    shown = [one.value.display.text for one in record_of(tmp_path).all_readings]
    assert shown[:3] == ["3.2", "1.4", GOOD[ORDER[0]]]


@pytest.mark.parametrize("how", ["stop", "ctrl-c", "ctrl-d", "term", "hup", "window"])
def test_however_a_visit_is_ended_what_was_accepted_is_kept_and_gone_on_with(
    tmp_path: pathlib.Path, how: str
) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:4])
        assert person.asked() == ORDER[4]
        match how:
            case "stop":
                person.type("stop")
            case "ctrl-c":
                person.press(b"\x03")
            case "ctrl-d":
                person.press(b"\x04")
            case "window":
                person.hang_up()
            case _:
                person.process.send_signal(signal.SIGTERM if how == "term" else signal.SIGHUP)
        assert (person.process.wait(60) if how == "window" else person.end()) == 130
    assert "Traceback" not in person.screen
    record = record_of(tmp_path)
    assert record.result is not None
    assert record.result.exit_code == 130
    assert [one.check for one in record.readings] == ORDER[:4]
    with visit(tmp_path, "--resume") as person:
        answer(person, ORDER[4:])
        assert person.end() == 0
    assert [one.check for one in record_of(tmp_path).readings] == ORDER


def test_killed_at_every_prompt_in_turn_nothing_is_lost_and_nothing_asked_twice(tmp_path: pathlib.Path) -> None:
    lay_out(tmp_path)
    for done, check in enumerate(ORDER):
        with visit(tmp_path, *(["--resume"] if done else [])) as person:
            assert person.asked() == check
            person.type(GOOD[check])
            if check == ORDER[-1]:
                assert person.end() == 0
            else:
                person.prompted()
                person.kill()
    record = record_of(tmp_path)
    assert [one.check for one in record.readings] == ORDER
    assert len(record.all_readings) == len(ORDER)
    assert [score.check for score in record.scores] == [*ORDER, "VCC.load_regulation"]


def test_a_resumed_visit_stands_where_it_was_skips_put_off_checks_and_undo_included(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        answer(person, ORDER[:2])
        assert person.asked() == "D1.forward_drop"
        person.type("later")
        assert person.asked() == "D1.reverse"
        person.type("skip lead is under the coil")
        answer(person, ["isolation.resistance[BASE:VCC]"])
        person.prompted()
        person.kill()
    with visit(tmp_path, "--resume") as person:
        assert person.asked() == "BATT.to_ground[red:BATT]"
        person.type("undo")
        assert person.asked() == "isolation.resistance[BASE:VCC]"
        person.type("undo")
        assert person.asked() == "D1.reverse", "the skip is taken back as well"
        person.type(GOOD["D1.reverse"])
        answer(person, [*ORDER[4:9], "D1.forward_drop", *ORDER[9:]])
        assert person.end() == 0
    assert record_of(tmp_path).result is not None


def test_exchanged_leads_outlast_a_kill_and_end_with_the_answer(tmp_path: pathlib.Path) -> None:
    with past_own_checks(Person(lay_out(tmp_path), *DROP)) as person:
        assert person.asked() == ORDER[0]
        person.type("x")
        assert "leads     red and black exchanged" in person.prompted()
        person.kill()
    with Person(tmp_path, *DROP, "--resume") as person:
        assert "leads     red and black exchanged" in person.prompted()
        person.type("-0.003")
        assert "leads     red" not in person.prompted()
        person.type("x")
        person.prompted()
        person.type("x")
        assert "leads     red" not in person.prompted(), "twice is as told"
        person.kill()
    with Person(tmp_path, *DROP, "--resume") as person:
        assert "leads     red" not in person.prompted()
        person.kill()
    assert [one.polarity for one in record_of(tmp_path).readings] == ["swapped"]


def test_pytest_asks_at_the_terminal_too(tmp_path: pathlib.Path) -> None:
    arguments = ("-p", "no:cacheprovider", "-k", "D1", "board.toml", "--unit", "7")
    with past_own_checks(Person(lay_out(tmp_path), "pytest", *arguments)) as person:
        answer(person, ORDER[:2])
        assert person.asked() == "D1.forward_drop"
        person.type("0.62")
        assert person.asked() == "D1.reverse"
        person.type("undo")
        assert person.asked() == "D1.forward_drop"
        person.type("0.61")
        assert person.asked() == "D1.reverse"
        person.type("OL")
        assert person.end() == 0
    assert "2 passed" in person.screen


def test_a_stopped_visit_under_pytest_says_so_and_fails_nothing(tmp_path: pathlib.Path) -> None:
    arguments = ("-p", "no:cacheprovider", "-k", "D1", "board.toml", "--unit", "7")
    with past_own_checks(Person(lay_out(tmp_path), "pytest", *arguments)) as person:
        answer(person, ORDER[:3])
        person.asked()
        person.type("stop")
        assert person.end() == 2
    assert "1 passed, 1 skipped" in person.screen
    assert "--resume goes on" in person.screen
    with Person(tmp_path, "pytest", *arguments, "--resume") as person:
        assert person.asked() == "D1.reverse"
        person.type("OL")
        assert person.end() == 0
    assert "2 passed" in person.screen


def test_who_begins_anew_beside_an_unfinished_visit_is_told(tmp_path: pathlib.Path) -> None:
    for told in (False, True):
        with past_own_checks(Person(lay_out(tmp_path), *DROP)) as person:
            answer(person, ORDER[:1])
            person.prompted()
            assert ("was not finished" in person.screen) is told
            person.kill()


def test_lines_typed_ahead_and_bytes_that_are_no_text_are_taken_one_by_one(tmp_path: pathlib.Path) -> None:
    with visit(lay_out(tmp_path)) as person:
        person.asked()
        person.press(b"\xff\xfe\n")
        assert "> " in person.prompted()
        at = ORDER.index("BATT.idle_current")
        lines = [GOOD[check] for check in ORDER]
        person.press("".join(f"{line}\n" for line in (*lines[:at], "yes", *lines[at:])).encode())
        assert person.end() == 0
    assert [one.display.text for one in record_of(tmp_path).readings] == [GOOD[check] for check in ORDER]


def test_notes_photos_reasons_and_exchanged_leads_are_words_of_the_linear_visit(tmp_path: pathlib.Path) -> None:
    (lay_out(tmp_path) / "pads.jpg").write_bytes(b"a photo")
    with past_own_checks(Person(tmp_path, *DROP)) as person:
        assert person.asked() == ORDER[0]
        person.type("note the case was opened before")
        assert person.asked() == ORDER[0]
        person.type("photo nowhere.jpg")
        assert "is not a file" in person.prompted()
        person.type("pads.jpg")
        assert person.asked() == ORDER[0]
        person.type("swap")
        assert "leads     red and black exchanged" in person.prompted()
        person.type("note it reads the same way round")
        assert "leads     red and black exchanged" in person.prompted(), "a note forgets nothing"
        person.type("-0.003")
        assert person.asked() == ORDER[1]
        person.type(GOOD[ORDER[1]])
        assert person.asked() == "D1.forward_drop"
        person.type("later still warm")
        assert person.asked() == "D1.reverse"
        person.type("OL")
        assert person.asked() == "D1.forward_drop"
        person.type("0.62")
        assert person.end() == 0
    record = record_of(tmp_path)
    texts = {event.kind: event.text for event in record.events}
    assert next(one.text for one in record.events if one.kind is EventKind.NOTE) == "the case was opened before"
    assert texts[EventKind.PHOTO].startswith("pads.jpg ")
    assert texts[EventKind.LATER] == "still warm"
    assert record.readings[0].polarity == "swapped"
    assert "\x1b[" not in person.screen
