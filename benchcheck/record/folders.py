"""Where records stand: one folder a unit, named after its label so that no label can name anything else.

The label in NFC, case-folded and percent-encoded is one plain name on every file system. Beyond what a URL
needs, a point at either end, a device name of Windows and the names this room keeps for itself are encoded.
"""

from __future__ import annotations

import re
import unicodedata
from pathlib import Path
from urllib.parse import quote

from benchcheck.errors import Fault, UsageError

__all__ = ["CONTACTS", "FOLDER_LIMIT_BYTES", "INDEX_NAME", "SOURCES", "unit_folder", "unit_path"]

FOLDER_LIMIT_BYTES = 200
SOURCES = "sources"
CONTACTS = "contacts"
INDEX_NAME = "index.sqlite"

_WINDOWS = re.compile(r"(?:con|prn|aux|nul|com[0-9]|lpt[0-9])(?:\..*)?")  # Microsoft, "Naming Files, Paths"
_FORBIDDEN = {"Cc": "a control character", "Cs": "half a character", "Zl": "a line end", "Zp": "a line end"}


def unit_folder(label: str) -> str:
    """Return the name of the folder that holds a unit's records.

    Raises UsageError for a label that is empty, holds control characters or is over 200 bytes so encoded.

    >>> unit_folder("PR-3 no. 42"), unit_folder("../../x"), unit_folder("CON")
    ('pr-3%20no.%2042', '%2E.%2F..%2Fx', '%63on')
    """
    _refuse_hidden(label)
    folded = unicodedata.normalize("NFC", unicodedata.normalize("NFC", label.strip()).casefold())
    if not folded:
        raise UsageError(Fault("--unit", "", "the label is empty; write what stands on the unit's label"))
    name = quote(folded, safe="")
    if name.startswith("."):
        name = "%2E" + name[1:]
    if name.endswith("."):
        name = name[:-1] + "%2E"
    if _WINDOWS.fullmatch(name) or name in (SOURCES, CONTACTS) or name.startswith(INDEX_NAME):
        name = f"%{ord(name[0]):02X}{name[1:]}"
    if len(name) > FOLDER_LIMIT_BYTES:
        found = f"the label is {len(name)} bytes long as a folder name"
        raise UsageError(Fault("--unit", "", f"{found}; {FOLDER_LIMIT_BYTES} are allowed, so write a shorter one"))
    return name


def unit_path(records_dir: Path, label: str) -> Path:
    """Return the path of a unit's folder; it need not exist."""
    return records_dir / unit_folder(label)


def _refuse_hidden(label: str) -> None:
    for place, character in enumerate(label, start=1):
        what = _FORBIDDEN.get(unicodedata.category(character))
        if what:
            message = f"character {place} of the label is {what} (U+{ord(character):04X}); leave it out"
            raise UsageError(Fault("--unit", "", message))
