"""Every fault a spec can have is named with its line, what was found, what is allowed and what to do.

A case is a file in `bad`, and beside it the exact message.
"""

from __future__ import annotations

import copy
import re
from functools import reduce
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.document import dump, parse_document
from benchcheck.errors import InputError, SpecError
from benchcheck.spec.board import Board
from benchcheck.spec.findings import key_text
from benchcheck.spec.load import load_board
from benchcheck.spec.references import MOST_HINTS
from tests.spec.mutations import DATA, PLACES, Change, mutated, mutations

HERE = Path(__file__).parent
CASES = sorted((HERE / "bad").glob("*.toml"))
DEMO = HERE.parents[1] / "specs" / "quillmere-kr6.toml"
GOOD = """\
benchcheck = 1
[board]
model = "Ellwick T-1"
hazards = []
[part.R14]
kind = "resistor"
value = "4k7"
nets = ["FB", "GND"]
"""


def at_path(path: tuple[Any, ...]) -> Any:
    return reduce(lambda table, step: table[step], path, DATA)


def load(text: str) -> Board:
    return load_board(parse_document(text, "x.toml"))


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_a_bad_spec_gets_exactly_its_message(case: Path) -> None:
    with pytest.raises(InputError) as caught:
        load_board(parse_document(case.read_text("utf-8"), case.name))
    assert str(caught.value) + "\n" == case.with_suffix(".txt").read_text("utf-8")


def test_every_case_has_its_message_and_every_message_its_case() -> None:
    assert CASES
    assert {path.stem for path in CASES} == {path.stem for path in (HERE / "bad").glob("*.txt")}


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (b"\x7fELF\x00\x00\x01\x02" * 64, "x.toml"),
        (GOOD.encode().replace(b"4k7", b"4k7\xff"), "UTF-8"),
    ],
    ids=["empty", "binary", "not UTF-8"],
)
def test_a_file_that_is_no_text_is_refused_in_words(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_board(path)
    assert told in str(caught.value)


def test_a_hundred_megabytes_are_refused_without_being_read(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    with pytest.raises(InputError, match="MB"):
        load_board(path)


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load_board(path).model == "Ellwick T-1"


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml"):
        load_board(tmp_path / "none.toml")


@settings(max_examples=200, deadline=None)
@given(mutations())
def test_no_mutation_of_a_spec_raises_anything_but_a_spec_error(changes: list[Change]) -> None:
    try:
        load(dump(mutated(changes)))
    except SpecError as error:
        assert all(fault.message and fault.key for fault in error.faults)  # noqa: PT017


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=60), st.integers(0, 5000), st.integers(0, 40))
def test_no_bytes_in_a_file_raise_anything_but_an_input_error(
    tmp_path_factory: pytest.TempPathFactory, inserted: bytes, at: int, cut: int
) -> None:
    content = DEMO.read_bytes()
    path = tmp_path_factory.getbasetemp() / "bytes.toml"
    path.write_bytes(content[:at] + inserted + content[at + cut :])
    try:
        load_board(path)
    except InputError as error:
        assert error.faults  # noqa: PT017


#: tables whose keys are names of the user's own.
FREE = {(), ("net",), ("supply",), ("rail",), ("part",), ("supply", "BATT", "voltages")}
TABLES = [
    path
    for path in [(), *PLACES]
    if isinstance(at_path(path), dict)
    and path not in FREE
    and not (path[0] == "part" and path[2:] == ("nets",) and at_path(path[:2])["kind"] == "ic")
]


@pytest.mark.parametrize("path", TABLES, ids=key_text)
def test_no_unknown_key_is_silently_lost(path: tuple[Any, ...]) -> None:
    data = copy.deepcopy(DATA)
    table: Any = data
    for step in path:
        table = table[step]
    table["nowhere_x"] = "GND" if path[-1] == "nets" else "open"
    with pytest.raises(SpecError) as caught:
        load(dump(data))
    assert {fault.key for fault in caught.value.faults} == {key_text((*path, "nowhere_x"))}
    assert all(re.fullmatch(r"x\.toml:[0-9]+", fault.where) for fault in caught.value.faults)


@pytest.mark.parametrize("key", ["kind", "value", "voltage", "model", "benchcheck", "board", "nets"])
def test_a_key_taken_away_where_it_is_needed_is_missed(key: str) -> None:
    places = [path for path in PLACES if path[-1] == key and (path[0] in ("rail", "supply") or key != "nets")]
    assert places
    for path in places:
        if path[0] == "net" or (key == "value" and at_path(path[:-1])["kind"] == "winding"):
            continue
        with pytest.raises(SpecError, match="is missing"):
            load(dump(mutated([(path, None)])))


def test_faults_come_in_the_order_of_the_file() -> None:
    with pytest.raises(InputError) as caught:
        load((HERE / "bad" / "every_line_wrong.toml").read_text("utf-8"))
    lines = [int(fault.where.rpartition(":")[2]) for fault in caught.value.faults]
    assert lines == sorted(lines)
    assert len(lines) == 12


def test_a_hopeless_file_names_every_fault_and_guesses_only_for_the_first() -> None:
    many = "".join(f"[net.M{place}]\n" for place in range(300))
    with pytest.raises(SpecError) as caught:
        load(GOOD.replace("FB", "M") + many)
    assert len(caught.value.faults) == 300
    assert sum("did you mean" in fault.message for fault in caught.value.faults) <= MOST_HINTS
