"""The JSON Schema accepts every spec the loader accepts, and rejects every bad one that one table alone shows."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import attrs
import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.document import dump, parse_document
from benchcheck.errors import QuantityError, SpecError
from benchcheck.kinds.catalogue import KINDS
from benchcheck.kinds.check import Check
from benchcheck.kinds.fields import Ohms, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.quantity import parse_tolerance
from benchcheck.quantity.units import UNITS
from benchcheck.spec.entries import QUANTITIES
from benchcheck.spec.load import load_board
from benchcheck.spec.patterns import quantity_pattern, tolerance_pattern
from benchcheck.spec.schema import json_schema
from benchcheck.spec.words import Wrong, quantity
from tests.spec.mutations import DATA, mutated, mutations

HERE = Path(__file__).parent
SCHEMA = json_schema(KINDS)
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
SHIPPED = sorted((HERE.parents[1] / "specs").glob("*.toml"))
BROKEN = "broken TOML, which no schema gets to see"
ELSEWHERE = "a name against other tables"
COMPARED = "two quantities compared"
#: what only the loader sees, and why.
LOADER_ONLY = {
    "ambient_out_of_this_world": "how warm a room may be",
    "below_absolute_zero": "how cold anything may be",
    "broken_toml": BROKEN,
    "current_limit_below_idle": COMPARED,
    "every_pin_on_one_net": "two names compared",
    "header_with_a_comma": BROKEN,
    "header_without_point": BROKEN,
    "isolation_of_unknown_net": ELSEWHERE,
    "isolation_pair_twice": ELSEWHERE,
    "largest_drop_of_nothing": "what a voltage of either sign means to one kind of part",
    "list_without_commas": BROKEN,
    "load_listed_twice": "60 mA is 0.06 A",
    "min_above_max": COMPARED,
    "nan_ratio": "a number that is none: JSON has no such thing",
    "net_in_another_case": ELSEWHERE,
    "net_nobody_touches": ELSEWHERE,
    "part_named_as_a_rail": ELSEWHERE,
    "part_opened_twice": BROKEN,
    "rail_from_a_net_to_itself": "two names compared",
    "rail_of_an_unknown_supply": ELSEWHERE,
    "rail_on_unknown_net": ELSEWHERE,
    "rail_says_another_voltage_than_its_net": COMPARED,
    "resistor_as_switch": ELSEWHERE,
    "same_current_twice": "200 mA is 0.2 A",
    "start_current_above_limit": COMPARED,
    "twice_in_other_case": ELSEWHERE,
    "two_supplies_and_a_rail_of_neither": ELSEWHERE,
    "typographic_quotes": BROKEN,
    "unknown_switch": ELSEWHERE,
    "value_without_quotes": BROKEN,
    "version_as_float": "1.0 is an integer to JSON Schema",
    "zero_rail": "a voltage of either sign that is not zero",
}
CASES = sorted((HERE / "bad").glob("*.toml"))


def parsed(path: Path) -> Any:
    return tomllib.loads(path.read_text("utf-8"))


def test_the_schema_is_one_and_is_plain_json() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_shipped_spec_is_accepted(path: Path) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(parsed(path))] == []


@pytest.mark.parametrize("path", [p for p in CASES if p.stem not in LOADER_ONLY], ids=lambda path: path.stem)
def test_every_bad_spec_that_shows_in_one_table_is_rejected(path: Path) -> None:
    assert not VALIDATOR.is_valid(parsed(path))


@pytest.mark.parametrize("name", sorted(LOADER_ONLY))
def test_what_only_the_loader_sees_is_kept_no_longer_than_true(name: str) -> None:
    path = HERE / "bad" / f"{name}.toml"
    if LOADER_ONLY[name] == BROKEN:
        with pytest.raises(tomllib.TOMLDecodeError):
            parsed(path)
    else:
        assert VALIDATOR.is_valid(parsed(path))


@settings(max_examples=150, deadline=None)
@given(mutations())
def test_what_the_loader_accepts_the_schema_accepts(changes: Any) -> None:
    data = mutated(changes)
    try:
        load_board(parse_document(dump(data), "x.toml"))
    except SpecError:
        return
    assert VALIDATOR.is_valid(data)


UNIT = st.sampled_from(sorted(QUANTITIES.values()))
NUMBER = st.from_regex(r"[+-]? ?([0-9]{1,4}([.,][0-9]{0,3})?|[.,][0-9]{1,2})(e[+-]?[0-9])?", fullmatch=True)


@st.composite
def typed(draw: st.DrawFn) -> tuple[str, str]:
    """Return (quantity unit, text as somebody might type it), mostly sound."""
    unit = draw(UNIT)
    suffixes = [*UNITS[unit].suffixes, "", "V", "x"]
    suffix = draw(st.sampled_from(suffixes))
    suffix = draw(st.sampled_from([suffix, suffix.upper(), suffix[:1] + suffix[1:].capitalize()]))
    gap = draw(st.sampled_from(["", " ", "  "]))
    letter_at_point = f"{draw(st.integers(0, 99))}{suffix[:1]}{draw(st.integers(0, 99))}"
    return unit, draw(
        st.sampled_from([f"{draw(NUMBER)}{gap}{suffix}", letter_at_point, f" {letter_at_point}{suffix}"])
    )


@settings(max_examples=600, deadline=None)
@given(typed())
def test_the_pattern_of_a_quantity_lets_pass_what_the_loader_reads(case: tuple[str, str]) -> None:
    unit, text = case
    try:
        quantity(text, unit)
    except Wrong:
        return
    assert re.search(quantity_pattern(unit), text)


@pytest.mark.parametrize("unit", sorted({*QUANTITIES.values()} - {"1", "1/K", "degC"}))
@pytest.mark.parametrize(
    "other", ["5 V", "4.7 kohm", "60 mA", "220 uF", "22 uH", "100 kHz", "20 ms", "23 degC", "5 %"]
)
def test_the_pattern_of_a_quantity_rejects_every_other_quantity(unit: str, other: str) -> None:
    same = unit == {"V": "V", "kohm": "ohm", "mA": "A", "uF": "F", "uH": "H", "kHz": "Hz", "ms": "s"}.get(
        other.split()[1]
    )
    assert bool(re.search(quantity_pattern(unit), other)) == same


@pytest.mark.parametrize("text", ["0", "0 uF", "0.00 nF", "-1 uF", "0e3 F", "nan F", "inf", "", " "])
def test_the_pattern_above_zero_rejects_zero_negatives_and_what_is_no_number(text: str) -> None:
    assert not re.search(quantity_pattern("F", positive=True), text)


@settings(max_examples=400, deadline=None)
@given(
    st.sampled_from(["ohm", "F", "H", "V"]),
    st.from_regex(
        r"(±|\+/-|[+-])? ?[0-9]{1,2}(\.5)?( ?%)?( ?/ ?| )?([+-][0-9]{1,2} ?(%|ppm|V|pF|ohm))?", fullmatch=True
    )
    | st.from_regex(r"[A-Z]", fullmatch=True),
)
def test_the_pattern_of_a_tolerance_lets_pass_what_the_parser_reads(unit: str, text: str) -> None:
    try:
        parse_tolerance(text, unit)
    except QuantityError:
        return
    assert re.search(tolerance_pattern(unit), text)


@pytest.mark.parametrize("text", ["5 volts", "-5 %", "5", "0.2", "X", "j", "5 %%", "", "1 % 2 %"])
def test_the_pattern_of_a_tolerance_rejects_what_is_none(text: str) -> None:
    assert not re.search(tolerance_pattern("ohm"), text)


def branch(name: str) -> Any:
    branches = SCHEMA["properties"]["part"]["additionalProperties"]["allOf"]
    return next(each["then"] for each in branches if each["if"]["properties"]["kind"]["const"] == name)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_key_of_every_kind_is_in_the_schema_with_a_line_of_help(kind: Kind) -> None:
    keys = branch(kind.name)["properties"]
    assert {"kind", "nets", "neighbour", "fitted", "lot"} <= keys.keys()
    assert [key for key, value in keys.items() if not value.get("description") and key != "kind"] == []


def test_every_key_of_every_other_table_has_a_line_of_help() -> None:
    sections = SCHEMA["properties"]
    tables = [sections["board"], sections["isolation"]["items"], SCHEMA["$defs"]["fitted"]]
    tables += [sections[name]["additionalProperties"] for name in ("net", "supply", "rail")]
    assert [key for table in tables for key, value in table["properties"].items() if not value["description"]] == []


@attrs.frozen(kw_only=True)
class Thermistor(Part):
    """A kind a plugin might add."""

    value: Ohms
    resistance: Window[Ohms] | None = None


def no_checks(part: Thermistor, around: Surroundings) -> tuple[Check, ...]:
    return ()


def test_a_kind_that_a_plugin_adds_is_in_the_schema_and_in_the_loader() -> None:
    kinds = (*KINDS, Kind("thermistor", Thermistor, ("1", "2"), no_checks, "ohms that fall", two_lead=True))
    text = (
        'benchcheck = 1\n[board]\nmodel = "Ellwick T-1"\nhazards = []\n'
        '[part.RT1]\nkind = "thermistor"\nvalue = "10k"\nnets = ["A", "B"]\n'
    )
    document = parse_document(text, "x.toml")
    validator = jsonschema.Draft202012Validator(json_schema(kinds))
    assert validator.is_valid(document.data)
    assert not VALIDATOR.is_valid(document.data)
    assert not validator.is_valid(parse_document(text.replace("10k", "5 V"), "x.toml").data)
    assert load_board(document, kinds).parts["RT1"].kind == "thermistor"
    with pytest.raises(SpecError, match='"thermistor" is not a kind'):
        load_board(document)


def test_the_demo_is_the_spec_the_mutations_start_from() -> None:
    assert VALIDATOR.is_valid(DATA)
