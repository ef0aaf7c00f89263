"""What tomllib complains about, in words a technician can act on: where, what was found, what to do."""

from __future__ import annotations

import re

from benchcheck.document.files import printable
from benchcheck.errors import Fault

__all__ = ["broken_toml"]

PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
#: start of tomllib's sentence -> ours. It speaks of grammar; people want to know what to type.
WORDS = (
    ("Expected newline or end of document", 'goes on after a value is complete; texts take quotes: key = "5 V"'),
    ("Invalid value", 'has no value TOML knows here; texts take quotes: key = "4k7"'),
    ("Invalid initial character for a key", "has no key here; write key = value, or [table]"),
    ("Invalid statement", "is neither key = value nor a [table]; write one of them"),
    ("Expected '='", "is a key with no value; write key = value"),
    ("Cannot overwrite a value", "gives this key a second time; keep one of them"),
    ("Duplicate inline table key", "gives a key twice between braces; keep one of them"),
    ("Cannot declare", "opens this table a second time; put its keys together"),
    ("Cannot redefine", "opens this table a second time; put its keys together"),
    ("Cannot mutate immutable", "adds to what was complete between braces or brackets; write it in there"),
    ("Expected ']", "opens a table with a bracket that is not closed; write [table] on one line"),
    ("Unclosed array", "opens a list that is not closed; put values between [ and ], commas between them"),
    ("Unclosed inline table", "opens a brace that is not closed; put pairs between { and }, commas between them"),
    ("Unterminated string", "opens a quote that is not closed; add the closing quote"),
    ("Illegal character '\\n'", "opens a quote that is not closed on its line; add the closing quote"),
    ("Unescaped '\\'", "has a backslash alone in a text; write it twice, or use single quotes"),
    ("Illegal character", "has a sign that may not stand here; remove it"),
    ("Found invalid character", "has a sign that may not stand here; remove it"),
    ("Invalid date or datetime", "has a date that does not exist; write it as 2027-01-31"),
)


def broken_toml(text: str, name: str, reason: str) -> Fault:
    """Return the fault for a text tomllib refused with `reason`: its place, the line found there, the remedy."""
    place = PLACE.search(reason)
    sentence = PLACE.sub("", reason)
    lines = text.replace("\r\n", "\n").rstrip("\n").split("\n")
    number, column = len(lines), len(lines[-1]) + 1
    if place is not None and place[1] is not None:
        number, column = int(place[1]), int(place[2])
    found = printable(lines[number - 1].strip()) if number <= len(lines) else ""
    words = next((ours for theirs, ours in WORDS if sentence.startswith(theirs)), None)
    words = words or f"is not right ({sentence}); correct the line"
    if sentence.startswith("Cannot declare") and found in (earlier := [*map(str.strip, lines[: number - 1])]):
        words += f" (first on line {earlier.index(found) + 1})"
    found = found if len(found) <= 60 else f"{found[:59]}…"
    return Fault(f"{printable(name)}:{number}:{column}", "", f"broken TOML: `{found}` {words}")
