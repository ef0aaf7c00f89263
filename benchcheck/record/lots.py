"""Which lots went into a unit: what its spec says was fitted, as far as the visit did not say otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from benchcheck.document import parse_document
from benchcheck.errors import InputError
from benchcheck.quantity import DisplayState
from benchcheck.record.record import Record
from benchcheck.record.sources import read_source

__all__ = ["LotReader", "fitted_lots"]


def fitted_lots(record: Record, stated: Mapping[str, str]) -> dict[str, str]:
    """Return the lots in a unit by designator: those the spec states, corrected by what was seen.

    "no" to a lot's check strikes the stated lot out, a text takes its place.
    """
    lots = dict(stated)
    for reading in record.readings:
        designator, _, measurand = reading.check.rpartition(".")
        if measurand != "lot" or not designator:
            continue
        if reading.display.state is DisplayState.NO:
            lots.pop(designator, None)
        elif reading.display.state is DisplayState.TEXT:
            lots[designator] = reading.display.text
    return lots


class LotReader:
    """Reads the lots a spec states from the copies beside the records, each copy once."""

    def __init__(self, records_dir: Path) -> None:
        self._records_dir = records_dir
        self._stated: dict[str, dict[str, str]] = {}

    def lots(self, record: Record) -> dict[str, str]:
        """Return the lots in the record's unit; without a readable copy of the spec only those seen."""
        digest = record.head.spec_digest
        if digest not in self._stated:
            self._stated[digest] = self._read(digest)
        return fitted_lots(record, self._stated[digest])

    def _read(self, digest: str) -> dict[str, str]:
        try:
            parts = parse_document(read_source(self._records_dir, digest), digest).data.get("part")
        except InputError:
            return {}
        if not isinstance(parts, Mapping):
            return {}
        lots = {name: _stated_lot(part) for name, part in parts.items() if isinstance(part, Mapping)}
        return {name: lot for name, lot in lots.items() if lot}


def _stated_lot(part: Mapping[str, object]) -> str:
    fitted = part.get("fitted")
    inner = fitted.get("lot") if isinstance(fitted, Mapping) else None
    lot = inner or part.get("lot")
    return lot if isinstance(lot, str) else ""
