"""What the search index holds of a record, as plain rows, and a visit as it comes back out of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

from benchcheck.record.record import Record
from benchcheck.record.shelf import NO_DATE, Links, order_of

__all__ = [
    "IndexedPoint",
    "IndexedVisit",
    "lot_rows",
    "meter_rows",
    "moment_text",
    "ordered",
    "point_rows",
    "visit_from",
    "visit_row",
]

Row = dict[str, object]


class IndexedPoint(NamedTuple):
    """A score as the index knows it; numbers in the SI `quantity_unit`."""

    check: str
    outcome: str
    verdict: str | None
    display: str
    value: float | None
    quantity_unit: str
    expanded_uncertainty: float | None
    lower: float | None
    upper: float | None
    meter: str


@dataclass(frozen=True, slots=True)
class IndexedVisit:
    """A record as the index knows it; `folder` and `file` say where it is, `date` is in UTC."""

    shelf: str
    folder: str
    file: str
    unit: str
    board: str
    revision: str
    stage: str
    date: datetime | None
    exit_code: int | None
    head_seal: str
    identity: str
    last_seal: str
    parents: tuple[str, ...]
    blocks: int
    sealed: bool
    problems: str
    points: tuple[IndexedPoint, ...] = ()


def visit_row(record: Record, shelf: str, size_bytes: int, mtime_ns: int) -> Row:
    """Return the row of a record; size and time are those of the file it was read from."""
    head = record.head
    return {
        "shelf": shelf,
        "folder": record.path.parent.name,
        "file": record.path.name,
        "size_bytes": size_bytes,
        "mtime_ns": mtime_ns,
        "unit": _clean(head.unit),
        "board": _clean(head.board),
        "revision": _clean(head.revision),
        "stage": str(head.stage),
        "date": moment_text(head.date) if head.date else "",
        "exit_code": record.result.exit_code if record.result else None,
        "head_seal": record.head_seal,
        "identity": record.identity,
        "last_seal": record.last_seal,
        "parents": _clean(" ".join(head.parents or ())),
        "blocks": record.blocks,
        "sealed": record.sealed,
        "problems": _clean("\n".join(map(str, record.problems))),
    }


def point_rows(record: Record, visit: int) -> list[Row]:
    """Return the rows of a record's scores."""
    return [
        {
            "visit": visit,
            "place": place,
            "check_id": _clean(score.check),
            "outcome": str(score.outcome),
            "verdict": str(score.verdict) if score.verdict else None,
            "display": _clean(score.display),
            "value": score.value,
            "quantity_unit": _clean(score.quantity_unit),
            "expanded_uncertainty": score.expanded_uncertainty,
            "lower": score.lower,
            "upper": score.upper,
            "meter": _clean(score.meter),
        }
        for place, score in enumerate(record.scores)
    ]


def meter_rows(record: Record, visit: int) -> list[Row]:
    """Return the rows of the instruments a record's readings come from; of an open one all there were."""
    used = {score.meter for score in record.scores} | {reading.meter for reading in record.readings}
    used.discard("")
    return [
        {
            "visit": visit,
            "name": _clean(one.name),
            "model": _clean(one.model),
            "identity": _clean(one.identity),
            "calibration_due": one.calibration_due.isoformat() if one.calibration_due else "",
        }
        for one in record.head.instruments
        if record.open or not used or one.name in used
    ]


def lot_rows(lots: Mapping[str, str], visit: int) -> list[Row]:
    """Return the rows of the lots in a unit, by designator."""
    return [
        {"visit": visit, "designator": _clean(name), "lot": _clean(lot), "folded": _clean(lot.strip().casefold())}
        for name, lot in lots.items()
    ]


def moment_text(moment: datetime) -> str:
    """Return a time so that texts sort as times do."""
    return moment.astimezone(UTC).isoformat()


def visit_from(row: Any, points: Iterable[IndexedPoint] = ()) -> IndexedVisit:
    """Return the visit of a row that has the columns of `visit_row` as attributes."""
    return IndexedVisit(
        row.shelf, row.folder, row.file, row.unit, row.board, row.revision, row.stage,
        datetime.fromisoformat(row.date) if row.date else None, row.exit_code, row.head_seal, row.identity,
        row.last_seal, tuple(row.parents.split()), row.blocks, row.sealed, row.problems, tuple(points),
    )  # fmt: skip


def ordered(visits: Sequence[IndexedVisit]) -> tuple[IndexedVisit, ...]:
    """Return visits oldest first, of copies of one record only the longest."""
    longest: dict[str, IndexedVisit] = {}
    for visit in visits:
        known = longest.get(visit.head_seal)
        if known is None or visit.blocks > known.blocks:
            longest[visit.head_seal] = visit
    return order_of((_links(visit), visit) for visit in longest.values())


def _links(visit: IndexedVisit) -> Links:
    seals = frozenset((visit.head_seal, visit.identity))
    return Links(visit.date or NO_DATE, visit.file, seals, visit.parents)


def _clean(text: str) -> str:
    """A database may refuse the sign NUL; the file still has it."""
    return text.replace("\x00", "\ufffd")
