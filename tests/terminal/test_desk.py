"""The guided visit as a process on a pseudo-terminal: keys, undo, resume, small windows, pastes, a closed window."""

from __future__ import annotations

import contextlib
import os
import pathlib
import re
import shlex
import signal
import sys
import termios

import pytest

from benchcheck.record.model import EventKind
from benchcheck.record.store import read_record
from tests.cli.scratch import GOOD, lay_out, process, records, run
from tests.terminal.desk_person import DeskPerson
from tests.terminal.test_bench_side import ORDER, record_of

VERIFY = ("benchcheck", "verify", "board.toml", "--unit", "7", "--silent")
TYPED = ORDER[:4]
#: the meter's own checks, which come first and may be left out.
OWN = ("meter.leads_shorted", "meter.reference_resistor", "meter.diode", "meter.cell")


def desk(folder: pathlib.Path, *more: str, **environment: str) -> DeskPerson:
    return DeskPerson(folder, *VERIFY, "--only", "D1", *more, **environment)


def answer(person: DeskPerson, checks: list[str]) -> None:
    for check in checks:
        person.at(check)
        person.press(GOOD[check].encode() + b"\r")


def begin(person: DeskPerson) -> None:
    person.sees("any key goes on")
    person.press(b" ")
    for name in OWN:
        person.at(name)
        person.press(b"l\r")


def test_a_visit_is_typed_through_and_ends_as_the_linear_one_does(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED)
        assert person.finish() == 0
    assert "4 checks: 4 pass" in person.screen
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_cautions_come_first_and_a_check_says_where_the_tips_go_and_what_to_expect(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        assert "Extra-low voltage only" in person.sees("any key goes on")
        begin(person)
        answer(person, TYPED[:2])
        text = person.at("D1.forward_drop")
        for words in ("3 of 4", "diode test", "red", "black", "expect", "[", "]", "t type a reading", "q quit"):
            assert words in text
        assert "pass  VCC.residual_voltage" in text
        person.press(b"q")
        assert person.finish() == 130


def test_undo_note_photo_skip_and_later_are_single_keys_and_stand_in_the_record(tmp_path: pathlib.Path) -> None:
    photo = lay_out(tmp_path) / "pads before.jpg"
    photo.write_bytes(b"not a picture")
    with desk(tmp_path) as person:
        begin(person)
        answer(person, TYPED[:3])
        person.at("D1.reverse")
        person.press(b"u")
        person.sees("taken back: D1.forward_drop")
        person.press(b"u")
        person.sees("taken back: VCC.residual_voltage")
        answer(person, TYPED[1:2])
        person.at("D1.forward_drop")
        person.press(b"n")
        person.sees("note, unless a word follows")
        person.press(b"the lead is oxidised\r")
        person.sees("note kept")
        person.press(b"p")
        person.sees("path of the photo")
        person.press(b"pads before.jpg\r")
        person.sees("photo kept")
        person.press(b"l")
        person.at("D1.reverse")
        person.press(b"s")
        person.sees("why is it left out?")
        person.press(b"no room\r")
        answer(person, TYPED[2:3])
        assert person.finish() == 3
    record = record_of(tmp_path)
    kinds = [event.kind for event in record.events]
    for kind in (EventKind.UNDO, EventKind.NOTE, EventKind.PHOTO, EventKind.LATER, EventKind.SKIP):
        assert kind in kinds
    (shot,) = (event.text for event in record.events if event.kind is EventKind.PHOTO)
    # SHA-256 of the file's 13 bytes, by the sha256sum of coreutils
    assert re.fullmatch(r"pads before\.jpg [0-9a-f]{64}", shot)
    assert len(record.all_readings) == 5


def test_why_fills_the_screen_and_any_key_goes_back(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        person.at("BATT.residual_voltage")
        person.press(b"w")
        assert "this bench decides" in person.sees("any key goes on")
        for _ in range(4):
            person.press(b" ")
            person.look(0.3)
            if "t type a reading" in person.glass.text:
                break
        person.sees("t type a reading")


def test_q_on_a_page_quits_as_its_foot_says(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        person.at("BATT.residual_voltage")
        person.press(b"w")
        person.sees("any key goes on")
        person.press(b"q")
        assert person.finish() == 130


def test_a_slip_is_asked_about_on_the_screen(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.at("D1.forward_drop")
        person.press(b"610\r")
        assert "is 610 V, a factor 10^3 off what is expected" in " ".join(person.sees("Keep 610 V?").split())
        person.press(b"no\r")
        person.sees("not kept; type it again with its unit; 610 mV would be likelier")
        person.sees("t type a reading")
        person.press(b"610\r")
        person.sees("yes or no")
        person.press(b"no\r")
        person.sees("t type a reading")
        answer(person, TYPED[2:])
        assert person.finish() == 0
    reading = next(one for one in record_of(tmp_path).readings if one.check == "D1.forward_drop")
    assert reading.retries == ("610", "610")


@pytest.mark.parametrize("how", ["kill", "window", "ctrl-c"])
def test_whatever_ends_it_the_visit_goes_on_at_the_same_check(tmp_path: pathlib.Path, how: str) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.sees("3 of 4")
        if how == "kill":
            person.kill()
        elif how == "window":
            person.hang_up()
            assert person.process.wait(60) == 130
        else:
            person.press(b"\x03")
            assert person.finish() == 130
    with desk(tmp_path, "--resume") as person:
        person.sees("any key goes on")
        person.press(b" ")
        person.sees("3 of 4")
        answer(person, TYPED[2:])
        assert person.finish() == 0
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_the_terminal_is_given_back(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        person.sees("1 of 4")
        assert not person.modes() & (termios.ECHO | termios.ICANON)
        person.press(b"q")
        person.sees("--resume goes on")
        assert person.modes() & termios.ECHO
        assert person.modes() & termios.ICANON
    assert not person.glass.alternate


def test_a_megabyte_pasted_and_random_keys_undo_nothing_and_stop_nothing(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.sees("3 of 4")
        os.set_blocking(person._master, False)
        data, sent = b"q" * 1_000_000, 0
        while sent < len(data):
            with contextlib.suppress(BlockingIOError):
                sent += os.write(person._master, data[sent : sent + 4096])
            person.look(0.0)
        person.press(b"\x1b")
        person.sees("3 of 4")
        for key in (b"\x1b[A", b"\x1b[15~", b"\x00", b"\xff", b"z", b"Z", b"\x1b", b"\t", b"\x1a", b"?"):
            person.press(key)
            person.look(0.1)
        for _ in range(20):
            person.press(b"\x1b")
            if not person.look(0.2) and "> " not in person.glass.text:
                break
        person.sees("t type a reading")
        answer(person, TYPED[2:])
        assert person.finish() == 0
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_a_window_of_20_columns_and_one_that_is_resized_serve(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        person.sees("1 of 4")
        for columns, rows in ((20, 24), (132, 43), (24, 8), (80, 24)):
            person.resize(columns, rows)
            text = person.sees("1 of 4")
            assert "BATT.residual" in "".join(text.split()), "folded, not cut"
        answer(person, TYPED)
        assert person.finish() == 0


def test_without_colour_no_colour_is_sent(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path), NO_COLOR="1") as person:
        begin(person)
        answer(person, TYPED)
        assert person.finish() == 0
    assert not re.search(r"\x1b\[[0-9;]+m", person.screen.replace("\x1b[0m", ""))


def test_a_dumb_terminal_gets_lines(tmp_path: pathlib.Path) -> None:
    with DeskPerson(lay_out(tmp_path), *VERIFY, "--only", "D1", TERM="dumb") as person:
        person.leave_own_checks_out()
        for check in TYPED:
            assert person.asked() == check
            person.type(GOOD[check])
        assert person.end() == 0
    assert "\x1b" not in person.screen


def test_without_a_terminal_it_says_so_and_exits_2(tmp_path: pathlib.Path) -> None:
    ran = run(lay_out(tmp_path), *VERIFY[1:], "--only", "D1")
    assert ran.code == 2
    assert "there is no terminal to ask at" in ran.said
    assert records(tmp_path) == []


@pytest.mark.parametrize("closed", ["<&-", "<&- >&-", "<&- >&- 2>&-"])
def test_with_standard_input_closed_altogether_it_says_the_same(tmp_path: pathlib.Path, closed: str) -> None:
    command = shlex.join([sys.executable, "-m", *VERIFY, "--only", "D1"])
    ran = process(lay_out(tmp_path), ["/bin/sh", "-c", f"{command} {closed}"])
    assert ran.code == 2
    assert "Traceback" not in ran.err
    assert ("there is no terminal to ask at" in ran.said) == ("2>" not in closed)
    assert records(tmp_path) == []


def test_with_standard_output_closed_a_good_unit_is_no_failed_one(tmp_path: pathlib.Path) -> None:
    command = shlex.join([sys.executable, "-m", *VERIFY, "--only", "D1", "--readings", "card.csv"])
    ran = process(lay_out(tmp_path), ["/bin/sh", "-c", f"{command} >&-"])
    assert (ran.code, ran.err) == (0, "")


def test_a_visit_told_to_end_keeps_what_was_accepted(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:1])
        person.sees("2 of 4")
        person.process.send_signal(signal.SIGTERM)
        assert person.finish() == 130
    (path,) = (path for path in records(tmp_path) if path.suffix == ".toml")
    assert [one.check for one in read_record(path).readings] == TYPED[:1]


def test_the_meter_is_checked_first_and_what_its_leads_read_is_used(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        person.sees("any key goes on")
        person.press(b" ")
        person.at(OWN[0])
        person.press(b"0.2\r")
        for name in OWN[1:]:
            person.at(name)
            person.press(b"l\r")
        answer(person, TYPED)
        assert person.finish() == 0
    assert "5 checks: 5 pass" in person.screen
    assert [one.check for one in record_of(tmp_path).readings] == [OWN[0], *TYPED]
