"""Line by line, ripple is read at clips that were put on with the power off and seen on their points under power."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchcheck.bench.functions import Function
from benchcheck.record.model import EventKind
from tests.session.rig import Living, Served, served_bench
from tests.terminal.pseudo import Person
from tests.terminal.test_power_keys import RIPPLING
from tests.terminal.test_powered_prompts import OHMS, PROBED, is_on, the_record

PROMPT = re.compile(r"Enter > $|(yes or no > |\n> )$|counted by itself: tips on, then Enter again\s*$")
CLIPS = "clip both tips on"


def at_the_bench(folder: Path, served: Served) -> Person:
    (folder / "bench.toml").write_text(served.text)
    (folder / "board.toml").write_text(RIPPLING)
    return Person(folder, "benchcheck", "verify", "board.toml", "--unit", "7", "--linear", "--only", "V6.ripple")


def told(person: Person) -> str:
    """Read on to the next prompt, or the end, and return it without its folds."""
    came = len(person.screen)
    while not PROMPT.search(person.screen[came:]) and person._read():
        pass
    person._let_slave_go()
    return " ".join(person.screen[came:].split())


def until(person: Person, words: str) -> str:
    """Answer as a patient person would until some words are told."""
    while True:
        said = told(person)
        if words in said:
            return said
        assert said, person.screen[-2000:]
        own = "meter." in said and "Enter >" in said
        person.type("later" if own else "yes" if said.endswith("yes or no >") else "")


def test_clips_are_put_on_with_the_power_off_and_how_they_were_seen_stands_with_the_reading(
    tmp_path: Path,
) -> None:
    with served_bench(PROBED, OHMS, kind=Living) as served, at_the_bench(tmp_path, served) as person:
        until(person, CLIPS)
        assert not is_on(served)
        person.type("2m")
        assert "nothing can be read yet" in told(person)
        person.type("note both hooks")
        assert CLIPS in told(person), "asked again"
        person.type("")
        until(person, "Nothing is left to ask")
        assert not is_on(served)
        person.type("")
        assert person.end() == 3, "this bench has no range to judge it by"
    record = the_record(tmp_path)
    (taken,) = (one for one in record.readings if one.check == "V6.ripple")
    assert taken.display.value == pytest.approx(0.002, rel=0.1)
    assert taken.note.startswith("clips seen on: ")
    assert [one.text for one in record.events if one.kind is EventKind.NOTE] == ["both hooks"]


def test_clips_in_the_air_are_found_out_and_power_goes_off(tmp_path: Path) -> None:
    """The unit is fed, the supply shows its current, and the meter on the clips shows no rail."""
    with (
        served_bench({**PROBED, Function.DC_VOLTAGE: 0.01}, OHMS) as served,  # no rail shows, whatever is fed
        at_the_bench(tmp_path, served) as person,
    ):
        until(person, CLIPS)
        person.type("")
        said = until(person, "power is off: ")
        assert "the clips are off their points, or V6 is dead" in said
        assert not is_on(served)
        person.type("stop")
        assert person.end() == 130
    assert "V6.ripple" not in [one.check for one in the_record(tmp_path).readings]


@pytest.mark.parametrize(("word", "code"), [("skip no hooks", 3), ("quit", 130)])
def test_a_word_in_place_of_clips_brings_no_power(tmp_path: Path, word: str, code: int) -> None:
    with served_bench(PROBED, OHMS, kind=Living) as served, at_the_bench(tmp_path, served) as person:
        until(person, CLIPS)
        person.type(word)
        if code == 3:
            until(person, "Nothing is left to ask")
            person.type("")
        assert person.end() == code
        assert not is_on(served)
    assert "clips" not in " ".join(one.note for one in the_record(tmp_path).readings)
