"""`draft` at the command line: it prints or writes, never over answers, and names what it cannot read."""

from __future__ import annotations

import pathlib

import pytest

from tests.cli.scratch import run

LIST = "Reference,Value\nR1-R3,4k7 1%\nQ1,T7\n"


@pytest.fixture
def folder(tmp_path: pathlib.Path) -> pathlib.Path:
    (tmp_path / "parts.csv").write_text(LIST, "utf-8")
    return tmp_path


def test_a_draft_is_printed_and_counted_beside(folder: pathlib.Path) -> None:
    ran = run(folder, "draft", "parts.csv")
    assert ran.code == 0
    assert "[part.R3]" in ran.out
    assert ran.err == "3 parts, 6 questions, 1 left out and named in it\n"


def test_a_draft_that_is_written_passes_check_spec(folder: pathlib.Path) -> None:
    assert run(folder, "draft", "parts.csv", "-o", "board.toml").code == 0
    checked = run(folder, "check-spec", "board.toml", "--brief")
    assert checked.code == 0
    assert "3 checks, nothing wrong" in " ".join(checked.out.split())


def test_answers_are_never_written_over(folder: pathlib.Path) -> None:
    (folder / "board.toml").write_text("mine", "utf-8")
    ran = run(folder, "draft", "parts.csv", "-o", "board.toml")
    assert ran.code == 2
    assert "is there already, and answers in it would be lost; choose another name" in ran.said
    assert (folder / "board.toml").read_text("utf-8") == "mine"


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (["missing.csv"], "there is no such file"),
        (["parts.csv", "--nets", "missing.net"], "there is no such file"),
        (["parts.csv", "-o", "nowhere/board.toml"], "there is no directory nowhere"),
        (["picture.csv"], "is a binary file; save the table as CSV"),
        (["empty.csv"], "is empty"),
        (["."], "is a directory"),
    ],
)
def test_what_cannot_be_read_or_written_is_refused_in_words(
    folder: pathlib.Path, arguments: list[str], reason: str
) -> None:
    (folder / "picture.csv").write_bytes(b"\x89PNG\0\0\0")
    (folder / "empty.csv").write_bytes(b" \n")
    ran = run(folder, "draft", *arguments)
    assert ran.code == 2
    assert reason in ran.said
    assert "Traceback" not in ran.err
