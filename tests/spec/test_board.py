"""What a loaded board says of itself: nets, neighbours, voltages, remarks, and the order of its checks."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import attrs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.document import digest_of, parse_document
from benchcheck.errors import Fault, QuantityError, SpecError
from benchcheck.kinds.catalogue import KINDS
from benchcheck.kinds.check import Check
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from benchcheck.spec.potentials import potentials
from benchcheck.spec.schema import json_schema

DEMO = Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml"
TEXT = """\
benchcheck = 1
[board]
model = "Ellwick T-1"
hazards = []
[net.FB]
complete = true
max_probe_voltage = "1 V"
[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "6 V"
[part.R1]
kind = "resistor"
value = "1k"
nets = ["V9", "FB"]
[part.R2]
kind = "resistor"
value = "1k"
nets = { 2 = "GND", 1 = "FB" }
[part.C1]
kind = "electrolytic"
value = "10 uF"
rated_voltage = "6.3 V"
nets = { minus = "GND", plus = "V9" }
[part.C2]
kind = "electrolytic"
value = "10 uF"
nets = { plus = "VNEG", minus = "GND" }
[part.L1]
kind = "inductor"
nets = ["BATT", "V9"]
[part.R3]
kind = "resistor"
value = "1k"
nets = ["VNEG", "FBB"]
[rail.V9]
nets = { plus = "V9", minus = "GND" }
voltage = "9 V"
[rail.VNEG]
nets = { plus = "GND", minus = "VNEG" }
voltage = "5 V"
"""


@pytest.fixture(scope="module")
def board() -> Board:
    return load_board(parse_document(TEXT, "x.toml"))


def test_the_source_is_kept_with_its_digest(board: Board) -> None:
    assert board.source == TEXT
    assert board.digest == digest_of(TEXT)
    assert board.name == "x.toml"


def test_every_net_of_the_file_is_a_net_of_the_board(board: Board) -> None:
    assert set(board.nets) == {"FB", "BATT", "GND", "V9", "VNEG", "FBB"}
    assert [name for name in board.nets if board.complete(name)] == ["FB"]
    assert not board.complete("nowhere")
    assert board.nets["FB"].max_probe_voltage == 1.0


def test_pins_come_in_the_order_of_the_kind_however_they_were_written(board: Board) -> None:
    assert dict(board.nets_of("R2")) == {"1": "FB", "2": "GND"}
    assert list(board.nets_of("C1")) == ["plus", "minus"]
    assert board.nets_of("R99") == {}


def test_touching_names_every_pin_on_a_net_in_file_order(board: Board) -> None:
    assert board.touching("FB") == (("R1", "2"), ("R2", "1"))
    assert board.touching("nowhere") == ()


def test_ground_is_the_net_most_rails_and_supplies_stand_on(board: Board) -> None:
    assert board.ground() == "GND"


def test_voltages_follow_from_rails_and_supplies_to_either_side(board: Board) -> None:
    known = {name: board.voltage(name) for name in board.nets}
    assert known == {"GND": 0.0, "BATT": 6.0, "V9": 9.0, "VNEG": -5.0, "FB": None, "FBB": None}


def test_a_rail_on_a_rail_stands_on_both() -> None:
    assert potentials("GND", {}, [("TOP", "MID", 5.0), ("MID", "GND", 3.0)]) == {"GND": 0.0, "MID": 3.0, "TOP": 8.0}


def test_a_net_of_its_own_voltage_keeps_it() -> None:
    assert potentials("GND", {"A": 4.0}, [("A", "GND", 5.0)])["A"] == 4.0


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6), st.floats(-60, 60)), max_size=12))
def test_potentials_end_whatever_is_tied_to_what(poles: list[tuple[int, int, float]]) -> None:
    named = [(f"N{plus}", f"N{minus}", volts) for plus, minus, volts in poles]
    known = potentials("N0", {}, named)
    assert known["N0"] == 0.0
    assert set(known) <= {"N0", *(net for plus, minus, _ in named for net in (plus, minus))}


def test_what_is_legal_and_often_a_slip_is_a_note(board: Board) -> None:
    assert [(note.where, note.key, note.message) for note in board.notes] == [
        ("x.toml:22", "part.C1.rated_voltage", "is rated 6.3 V with 9 V across it; check the print on the part"),
        ("x.toml:27", "part.C2.nets", "its plus stands 5 V below its minus; is that the way round on the board?"),
        ("x.toml:34", "part.R3.nets[2]", 'nothing else is on net "FBB"; did you mean "FB"?'),
    ]


def test_checks_stand_in_file_order_and_are_found_by_id(board: Board) -> None:
    subjects = list(dict.fromkeys(check.subject for check in board.checks))
    assert subjects == ["BATT", "R1", "R2", "C1", "C2", "L1", "R3", "V9", "VNEG"]
    assert board.by_id == {check.id: check for check in board.checks}


def test_a_net_two_rails_name_exists_without_a_part() -> None:
    plain = TEXT.split("[part.R1]")[0].replace("[net.FB]", "[net.BATT]")
    rails = '[rail.A]\nnets = { plus = "VA", minus = "GND" }\nvoltage = "5 V"\n'
    loaded = load_board(parse_document(plain + rails, "x.toml"))
    assert "VA" in loaded.nets


def test_a_file_whose_parts_name_no_nets_is_a_plain_checklist() -> None:
    text = (
        'benchcheck = 1\n[board]\nmodel = "Ellwick T-1"\nhazards = []\n'
        '[part.R1]\nkind = "resistor"\nvalue = "1k"\n'
        '[rail.V5]\nnets = { plus = "V5", minus = "GND" }\nvoltage = "5 V"\n'
    )
    loaded = load_board(parse_document(text, "x.toml"))
    assert loaded.parts["R1"].pins == {}
    assert "R1.resistance" in loaded.by_id


def failing(part: Part, around: Surroundings) -> tuple[Check, ...]:
    raise ZeroDivisionError("no turns")


def test_a_strangers_kind_that_raises_is_a_fault_of_its_part() -> None:
    kinds = (*KINDS, Kind("coil", Part, ("1", "2"), failing, "", two_lead=True))
    text = TEXT + '[part.L9]\nkind = "coil"\nnets = ["V9", "FB"]\n'
    with pytest.raises(SpecError, match=r"x\.toml:41: part\.L9: its kind makes no checks .* no turns"):
        load_board(parse_document(text, "x.toml"), kinds)


def refusing(part: Part, around: Surroundings) -> tuple[Check, ...]:
    raise QuantityError(Fault("", "turns", "a coil of no turns is none; count them"))


def test_what_a_kind_refuses_is_a_fault_of_the_key_it_names() -> None:
    kinds = (*KINDS, Kind("coil", Part, ("1", "2"), refusing, "", two_lead=True))
    text = TEXT + '[part.L9]\nkind = "coil"\nnets = ["V9", "FB"]\n'
    with pytest.raises(SpecError, match=r"x\.toml:41: part\.L9\.turns: a coil of no turns is none; count them"):
        load_board(parse_document(text, "x.toml"), kinds)


@attrs.frozen(kw_only=True)
class Odd(Part):
    """A kind whose key no TOML value can fill."""

    turns: complex = 1j


def test_a_kind_with_a_key_no_spec_can_hold_is_named() -> None:
    kinds = (*KINDS, Kind("coil", Odd, ("1", "2"), failing, "", two_lead=True))
    text = TEXT + '[part.L9]\nkind = "coil"\nturns = 3\nnets = ["V9", "FB"]\n'
    with pytest.raises(SpecError, match=r"part\.L9.*: .*complex"):
        load_board(parse_document(text, "x.toml"), kinds)
    assert "turns" in str(json_schema(kinds))


def test_the_demo_is_whole() -> None:
    demo = load_board(DEMO)
    checked = [part for part in demo.parts.values() if not part.neighbour]
    assert len(checked) >= 25
    assert len(demo.parts) - len(checked) >= 8
    assert len(demo.rails) == 3
    assert len(demo.isolations) >= 2
    assert demo.power_refusals == ()
    assert demo.notes == ()
    assert all(len(demo.touching(net)) >= 2 or net in ("BATT",) for net in demo.nets)


def test_loading_a_spec_loads_no_heavy_library() -> None:
    heavy = "{'numpy', 'scipy', 'pint', 'pyvisa', 'pytest', 'sqlalchemy', 'uncertainties', 'tomlkit', 'rich'}"
    code = (
        f"import sys, benchcheck.spec.load as room; room.load_board(sys.argv[1]); print({heavy} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(DEMO)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
