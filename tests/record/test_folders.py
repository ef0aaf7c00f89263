"""Unit folders: one plain name for any label, and no label that names anything but its own folder."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from benchcheck.errors import UsageError
from benchcheck.record.folders import FOLDER_LIMIT_BYTES, unit_folder, unit_path

# Microsoft, "Naming Files, Paths, and Namespaces": reserved with any extension and in any case.
RESERVED = ["CON", "prn", "Aux", "NUL", *(f"COM{n}" for n in range(10)), *(f"lpt{n}" for n in range(10))]


@pytest.mark.parametrize(
    ("label", "folder"),
    [
        ("PR-3", "pr-3"),
        ("PR-3 no. 42", "pr-3%20no.%2042"),
        ("../../x", "%2E.%2F..%2Fx"),
        ("..", "%2E%2E"),
        (".", "%2E"),
        (".hidden", "%2Ehidden"),
        ("ends.", "ends%2E"),
        ('a/b\\c:d*e?f"g<h>i|j', "a%2Fb%5Cc%3Ad%2Ae%3Ff%22g%3Ch%3Ei%7Cj"),
        ("CON", "%63on"),
        ("con.txt", "%63on.txt"),
        ("console", "console"),
        ("sources", "%73ources"),
        ("Contacts", "%63ontacts"),
        ("Index.sqlite", "%69ndex.sqlite"),
        ("index.sqlite-wal", "%69ndex.sqlite-wal"),
        ("100 %", "100%20%25"),
        ("%63on", "%2563on"),
        ("Straße", "strasse"),
        ("修理7", "%E4%BF%AE%E7%90%867"),
        ("  padded  ", "padded"),
    ],
)
def test_a_label_names_one_folder(label: str, folder: str) -> None:
    assert unit_folder(label) == folder


def test_composed_and_decomposed_letters_are_one_unit() -> None:
    assert unit_folder("Gerät") == unit_folder(unicodedata.normalize("NFD", "GERÄT")) == "ger%C3%A4t"


@pytest.mark.parametrize("name", RESERVED)
@pytest.mark.parametrize("suffix", ["", ".toml", ".a.b"])
def test_device_names_of_windows_are_no_folders(name: str, suffix: str) -> None:
    assert unit_folder(name + suffix).startswith("%")


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ("", "the label is empty"),
        ("   ", "the label is empty"),
        ("x" * 201, "the label is 201 bytes long as a folder name; 200 are allowed"),
        ("x" * 300, "the label is 300 bytes long"),
        ("理" * 23, "the label is 207 bytes long"),
        ("a\x00b", r"character 2 of the label is a control character \(U\+0000\); leave it out"),
        ("a\nb", r"character 2 of the label is a control character \(U\+000A\)"),
        ("\x1b[31mred", r"character 1 of the label is a control character \(U\+001B\)"),
        ("a\x9bb", r"control character \(U\+009B\)"),
        ("a\u2028b", r"a line end \(U\+2028\)"),
        ("a\ud800b", r"half a character \(U\+D800\)"),
    ],
)
def test_a_label_that_cannot_be_a_folder_is_refused(label: str, words: str) -> None:
    with pytest.raises(UsageError, match=words):
        unit_folder(label)


def test_a_label_of_exactly_200_bytes_is_allowed() -> None:
    assert len(unit_folder("x" * FOLDER_LIMIT_BYTES)) == FOLDER_LIMIT_BYTES


@given(st.text(max_size=60))
def test_whatever_the_label_its_folder_is_one_safe_name_below_the_records(label: str) -> None:
    try:
        folder = unit_folder(label)
    except UsageError:
        return
    assert folder.isascii()
    assert folder == folder.strip(". ")
    assert not set(folder) & set('/\\:*?"<>|\x00')
    assert unit_path(Path("/records"), label).resolve().parent == Path("/records")
    assert folder not in ("sources", "contacts")


@given(st.text(max_size=30), st.text(max_size=30))
def test_different_labels_have_different_folders_unless_they_differ_in_case_or_form(one: str, two: str) -> None:
    def folded(label: str) -> str:
        return unicodedata.normalize("NFC", unicodedata.normalize("NFC", label.strip()).casefold())

    assume(folded(one) != folded(two))
    try:
        assert unit_folder(one) != unit_folder(two)
    except UsageError:
        return
