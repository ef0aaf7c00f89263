"""The door to stored records for other rooms: one file, or a unit's files in order. Nothing here writes."""

from benchcheck.record.record import Entry, Record, read_record
from benchcheck.record.shelf import Shelf, latest_open, parents_for, records_of, shelf_of

__all__ = [
    "Entry",
    "Record",
    "Shelf",
    "latest_open",
    "parents_for",
    "read_record",
    "records_of",
    "shelf_of",
]
