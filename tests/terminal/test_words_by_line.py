"""The words and keys of the linear visit, those of the screen, at a terminal: none is taken for an answer."""

from __future__ import annotations

import hashlib
import pathlib
import shutil

import pytest

from benchcheck.record.model import EventKind
from benchcheck.terminal.actions import Action, meant, word_for
from benchcheck.terminal.prompt import ACTIONS
from tests.factories import check
from tests.terminal.pseudo import Person
from tests.terminal.test_bench_side import past_own_checks, record_of

ROOT = pathlib.Path(__file__).parents[2]
ORDER = ["D3.orientation", "D3.maker", "D3.lot"]


def visit(folder: pathlib.Path, *more: str) -> Person:
    shutil.copy(ROOT / "specs" / "quillmere-kr6.toml", folder / "board.toml")
    shutil.copy(ROOT / "examples" / "quillmere-kr6" / "bench.toml", folder / "bench.toml")
    command = ("benchcheck", "verify", "board.toml", "--unit", "7", "--only", "D3", "--linear", "--silent", *more)
    return past_own_checks(Person(folder, *command), *more)


def at_the_maker(person: Person) -> None:
    assert person.asked() == ORDER[0]
    person.type("y")
    assert person.asked() == ORDER[1]


@pytest.mark.parametrize("word", ["quit", "q", "stop"])
def test_quit_ends_the_visit_by_its_word_and_by_its_key(tmp_path: pathlib.Path, word: str) -> None:
    with visit(tmp_path) as person:
        assert person.asked() == ORDER[0]
        person.type(word)
        assert person.end() == 130
    assert record_of(tmp_path).readings == ()


@pytest.mark.parametrize(
    ("word", "kind"), [("l", EventKind.LATER), ("u", EventKind.UNDO), ("later", EventKind.LATER)]
)
def test_where_a_maker_is_asked_for_a_key_is_asked_about_and_not_kept_as_text(
    tmp_path: pathlib.Path, word: str, kind: EventKind
) -> None:
    with visit(tmp_path) as person:
        at_the_maker(person)
        person.type(word)
        question = person.prompted()
        assert f'"{word}" is also what asks for' in question
        assert question.count("?") == 1
        person.type("no")
        person.prompted()
        person.kill()
    record = record_of(tmp_path)
    assert [event.kind for event in record.events if not event.check.startswith("meter.")] == [kind]
    assert "D3.maker" not in [one.check for one in record.readings]


def test_a_maker_of_that_name_can_be_kept_all_the_same(tmp_path: pathlib.Path) -> None:
    with visit(tmp_path) as person:
        at_the_maker(person)
        person.type("later")
        person.prompted()
        person.type("yes")
        assert person.asked() == ORDER[2]
        person.kill()
    assert record_of(tmp_path).readings[-1].display.text == "later"


def test_words_that_are_another_name_are_asked_about_before_they_fail_a_part(tmp_path: pathlib.Path) -> None:
    with visit(tmp_path) as person:
        at_the_maker(person)
        for words in ("sno idea", "snot seen", "unreadable"):
            person.type(words)
            assert "so the check fails. Is that what is printed there?" in " ".join(person.prompted().split())
            person.type("no")
            assert '"skip" and why' in person.prompted()
        person.type("later")
        assert "Enter alone: neither" in " ".join(person.prompted().split())
        person.type("")
        assert person.prompted().strip() == ">", "nothing was taken"
        person.type("Sorvik")
        person.prompted()
        person.type("yes")
        assert person.asked() == ORDER[2]
        person.kill()
    record = record_of(tmp_path)
    assert [one.display.text for one in record.readings] == ["yes", "Sorvik"]
    assert [one.check for one in record.events if one.check == "D3.maker"] == []


def test_pasted_lines_and_a_line_without_end_are_no_answer(tmp_path: pathlib.Path) -> None:
    with visit(tmp_path) as person:
        at_the_maker(person)
        person.press(b"lorem ipsum dolor\n" * 200)
        assert "came with more lines behind it" in person.prompted()
        person.type("x" * 3000)
        assert "1 to 200 printable signs" in " ".join(person.prompted().split())
        person.type("Dovre Semi")
        assert person.asked() == ORDER[2]
        person.type("q")
        assert "asks for quit" in person.prompted()
        person.type("no")
        assert person.end() == 130
    record = record_of(tmp_path)
    assert [one.display.text for one in record.readings] == ["yes", "Dovre Semi"]


def test_a_note_and_a_photo_are_confirmed_line_by_line(tmp_path: pathlib.Path) -> None:
    (tmp_path / "pads.jpg").write_bytes(b"not a picture")
    with visit(tmp_path) as person:
        assert person.asked() == ORDER[0]
        person.type("n the lead is oxidised")
        assert "note kept: the lead is oxidised" in person.prompted()
        person.type("p pads.jpg")
        digest = hashlib.sha256(b"not a picture").hexdigest()
        assert f"photo kept: pads.jpg, SHA-256 {digest[:12]}..." in person.prompted()
        person.type("p nope.jpg")
        assert '"nope.jpg" is not a file' in person.prompted()
        person.type("pad.jpg")
        assert '"pad.jpg" is not a file' in person.prompted(), "and is asked for again"
        person.type("")
        assert person.prompted().strip() == ">"
        person.type("note")
        assert "in the same line" in person.prompted()
        person.kill()


def test_the_words_told_are_those_that_serve_and_each_has_its_key() -> None:
    r14 = check("R14.resistance")
    told = {line.split()[0]: line.split()[1] for line in ACTIONS[1:]}
    for key, word in told.items():
        found = meant(key, r14)
        assert found is not None
        assert word == word_for(found[0])
        assert found[0] is Action.OVERLOAD or meant(word, r14) == found


def test_a_number_that_was_not_kept_outlasts_a_kill_and_goes_with_the_reading(tmp_path: pathlib.Path) -> None:
    charge = "BATT.residual_voltage"
    with visit(tmp_path) as person:
        for name in ORDER:
            assert person.asked() == name
            person.type("y")
        assert person.asked() == charge
        person.type("200")
        assert "Keep 200 V?" in person.prompted()
        person.type("no")
        person.prompted()
        person.kill()
    assert [event.text for event in record_of(tmp_path).events if event.kind is EventKind.TRY] == ["200"]
    with visit(tmp_path, "--resume") as person:
        assert person.asked() == charge
        person.type("0.002")
        person.prompted()
        person.kill()
    assert record_of(tmp_path).readings[-1].retries == ("200",)
