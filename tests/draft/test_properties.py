"""Whatever a parts list holds: a spec that loads, and every reference in it as a part or in a comment."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchcheck.document import parse_document
from benchcheck.document.files import printable
from benchcheck.draft import Draft, draft_spec
from benchcheck.draft.partslist import COLUMNS
from benchcheck.errors import DocumentError
from benchcheck.spec.load import load_board

SETTINGS = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
LETTERS = ("R", "C", "L", "D", "Q", "U", "F", "K", "X", "BT", "LED", "ZD", "EC", "J", "TP", "ZZ", "r", "c", "T", "JP")
HOSTILE = (
    "=1+1", "@SUM(A1)", "+R1", "-1", 'R"1', "R'1", "../../etc/passwd", "C:\\x", "R\x071", "R\x0b2", "R\u202e3",
    "R\u20284",    "meter", "Isolation", "AMBIENT", "R1\nR2", "[part.R1]", "# R1", "R" * 60, "\u03a9", "R1]", "R.1",
    "a.b.c.d.e", "r1", "R1",
)  # fmt: skip
VALUES = (
    "4k7", "104K", "10 MFD", "220uF/16V", "39D", "103", "1H473J", "0", "-5", "1e309", "nan", "22uH", "101", "1N4148",
    "BZX84C5V1", "BC547", "2SK30", "LM7805", "16MHz", "500mA", "CR2032", "red", "NPN", "N-channel", "", "4,7k",
    "1M\u03a9", "10\u00b5", "100F", "0V", "5V", "=cmd|' /C calc'!A0", "\"\"\"", "'''", "\\u0000", "1k 0%",
    "1k 200%", "zener 1e400V",
)  # fmt: skip
references = st.one_of(
    st.builds("{}{}".format, st.sampled_from(LETTERS), st.integers(0, 30)),
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\r"), min_size=1, max_size=12),
)
cells = st.one_of(
    st.sampled_from(VALUES), st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\r"), max_size=12)
)
separators = st.sampled_from(",;\t|")


def table(heads: list[str], rows: list[list[str]], separator: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows([heads, *rows])
    return out.getvalue()


def loaded(draft: Draft) -> set[str]:
    """Return the parts of a draft; it must load, whatever went in."""
    return set(load_board(parse_document(draft.text, "draft.toml")).parts)


def comments(draft: Draft) -> str:
    return "\n".join(line for line in draft.text.split("\n") if line.startswith("#"))


@given(
    rows=st.lists(st.tuples(references, cells, cells), min_size=1, max_size=8),
    separator=separators,
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
)
@SETTINGS
def test_every_reference_is_a_part_or_named_in_a_comment(
    tmp_path: Path, rows: list[tuple[str, str, str]], separator: str, encoding: str
) -> None:
    path = tmp_path / "parts.csv"
    path.write_bytes(
        table(["Reference", "Value", "Description"], [list(row) for row in rows], separator).encode(encoding)
    )
    draft = draft_spec(path)
    parts, said = loaded(draft), comments(draft)
    for reference, *_ in rows:
        name = reference.strip()
        assert name in parts or not name or all(printable(word) in said for word in name.split()), reference


@given(
    first=st.integers(0, 300),
    count=st.integers(1, 40),
    dash=st.sampled_from(["-", " - ", "..", "\u2013", " to ", ":"]),
    last_letters=st.booleans(),
    alone=st.lists(st.integers(400, 999), unique=True, max_size=5),
    comma=st.sampled_from([",", ", ", ";", " ", "\n"]),
)
@SETTINGS
def test_ranges_and_lists_name_each_part_once(
    tmp_path: Path, first: int, count: int, dash: str, last_letters: bool, alone: list[int], comma: str
) -> None:
    span = f"R{first}{dash}{'R' if last_letters else ''}{first + count}"
    cell = comma.join([span, *(f"R{number}" for number in alone)])
    path = tmp_path / "parts.csv"
    path.write_text(table(["Ref", "Value"], [[cell, "4k7"]], ","), "utf-8")
    expected = {f"R{number}" for number in (*range(first, first + count + 1), *alone)}
    assert loaded(draft_spec(path)) == expected


@given(
    parts=st.lists(st.builds("{}{}".format, st.sampled_from(LETTERS), st.integers(0, 9)), min_size=1, max_size=6),
    value=cells,
    lines=st.lists(
        st.tuples(
            st.one_of(st.builds("{}{}".format, st.sampled_from(LETTERS), st.integers(0, 9)), references),
            st.lists(
                st.sampled_from(["0", "GND", "gnd", "VCC", "vcc", "Net-(R1-Pad1)", "a b", "n,1", "\u03a9"]),
                max_size=6,
            ),
        ),
        max_size=8,
    ),
    spice=st.booleans(),
)
@SETTINGS
def test_no_netlist_spoils_the_draft(
    tmp_path: Path, parts: list[str], value: str, lines: list[tuple[str, list[str]]], spice: bool
) -> None:
    listed, nets = tmp_path / "parts.csv", tmp_path / "board.net"
    listed.write_text(table(["Designator", "Comment"], [[part, value] for part in parts], ","), "utf-8")
    if spice:
        text = "* board\n" + "".join(f"{part} {' '.join(nodes)} model\n" for part, nodes in lines) + ".end\n"
    else:
        rows = [[node, f"{part}.{place}"] for part, nodes in lines for place, node in enumerate(nodes, 1)]
        text = table(["Net", "Pins"], rows, ",")
    nets.write_text(text, "utf-8")
    draft = draft_spec(listed, nets)
    found, said = loaded(draft), comments(draft)
    assert all(part in found or part in said for part in parts)
    for reference, nodes in lines:
        if nodes or spice:
            words = [word for word in re.split(r"[\s,;$]+", reference) if word]  # what a netlist takes apart itself
            words = words[:1] if spice else words  # behind ; and $ a card is a remark
            comment = reference.strip()[:1] in ("*", "+", ";", "$")
            told = f"{' '.join(found)} {said}".casefold()  # nets name parts in any case
            assert comment or all(printable(word).casefold() in told for word in words), reference


@given(data=st.binary(max_size=300))
@SETTINGS
def test_any_bytes_are_read_or_refused_in_words(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "parts.csv"
    path.write_bytes(b"Reference,Value\nR1,4k7\n" + data)
    try:
        text = draft_spec(path).text
    except DocumentError as error:
        text = f"{error} refuses R1" if str(path) in str(error) else ""
    assert "R1" in text


@given(heads=st.permutations([name for names in COLUMNS.values() for name in names[:1]]), upper=st.booleans())
@SETTINGS
def test_columns_are_found_in_any_order_and_case(tmp_path: Path, heads: list[str], upper: bool) -> None:
    row = {"reference": "R1", "value": "4k7", "tolerance": "1 %", "quantity": "1"}
    path = tmp_path / "parts.csv"
    shown = [head.upper() if upper else head.title() for head in heads]
    path.write_text(table(shown, [[row.get(head, "") for head in heads]], ","), "utf-8")
    board = load_board(parse_document(draft_spec(path).text, "draft.toml"))
    assert [(part.designator, getattr(part, "value", None)) for part in board.parts.values()] == [("R1", 4700.0)]
