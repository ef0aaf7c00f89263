"""The JSON Schema accepts every shipped spec and rejects every bad one that one table alone shows to be bad."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from benchcheck.kinds.catalogue import KINDS
from benchcheck.spec.schema import json_schema

HERE = Path(__file__).parent
SCHEMA = json_schema(KINDS)
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
SHIPPED = sorted((HERE.parents[1] / "specs").glob("*.toml"))
#: what only the loader sees: TOML itself, names across tables, comparisons, and notations within a quantity.
LOADER_ONLY = {
    "broken_toml": "TOML syntax",
    "isolation_of_unknown_net": "nets that exist stand in other tables",
    "rail_on_unknown_net": "nets that exist stand in other tables",
    "net_nobody_touches": "nets that exist stand in other tables",
    "twice_in_other_case": "a name against those of other tables",
    "part_named_as_a_rail": "a name against those of other tables",
    "reserved_name": "a name in any case",
    "unknown_switch": "switches stand in other tables",
    "min_above_max": "two quantities compared",
    "start_current_above_limit": "two quantities compared",
    "load_listed_twice": "60 mA is 0.06 A",
    "wrong_tolerance": "notations of a tolerance",
    "negative_tolerance": "notations of a tolerance",
    "zero_capacitance": "a quantity of zero",
    "milli_for_mega": "which prefixes a quantity takes",
    "control_character_in_model": "which characters a text may hold",
}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_shipped_spec_is_accepted(path: Path) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(tomllib.loads(path.read_text("utf-8")))] == []


def test_there_are_shipped_specs_and_the_schema_is_one() -> None:
    assert SHIPPED
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA


@pytest.mark.parametrize(
    "path",
    [path for path in sorted((HERE / "bad").glob("*.toml")) if path.stem not in LOADER_ONLY],
    ids=lambda path: path.stem,
)
def test_every_bad_spec_that_shows_in_one_table_is_rejected(path: Path) -> None:
    assert not VALIDATOR.is_valid(tomllib.loads(path.read_text("utf-8")))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_has_its_keys_in_the_schema(kind: object) -> None:
    name = kind.name  # type: ignore[attr-defined]
    branches = SCHEMA["properties"]["part"]["additionalProperties"]["allOf"]
    (branch,) = (each["then"] for each in branches if each["if"]["properties"]["kind"]["const"] == name)
    assert {"kind", "nets", "neighbour", "fitted", "lot"} <= set(branch["properties"])
