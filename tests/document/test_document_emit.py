"""TOML out: one-line values that read back exactly, whole documents, and edits that keep what people wrote."""

from __future__ import annotations

import math
import tomllib
from datetime import UTC, date, datetime, time, timedelta, timezone
from enum import IntEnum, StrEnum
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.document import amend, dump, toml_value
from benchcheck.errors import DocumentError


class Word(StrEnum):
    PASS = "conditional pass"


class Number(IntEnum):
    TWO = 2


def read_back(text: str) -> Any:
    return tomllib.loads(f"x = {text}\n")["x"]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("4k7", '"4k7"'),
        ('say "OL" \\ µ', '"say \\"OL\\" \\\\ µ"'),
        ("two\nlines\tand \x00 \x7f \x85 \u2028", '"two\\nlines\\tand \\u0000 \\u007f \\u0085 \\u2028"'),
        (True, "true"),
        (False, "false"),
        (7, "7"),
        (0.1, "0.1"),
        (1e-12, "1e-12"),
        (1e22, "1e+22"),
        (3.0, "3.0"),
        (-0.0, "-0.0"),
        (math.inf, "inf"),
        (-math.inf, "-inf"),
        (np.float64(0.1), "0.1"),
        (Word.PASS, '"conditional pass"'),
        (Number.TWO, "2"),
        (datetime(2026, 1, 31, 10, 15, tzinfo=UTC), "2026-01-31T10:15:00+00:00"),
        (datetime(2026, 1, 31, 10, 15), "2026-01-31T10:15:00"),
        (date(2027, 1, 31), "2027-01-31"),
        (time(10, 15, 0, 500_000), "10:15:00.500000"),
        ((), "[]"),
        ([1, (2.5, "a")], '[1, [2.5, "a"]]'),
        ({}, "{}"),
        ({"none": None}, "{}"),
        ({"a": 1, "b c": {"": None, "é": 2}}, '{ a = 1, "b c" = { "é" = 2 } }'),
    ],
    ids=str,
)
def test_a_value_is_written_on_one_line(value: object, text: str) -> None:
    assert toml_value(value) == text
    assert len(toml_value(value).splitlines()) == 1


@pytest.mark.parametrize(
    "value",
    [
        None,
        [1, None],
        pytest.param(object(), id="an object"),
        b"bytes",
        Fraction(1, 3),
        {1: "a"},
        {"a": {2, 3}},
        np.int64(3),
        time(10, tzinfo=UTC),
        datetime(2026, 1, 1, tzinfo=timezone(timedelta(seconds=90))),
    ],
    ids=repr,
)
def test_what_toml_has_no_word_for_is_a_mistake_of_ours(value: object) -> None:
    with pytest.raises(TypeError, match="TOML"):
        toml_value(value)


def test_a_text_no_utf8_can_hold_is_refused() -> None:
    with pytest.raises(DocumentError, match="is no character of Unicode; remove it"):
        toml_value({"operator": "a\udcff"})


texts = st.text(st.characters(codec="utf-8"))
values = st.recursive(
    st.one_of(
        texts,
        st.integers(-(2**63), 2**63 - 1),
        st.booleans(),
        st.floats(allow_nan=False),
        st.datetimes(timezones=st.none() | st.just(UTC)).map(lambda moment: moment.replace(fold=0)),
        st.dates(),
        st.times().map(lambda moment: moment.replace(fold=0)),  # TOML knows no fold
    ),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(texts, inner, max_size=4),
    max_leaves=20,
)


@given(values)
def test_a_value_reads_back_exactly(value: Any) -> None:
    text = toml_value(value)
    assert len(text.splitlines()) <= 1 or value == ""
    read = read_back(text)
    assert read == value
    assert repr(read) == repr(value)  # -0.0 and True are no other numbers


@given(st.dictionaries(texts, values, max_size=5))
def test_a_document_reads_back(data: dict[str, Any]) -> None:
    assert tomllib.loads(dump(data)) == data


def test_a_document_leaves_none_out_and_takes_tuples() -> None:
    assert tomllib.loads(dump({"a": None, "b": ({"c": None, "d": np.float64(0.5)},)})) == {"b": [{"d": 0.5}]}


SPEC = """\
# the receiver
benchcheck = 1   # format
[part.R14] # feedback
value = "4k7"    # from the diagram
tolerance = "1 %"

[[isolation]]
nets = ["GDR", "LX"]
min = "10 kohm"
"""


def test_an_edit_keeps_comments_and_everything_else() -> None:
    text = amend(
        SPEC, {("part", "R14", "value"): "4k75", ("part", "R14", "resistance"): {"min": "4.6k", "max": "4.8k"}}
    )
    assert text == SPEC.replace('value = "4k7" ', 'value = "4k75" ').replace(
        'tolerance = "1 %"\n', 'tolerance = "1 %"\nresistance = { min = "4.6k", max = "4.8k" }\n'
    )


def test_an_edit_reaches_into_arrays_of_tables_makes_tables_and_removes_keys() -> None:
    text = amend(
        SPEC, {("isolation", 0, "min"): "22 kohm", ("part", "R15", "value"): "1k", ("part", "R14", "tolerance"): None}
    )
    assert tomllib.loads(text) == {
        "benchcheck": 1,
        "part": {"R14": {"value": "4k7"}, "R15": {"value": "1k"}},
        "isolation": [{"nets": ["GDR", "LX"], "min": "22 kohm"}],
    }
    assert "# from the diagram" in text


@pytest.mark.parametrize(
    ("path", "said"),
    [
        (("benchcheck", "deeper"), "benchcheck holds no table"),
        (("isolation", 5, "min"), "isolation has no place 5"),
        (("isolation", "min"), "isolation has no place min"),
    ],
)
def test_an_edit_that_leads_nowhere_is_refused(path: tuple[str | int, ...], said: str) -> None:
    with pytest.raises(DocumentError, match=said):
        amend(SPEC, {path: 1})


def test_a_text_the_editing_library_cannot_follow_is_refused_and_not_spoilt(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(DocumentError, match=r"x\.toml:1:5: broken TOML"):
        amend("a = ", {("a",): 1}, "x.toml")
    monkeypatch.setattr("tomlkit.dumps", lambda _: "a = 2")
    with pytest.raises(DocumentError, match=r"x\.toml cannot be edited in place; write its tables out plainly"):
        amend("a = 0", {("a",): 1}, "x.toml")
    monkeypatch.setattr("tomlkit.dumps", lambda _: "a = ")
    with pytest.raises(DocumentError, match=r"x\.toml cannot be edited in place \(Invalid value"):
        amend("a = 0", {("a",): 1}, "x.toml")


def test_an_empty_edit_changes_nothing() -> None:
    assert amend(SPEC, {}) == SPEC
    assert amend(SPEC, {("isolation", 0): None}) != SPEC


keys = st.text(alphabet="abc.# é", max_size=4)


@given(
    st.dictionaries(keys, st.dictionaries(keys, st.integers() | texts, max_size=3), max_size=3),
    st.dictionaries(st.tuples(keys, keys), st.integers(-5, 5) | st.none(), max_size=3),
)
def test_an_edit_changes_what_it_names_and_nothing_else(
    data: dict[str, dict[str, Any]], changes: dict[tuple[str, str], int | None]
) -> None:
    expected = {name: dict(table) for name, table in data.items()}
    for (name, key), value in changes.items():
        if value is None:
            expected.get(name, {}).pop(key, None)
        else:
            expected.setdefault(name, {})[key] = value
    assert tomllib.loads(amend(dump(data), {(*path,): value for path, value in changes.items()})) == expected
