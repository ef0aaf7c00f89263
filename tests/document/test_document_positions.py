"""The line of every key: hand-made tricky files, and generated documents whose lines are found by plain search."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.document import parse_document
from benchcheck.document.positions import KeyPath, key_lines

SPEC = '''\
benchcheck = 1 # format
[board]
model = """
[not.a.table]
key = "not a key"
"""  # comment with ] and = and "

hazards = [
  "charged-capacitor", # one

  [1, 2,
   3],
  { deep = "x", deeper = { deepest = 1 } },
]
[part.R14]
limits = { max = "5 V", currents = ["1 A",
  "2 A"], note = \'\'\'a
b\'\'\' }
after.dotted . "quoted.key" = 1979-05-27T07:32:00.5-08:00
empty = []
none = {}
[[isolation]]
nets = ["A", "B"]
[isolation.sub]
min = "10k"
[[isolation.pins]]
name = 1
[[isolation.pins]]
name = 2
[[isolation]]
nets = ["C"]
[[isolation.pins]]
name = 3
  [ part . "R\\u0031\\"5" . 'x.y' ]
  'literal key' = 1.5e+3
[later]
1.2 = "a float-like dotted key"
quotes = """a""""" # five quotes end it
'''

LINES: list[tuple[KeyPath, int]] = [
    (("benchcheck",), 1),
    (("board",), 2),
    (("board", "model"), 3),
    (("board", "hazards"), 8),
    (("board", "hazards", 0), 9),
    (("board", "hazards", 1), 11),
    (("board", "hazards", 1, 1), 11),
    (("board", "hazards", 1, 2), 12),
    (("board", "hazards", 2), 13),
    (("board", "hazards", 2, "deeper", "deepest"), 13),
    (("part",), 15),
    (("part", "R14"), 15),
    (("part", "R14", "limits", "max"), 16),
    (("part", "R14", "limits", "currents", 0), 16),
    (("part", "R14", "limits", "currents", 1), 17),
    (("part", "R14", "limits", "note"), 17),
    (("part", "R14", "after"), 19),
    (("part", "R14", "after", "dotted", "quoted.key"), 19),
    (("part", "R14", "empty"), 20),
    (("part", "R14", "none"), 21),
    (("isolation",), 22),
    (("isolation", 0), 22),
    (("isolation", 0, "nets", 1), 23),
    (("isolation", 0, "sub"), 24),
    (("isolation", 0, "sub", "min"), 25),
    (("isolation", 0, "pins"), 26),
    (("isolation", 0, "pins", 1, "name"), 29),
    (("isolation", 1), 30),
    (("isolation", 1, "nets", 0), 31),
    (("isolation", 1, "pins", 0, "name"), 33),
    (("part", 'R1"5'), 34),
    (("part", 'R1"5', "x.y", "literal key"), 35),
    (("later", "1", "2"), 37),
    (("later", "quotes"), 38),
]


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize(("path", "line"), LINES, ids=str)
def test_a_key_stands_where_an_editor_shows_it(path: KeyPath, line: int, line_end: str) -> None:
    assert parse_document(SPEC.replace("\n", line_end), "x.toml").line(*path) == line


def paths_of(value: Any, path: KeyPath = ()) -> list[KeyPath]:
    """Every key path of parsed data, by walking it: knows nothing of the text."""
    if isinstance(value, dict):
        pairs: list[tuple[str | int, Any]] = list(value.items())
    elif isinstance(value, list):
        pairs = list(enumerate(value))
    else:
        return []
    return [found for key, child in pairs for found in ((*path, key), *paths_of(child, (*path, key)))]


def test_every_key_path_of_the_data_has_a_line_and_no_other_has() -> None:
    assert set(key_lines(SPEC)) == set(paths_of(tomllib.loads(SPEC)))


def test_a_key_that_is_not_there_stands_at_its_nearest_ancestor() -> None:
    document = parse_document(SPEC, "specs/x.toml")
    assert document.where("part", "R14", "limits", "min") == "specs/x.toml:16"
    assert document.where("part", "R99", "value") == "specs/x.toml:15"
    assert document.where("isolation", 7) == "specs/x.toml:22"
    assert document.where("nowhere", "at", "all") == "specs/x.toml"
    assert document.line("nowhere") is None
    assert document.where() == "specs/x.toml"


def test_an_explicit_table_wins_over_its_first_mention() -> None:
    lines = key_lines("[a.b]\nx = 1\n[a]\ny = 2\n")
    assert lines[("a",)] == 3
    assert lines[("a", "b")] == 1


def test_strings_hide_brackets_quotes_and_hashes() -> None:
    text = 'a = \'#[{=\'\nb = "\\"]#"\nc = \'\'\'\n\'\'[x]\n\'\'\'\'\'\nd = """\\\n  ""x\\"""""\ne = 1\n'
    assert {path[0]: line for path, line in key_lines(text).items()} == {"a": 1, "b": 2, "c": 3, "d": 6, "e": 8}
    assert set(key_lines(text)) == set(paths_of(tomllib.loads(text)))


def test_a_byte_order_mark_moves_nothing() -> None:
    assert parse_document("\ufeffa = 1\nb = 2\n", "x.toml").line("b") == 2


# Generated documents. Keys and texts carry marks, k12§ and e12§, that occur once; where a mark stands is found by
# searching the lines, which owes nothing to the scanner.
awkward = st.text(alphabet="ab .\"'#[]{}=,\\\n\t\u00e9", max_size=8)
scalars = st.one_of(
    awkward,
    st.integers(-(2**63), 2**63 - 1),
    st.booleans(),
    st.floats(allow_nan=False),
    st.datetimes(),
    st.dates(),
    st.times(),
)


def marked(value: Any, counter: list[int]) -> Any:
    """Return the value with every key and every text in an array given a mark of its own."""
    if isinstance(value, dict):
        return {f"k{next_number(counter)}§{key}": marked(item, counter) for key, item in value.items()}
    if isinstance(value, list):
        return [
            f"e{next_number(counter)}§{item}" if isinstance(item, str) else marked(item, counter) for item in value
        ]
    return value


def next_number(counter: list[int]) -> int:
    counter[0] += 1
    return counter[0]


documents = st.dictionaries(
    awkward,
    st.recursive(
        scalars,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(awkward, inner, max_size=3),
        max_leaves=12,
    ),
    max_size=4,
)


@given(documents, st.booleans())
def test_every_key_of_a_generated_document_has_its_line(data: dict[str, Any], multiline: bool) -> None:
    data = marked(data, [0])
    text = tomli_w.dumps(data, multiline_strings=multiline)
    lines, found = text.replace("\r\n", "\n").split("\n"), key_lines(text)
    assert set(found) == set(paths_of(tomllib.loads(text)))
    for path, line in found.items():
        last = path[-1]
        if isinstance(last, str):
            mark = last.partition("§")[0] + "§"
            first = next(number for number, words in enumerate(lines, 1) if mark in words)
            assert line >= first
            assert mark in lines[line - 1]
            is_leaf = not any(other[: len(path)] == path for other in found if other != path)
            if is_leaf:
                assert line == first
        else:
            element: Any = tomllib.loads(text)
            for key in path:
                element = element[key]
            if isinstance(element, str):
                mark = element.partition("§")[0] + "§"
                assert any(mark in words for words in lines[line - 1 : line + 1])


@given(documents)
def test_inner_lines_never_stand_above_the_table_they_are_in(data: dict[str, Any]) -> None:
    found = key_lines(tomli_w.dumps(marked(data, [0])))
    for path, line in found.items():
        assert all(line >= found[path[:depth]] for depth in range(1, len(path)))
