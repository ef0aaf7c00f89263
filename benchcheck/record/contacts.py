"""Whose unit it is: kept beside the records and outside their chain, so that it can be erased.

A record never names a customer. The contact of a unit is one small file under `contacts`, for its owner only;
erasing it leaves every record whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchcheck.document import dump, read_document, write_atomically
from benchcheck.errors import Fault, RecordError
from benchcheck.record.fields import Fields
from benchcheck.record.files import flush_folder, make_folder
from benchcheck.record.folders import CONTACTS, unit_folder

__all__ = ["Contact", "erase_contact", "keep_contact", "read_contact"]

_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Contact:
    """Who to call about a unit, in their own words; every field may be empty."""

    name: str = ""
    reach: str = ""
    complaint: str = ""


def keep_contact(records_dir: Path, unit: str, contact: Contact) -> Path:
    """Write the contact of a unit, in place of an earlier one, and return where it stands.

    Raises UsageError for a label that names no folder, RecordError where it cannot be written.
    """
    path = _path(records_dir, unit)
    fields = {"unit": unit, "name": contact.name, "reach": contact.reach, "complaint": contact.complaint}
    try:
        make_folder(path.parent)
    except OSError as error:
        raise RecordError(Fault(str(path), "", f"the contact cannot be kept: {error.strerror}")) from error
    write_atomically(path, dump({"benchcheck_contact": _FORMAT, **fields}), error=RecordError)
    return path


def read_contact(records_dir: Path, unit: str) -> Contact | None:
    """Return the contact of a unit, None where none is kept or it was erased.

    Raises RecordError for a file that is none.
    """
    path = _path(records_dir, unit)
    if not path.exists():
        return None
    name = f"{CONTACTS}/{path.name}"
    fields = Fields(read_document(path, error=RecordError, name=name).data, name)
    return Contact(fields.text("name"), fields.text("reach"), fields.text("complaint"))


def erase_contact(records_dir: Path, unit: str) -> bool:
    """Erase the contact of a unit; return whether there was one. Records stay as they are.

    Raises RecordError where it cannot be erased.
    """
    path = _path(records_dir, unit)
    try:
        path.unlink()
        flush_folder(path.parent)
    except FileNotFoundError:
        return False
    except OSError as error:
        raise RecordError(Fault(str(path), "", f"the contact cannot be erased: {error.strerror}")) from error
    return True


def _path(records_dir: Path, unit: str) -> Path:
    return records_dir / CONTACTS / f"{unit_folder(unit)}.toml"
