"""TOML in: what is kept of a file, and how a broken one is told, in whole sentences."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.document import Document, digest_of, parse_document, read_document
from benchcheck.errors import DocumentError, SpecError


def test_a_document_keeps_the_bytes_as_they_were(tmp_path: Path) -> None:
    data = b"\xef\xbb\xbfa = 1\r\n# \xc3\xa9\r\n"
    (tmp_path / "x.toml").write_bytes(data)
    document = read_document(tmp_path / "x.toml", name="specs/x.toml")
    assert document.name == "specs/x.toml"
    assert document.data == {"a": 1}
    assert document.text.encode() == data
    assert document.digest == hashlib.sha256(data).hexdigest() == digest_of(document.text)


def test_the_name_is_the_path_unless_another_is_given(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text("a = 1")
    assert read_document(path).where("a") == f"{path}:1"


def test_the_caller_names_the_class_of_the_error(tmp_path: Path) -> None:
    with pytest.raises(SpecError):
        read_document(tmp_path / "none.toml", error=SpecError)
    (tmp_path / "x.toml").write_text("a =")
    with pytest.raises(SpecError):
        read_document(tmp_path / "x.toml", error=SpecError)


COMMAS = "commas between them"
#: text, place, and what is said behind "broken TOML: ".
BROKEN = [
    ("a = ", "1:5", '`a =` has no value TOML knows here; texts take quotes: key = "4k7"'),
    ("a = 4k7", "1:6", '`a = 4k7` goes on after a value is complete; texts take quotes: key = "5 V"'),
    ("a = tru", "1:5", '`a = tru` has no value TOML knows here; texts take quotes: key = "4k7"'),
    ("a = 1\na = 2\n", "2:6", "`a = 2` gives this key a second time; keep one of them"),
    ("a = {b = 1, b = 2}", "1:18", "`a = {b = 1, b = 2}` gives a key twice between braces; keep one of them"),
    ("[p]\nv = 1\n[p]\n", "3:3", "`[p]` opens this table a second time; put its keys together (first on line 1)"),
    ("[a]\n[a.b]\n[ a ]\n", "3:5", "`[ a ]` opens this table a second time; put its keys together"),
    ("x = {a = 1}\n[x.b]", "2:5", "`[x.b]` opens this table a second time; put its keys together"),
    ("[part\n", "1:6", "`[part` opens a table with a bracket that is not closed; write [table] on one line"),
    ('a = "abc\n', "1:9", '`a = "abc` opens a quote that is not closed on its line; add the closing quote'),
    ('a = """abc\n', "1:11", '`a = """abc` opens a quote that is not closed; add the closing quote'),
    ("a = [1\nb = 3\n", "2:1", f"`b = 3` opens a list that is not closed; put values between [ and ], {COMMAS}"),
    ("a = {b=1\n}", "1:9", f"`a = {{b=1` opens a brace that is not closed; put pairs between {{ and }}, {COMMAS}"),
    ("= 3", "1:1", "`= 3` is neither key = value nor a [table]; write one of them"),
    ("word", "1:5", "`word` is a key with no value; write key = value"),
    ('a = "\\q"', "1:8", '`a = "\\q"` has a backslash alone in a text; write it twice, or use single quotes'),
    ("a = 2027-02-30", "1:5", "`a = 2027-02-30` has a date that does not exist; write it as 2027-01-31"),
    ('a = "\x01"', "1:6", '`a = "\\u0001"` has a sign that may not stand here; remove it'),
]  # fmt: skip
#: text and the whole message.
COSTLY = [
    ("a = " + "[" * 9000, "x.toml: nests more than 32 levels deep; write [tables] side by side"),
    ("a = " + "[" * 40 + "]" * 40, "x.toml: nests more than 32 levels deep; write [tables] side by side"),
    ("\n" + "a." * 50_000 + "a = 1", "x.toml:2: joins more than 32 keys by dots; write [tables]"),
    ("[" + '"a" . ' * 40 + "a]", "x.toml:1: joins more than 32 keys by dots; write [tables]"),
    ("\n\na = " + "9" * 5000, "x.toml:3: holds a number of more than 4300 digits; write fewer"),
]


@pytest.mark.parametrize(("text", "place", "words"), BROKEN, ids=range(len(BROKEN)))
def test_broken_toml_is_told_with_line_what_was_found_and_a_remedy(text: str, place: str, words: str) -> None:
    with pytest.raises(DocumentError) as refused:
        parse_document(text, "x.toml")
    assert str(refused.value) == f"x.toml:{place}: broken TOML: {words}"


@pytest.mark.parametrize(("text", "message"), COSTLY, ids=range(len(COSTLY)))
def test_what_would_take_for_ever_or_exhaust_the_stack_is_refused_first(text: str, message: str) -> None:
    with pytest.raises(DocumentError) as refused:
        parse_document(text, "x.toml")
    assert str(refused.value) == message


def test_a_long_broken_line_is_cut_in_the_message() -> None:
    with pytest.raises(DocumentError) as refused:
        parse_document("a = 1 " + "x" * 10_000, "x.toml")
    assert len(str(refused.value)) < 250


def test_a_name_cannot_move_the_cursor() -> None:
    with pytest.raises(DocumentError) as refused:
        parse_document("a =", "x\x1b[2J\n.toml")
    assert str(refused.value).isprintable()
    assert parse_document("", "\x1b").where() == "\\u001b"


def test_a_text_no_utf8_can_hold_is_refused() -> None:
    with pytest.raises(DocumentError) as refused:
        parse_document("a = 1\nb = '\ud800'", "x.toml")
    assert str(refused.value) == "x.toml:2: holds a sign that is no character of Unicode; remove it"


def test_dots_in_texts_are_no_joined_keys() -> None:
    assert parse_document('a = "' + "word. " * 1000 + '"', "x.toml").data["a"].count(".") == 1000
    assert parse_document('a = "' + "9" * 5000 + '"', "x.toml").data == {"a": "9" * 5000}
    assert parse_document("a = 1." + "0" * 4000, "x.toml").data == {"a": 1.0}
    assert parse_document(f"a = [{', '.join(['1.5'] * 1000)}]", "x.toml").data["a"] == [1.5] * 1000
    assert parse_document(".".join("a" * 32) + " = 1", "x.toml").line(*"a" * 32) == 1


def test_documents_of_the_same_text_are_equal() -> None:
    assert parse_document("a = 1", "x.toml") == parse_document("a = 1", "x.toml")
    assert len({parse_document("a = 1", "x.toml"), parse_document("a = 1", "x.toml")}) == 1
    assert isinstance(parse_document("# nothing but a comment", "x.toml"), Document)


@given(st.text(max_size=200) | st.text(alphabet="ab =[]{}\"'\\\n.,#1-:TZ", max_size=60))
def test_no_text_raises_anything_but_document_error(text: str) -> None:
    try:
        document = parse_document(text, "x.toml")
    except DocumentError as refused:
        assert [fault.where.startswith("x.toml") for fault in refused.faults] == [True]  # noqa: PT017 (one fault, any text)
        assert str(refused).isprintable()  # noqa: PT017
    else:
        for key in document.data:
            assert document.line(key) is not None
