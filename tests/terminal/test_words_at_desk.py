"""Words, pastes and keys at the guided screen as a process on a pseudo-terminal, and a hand that presses anything."""

from __future__ import annotations

import contextlib
import hashlib
import os
import pathlib
import random
import select
import time
from collections.abc import Iterator

import pytest

from benchcheck.builtin import load_spec, plugins
from benchcheck.record.model import EventKind
from benchcheck.simulation.simulated_bench import SimulatedBench, fragment_of
from tests.cli.scratch import lay_out
from tests.terminal.desk_person import DeskPerson
from tests.terminal.test_bench_side import record_of
from tests.terminal.test_desk import TYPED, answer, begin, desk

#: a letter that is a key is shown within this time, in the median, on a busy machine; at rest 50 ms are asked for
#: (`tests/benchmarks/key_to_screen.py`).
_SHOWN_S = 0.5


NOISE = [
    *(sign.encode() for sign in "bcdefghijkvz;:!&%#=/()[]{}<>\"'`~^|_$@?\u00e9\u6f22"),
    *(b"\x1b[A", b"\x1b[15~", b"\x1bOP", b"\x7f", b"\x1b", b"\t", b"\x00", b"\xff", b"\xc3", b"\x15", b"\x1b[20"),
    *(b"\x1b[200~q\nu\n\x1b[201~", b"\x1b[200~" + b"l\n" * 400 + b"\x1b[201~"),
]
KEYS = [sign.encode() for sign in "atorxuslwnpmy0123456789.kKMm-+, beip?\r\r\r\x1b\x7f\t"]
SPEC = pathlib.Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml"


def slowly(person: DeskPerson, text: str) -> None:
    """Type as a hand does, a sign at a time."""
    for sign in text:
        person.press(sign.encode())
        person.look(0.05)


@pytest.mark.parametrize("word", ["beep", "no beep", "climbs to 2.1k", "jumps"])
def test_words_are_typed_as_they_are(tmp_path: pathlib.Path, word: str) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.at("D1.forward_drop")
        slowly(person, word)
        person.sees(f"> {word}_")
        person.press(b"\x1b")
        person.sees("t type a reading")
        person.press(b"q\r")
        assert person.finish() == 130
    record = record_of(tmp_path)
    assert [one.check for one in record.readings] == TYPED[:2]
    assert [event for event in record.events if not event.check.startswith("meter.")] == [], "no letter of it acted"


def test_a_word_with_enter_is_the_reading(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.at("D1.forward_drop")
        slowly(person, "jumps\r")
        person.at("D1.reverse")
        person.press(b"q")
        assert person.finish() == 130
    assert record_of(tmp_path).readings[-1].display.text == "jumps"


@pytest.mark.parametrize("marked", [True, False])
def test_a_pasted_beep_acts_as_no_key(tmp_path: pathlib.Path, marked: bool) -> None:
    pasted = b"\x1b[200~beep\nu\nq\n\x1b[201~" if marked else b"beep\nthat is what it did, or so they say\nq\nu\nl\n"
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.at("D1.forward_drop")
        person.press(pasted)
        person.sees("> beep_")
        for _ in range(8):
            person.look(0.1)
        assert "> beep_" in person.glass.text, "a line to look at, not sent by itself"
        person.press(b"\x1b")
        person.sees("t type a reading")
        answer(person, TYPED[2:])
        assert person.finish() == 0
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_a_letter_is_on_the_screen_at_once_and_acts_when_nothing_follows(tmp_path: pathlib.Path) -> None:
    took = []
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:1])
        person.at(TYPED[1])
        for _ in range(5):
            began_s = time.perf_counter()
            person.press(b"l")
            person.sees("later, unless a word follows")
            took.append(time.perf_counter() - began_s)
            person.press(b"\x7f")
            person.sees("t type a reading")
        person.press(b"u")
        person.sees(f"taken back: {TYPED[0]}")
        answer(person, TYPED)
        assert person.finish() == 0
    assert sorted(took)[2] < _SHOWN_S
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_a_note_and_a_photo_are_confirmed_with_what_was_kept(tmp_path: pathlib.Path) -> None:
    (lay_out(tmp_path) / "pads.jpg").write_bytes(b"not a picture")
    digest = hashlib.sha256(b"not a picture").hexdigest()
    with desk(tmp_path) as person:
        begin(person)
        person.at(TYPED[0])
        person.press(b"n")
        person.sees("note, unless a word follows")
        person.press(b"the lead is oxidised\r")
        person.sees("note kept: the lead is oxidised")
        person.press(b"photo pads.jpg\r")
        person.sees(f"photo kept: pads.jpg, SHA-256 {digest[:12]}")
        answer(person, TYPED)
        assert person.finish() == 0
    texts = {event.kind: event.text for event in record_of(tmp_path).events}
    assert texts[EventKind.NOTE] == "the lead is oxidised"
    assert texts[EventKind.PHOTO] == f"pads.jpg {digest}"


def test_a_kilovolt_at_a_check_near_zero_is_refused_and_a_slip_is_asked_about(tmp_path: pathlib.Path) -> None:
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        person.at(TYPED[0])
        person.press(b"4k68\r")
        person.sees("is 4.68 kV; no meter shows more than 1 kV here")
        person.press(b"0k468\r")
        person.sees("Keep 468 V?")
        person.press(b"no\r")
        person.sees("not kept; type it again with its unit")
        answer(person, TYPED)
        assert person.finish() == 0
    assert record_of(tmp_path).readings[0].retries == ("0k468",)


@pytest.mark.parametrize("linear", [True, False])
def test_spoken_without_a_speech_program_says_so_and_goes_on(tmp_path: pathlib.Path, linear: bool) -> None:
    more = ("--linear",) if linear else ()
    command = ("benchcheck", "verify", "board.toml", "--unit", "7", "--only", "D1", "--spoken", *more)
    with DeskPerson(lay_out(tmp_path), *command, PATH=str(tmp_path)) as person:
        person.sees("no speech program is installed, so no words are said")
        person.kill()


@pytest.mark.parametrize("seed", range(4))
def test_a_thousand_keys_of_noise_break_nothing_and_are_no_reading(tmp_path: pathlib.Path, seed: int) -> None:
    """Letters that mean nothing alone, cursor keys, bytes that are no text, Backspace, Escape, Tab, pastes."""
    hand = random.Random(seed)
    with desk(lay_out(tmp_path)) as person:
        begin(person)
        answer(person, TYPED[:2])
        person.at("D1.forward_drop")
        for place in range(1000):
            person.press(hand.choice(NOISE))
            if place % 10 == 0:
                person.look(0.01)
        for _ in range(60):
            person.press(b"\x1b")
            person.look(0.3)
            if "t type a reading" in person.glass.text:
                break
        person.at("D1.forward_drop")
        answer(person, TYPED[2:])
        assert person.finish() == 0
    assert "Traceback" not in person.screen
    record = record_of(tmp_path)
    assert [one.check for one in record.readings] == TYPED
    assert len(record.all_readings) == len(TYPED), "no reading came of noise"


@contextlib.contextmanager
def at_the_simulated_bench(folder: pathlib.Path) -> Iterator[DeskPerson]:
    """Begin a visit whose meter is read over a link, with nobody at the probes."""
    with SimulatedBench(load_spec(SPEC, plugins())) as served:
        (folder / "bench.toml").write_text(fragment_of(served.names, served.resources, False), encoding="utf-8")
        command = ("benchcheck", "verify", str(SPEC), "--unit", "7", "--silent", "--only", "R14")
        with DeskPerson(folder, *command) as person:
            person.sees("any key goes on")
            person.press(b" ")
            yield person


def taken_in(person: DeskPerson, timeout_s: float) -> None:
    """Take in what came without a screen to hold it: the visit may end at any key, and lines follow."""
    if select.select([person._master], [], [], timeout_s)[0]:
        with contextlib.suppress(OSError):
            person.screen += os.read(person._master, 1 << 16).decode("utf-8", "replace")
        person._let_slave_go()


@pytest.mark.parametrize("seed", range(3))
def test_any_keys_at_the_simulated_bench_break_nothing_and_the_record_reads(
    tmp_path: pathlib.Path, seed: int
) -> None:
    """Every key, quit excepted, at random: whatever comes of it, the record holds and no traceback shows."""
    hand = random.Random(1000 + seed)
    with at_the_simulated_bench(tmp_path) as person:
        for place in range(1200):
            if person.process.poll() is not None:
                break
            with contextlib.suppress(OSError):
                person.press(hand.choice(KEYS))
            taken_in(person, 0.02 if place % 5 else 0.1)
        if person.process.poll() is None:
            person.press(b"\x03")
        assert person.finish() in (0, 1, 3, 4, 130)
    assert "Traceback" not in person.screen
    record = record_of(tmp_path)
    assert record.result is not None
    assert all(one.value.check for one in record.all_readings)


def test_noise_at_the_simulated_bench_is_no_reading(tmp_path: pathlib.Path) -> None:
    hand = random.Random(7)
    with at_the_simulated_bench(tmp_path) as person:
        for _ in range(1000):
            person.press(hand.choice(NOISE))
            person.look(0.01)
        person.press(b"\x03")
        assert person.finish() == 130
    assert "Traceback" not in person.screen
    assert record_of(tmp_path).all_readings == ()
