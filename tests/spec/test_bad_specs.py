"""Every fault a spec can have is named with its line, what was found, what is allowed and what to do.

A case is a file in `bad`, and beside it the exact message.
"""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.document import Document, dump, parse_document, read_document
from benchcheck.errors import InputError, SpecError
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

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


def load(text: str) -> Board:
    return load_board(parse_document(text, "x.toml"))


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_a_bad_spec_gets_exactly_its_message(case: Path) -> None:
    document = Document(case.name, text := case.read_text("utf-8"), {}, "")
    with pytest.raises(InputError) as caught:
        load_board(parse_document(text, document.name))
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


def test_without_the_hazards_key_the_board_loads_and_gets_no_power() -> None:
    board = load(GOOD.replace("hazards = []\n", ""))
    assert board.hazards is None
    assert any("hazards" in reason for reason in board.power_refusals)


SUPPLY = """\
[supply.BATT]
nets = {{ plus = "FB", minus = "GND" }}
voltage = "{volts}"
current_limit = "700 mA"
input_capacitance = "100 uF"
idle_current = {{ max = "45 mA" }}
"""


@pytest.mark.parametrize("missing", ["current_limit", "input_capacitance", "idle_current"])
def test_power_is_refused_without_what_the_first_power_needs(missing: str) -> None:
    supply = "".join(
        line for line in SUPPLY.format(volts="6 V").splitlines(keepends=True) if not line.startswith(missing)
    )
    board = load(GOOD + supply)
    assert any(missing in reason for reason in board.power_refusals)


def test_a_complete_supply_may_give_power() -> None:
    assert load(GOOD + SUPPLY.format(volts="6 V")).power_refusals == ()


@pytest.mark.parametrize("hazard", ["mains", "crt", "flash-capacitor", "backlight-inverter"])
def test_hazards_beyond_the_scope_withhold_every_powered_check(hazard: str) -> None:
    board = load(GOOD.replace("hazards = []", f'hazards = ["{hazard}"]') + SUPPLY.format(volts="6 V"))
    assert board.withheld
    assert not any(check.powered for check in board.checks)
    assert board.power_refusals


def test_more_than_sixty_volts_withhold_every_powered_check() -> None:
    assert load(GOOD + SUPPLY.format(volts="60 V")).withheld == frozenset()
    assert load(GOOD + SUPPLY.format(volts="60.1 V")).withheld
    boosted = '[part.R15]\nkind = "resistor"\nvalue = "1k"\nnets = ["FB", "HV"]\n[net.HV]\nvoltage = "61 V"\n'
    net = GOOD + SUPPLY.format(volts="6 V") + boosted
    assert load(net).withheld


def test_a_fixed_lithium_cell_refuses_power() -> None:
    cell = '[part.BT1]\nkind = "battery"\ncell = "lithium-ion"\nfixed = true\nnets = { plus = "FB", minus = "GND" }\n'
    refused = load(GOOD + SUPPLY.format(volts="3.7 V") + cell)
    assert any("BT1" in reason for reason in refused.power_refusals)


DATA = read_document(DEMO).data
WORDS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-5, 5000),
    st.floats(allow_nan=True),
    st.sampled_from(["", "5 V", "4k7", "-1 %", "R14", "GND", "open", "\u2126", "x" * 300, "1e400 ohm"]),
    st.lists(st.sampled_from(["GND", "FB"]), max_size=3),
    st.just({}),
    st.just({"min": "1 ohm"}),
)


def places(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    steps = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, below in steps:
        found += places(below, (*path, step))
    return found


PLACES = places(DATA)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PLACES), WORDS), min_size=1, max_size=3))
def test_no_mutation_of_a_spec_raises_anything_but_a_spec_error(changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    data = copy.deepcopy(DATA)
    for path, value in changes:
        table = data
        try:
            for step in path[:-1]:
                table = table[step]
            if value is None:
                del table[path[-1]]
            else:
                table[path[-1]] = value
        except (KeyError, IndexError, TypeError):
            continue
    try:
        load(dump(data))
    except SpecError as error:
        assert all(fault.message for fault in error.faults)  # noqa: PT017


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(
        [path for path in PLACES if len(path) == 3 and isinstance(DATA[path[0]], dict) and path[0] != "board"]
    ),
    st.from_regex(r"[a-z]{3,9}_x", fullmatch=True),
)
def test_no_unknown_key_is_silently_lost(path: tuple[Any, ...], key: str) -> None:
    data = copy.deepcopy(DATA)
    data[path[0]][path[1]][key] = "1"
    with pytest.raises(SpecError, match=key):
        load(dump(data))
