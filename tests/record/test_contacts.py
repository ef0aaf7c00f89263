"""Contacts: apart from the records, for their owner only, gone without a trace once erased."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from benchcheck.errors import RecordError, UsageError
from benchcheck.record.audit import check_records
from benchcheck.record.contacts import Contact, erase_contact, keep_contact, read_contact
from benchcheck.record.index import Index
from benchcheck.record.shelf import unit_folders
from tests.record.samples import HEAD, write_visit

CONTACT = Contact('Jo "the ear" Öztürk', "jo@example.org\n+00 1", "hums after ten minutes")


def test_a_contact_is_kept_read_replaced_and_erased(tmp_path: Path) -> None:
    assert read_contact(tmp_path, HEAD.unit) is None
    path = keep_contact(tmp_path, HEAD.unit, CONTACT)
    assert read_contact(tmp_path, "pr-3 NR. 42") == CONTACT
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    keep_contact(tmp_path, HEAD.unit, Contact("somebody else"))
    assert read_contact(tmp_path, HEAD.unit) == Contact("somebody else")
    assert erase_contact(tmp_path, HEAD.unit)
    assert not erase_contact(tmp_path, HEAD.unit)
    assert read_contact(tmp_path, HEAD.unit) is None
    assert list(path.parent.iterdir()) == []


def test_erasing_leaves_the_records_whole_and_contacts_are_no_unit(tmp_path: Path) -> None:
    record = write_visit(tmp_path)
    before = record.read_bytes()
    keep_contact(tmp_path, HEAD.unit, CONTACT)
    assert [folder.name for folder in unit_folders(tmp_path)] == [record.parent.name]
    with Index.beside(tmp_path) as index:
        assert index.update(tmp_path).read == 1
    erase_contact(tmp_path, HEAD.unit)
    assert record.read_bytes() == before
    assert check_records(tmp_path).records == 1
    assert all(CONTACT.name.encode() not in path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())


def test_a_contact_that_cannot_be_used_is_said(tmp_path: Path) -> None:
    path = keep_contact(tmp_path, HEAD.unit, CONTACT)
    path.write_text("name = 3\n")
    with pytest.raises(RecordError, match="name: is not a text"):
        read_contact(tmp_path, HEAD.unit)
    path.unlink()
    path.mkdir()
    with pytest.raises(RecordError, match="the contact cannot be erased"):
        erase_contact(tmp_path, HEAD.unit)
    with pytest.raises(UsageError):
        keep_contact(tmp_path, "a\x00b", CONTACT)
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match="the contact cannot be kept"):
        keep_contact(tmp_path / "file", HEAD.unit, CONTACT)
