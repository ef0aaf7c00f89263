"""A search index over records: what a shop asks across units, answered without opening every file.

The files remain the truth. The index holds nothing they do not, may be deleted at any time, and is brought up
to date by looking at names, sizes and times of files. SQLite by default; a shop with several benches may
point it at PostgreSQL, each bench under its own shelf name.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Self

import sqlalchemy as sql
from sqlalchemy import BigInteger, Boolean, Column, Float, ForeignKey, Integer, String, Table, Text

from benchcheck.errors import Fault, RecordError
from benchcheck.record.folders import INDEX_NAME, unit_folder
from benchcheck.record.lots import LotReader
from benchcheck.record.record import Record, read_record
from benchcheck.record.rows import (
    IndexedPoint,
    IndexedVisit,
    Row,
    lot_rows,
    meter_rows,
    moment_text,
    ordered,
    point_rows,
    visit_from,
    visit_row,
)
from benchcheck.record.shelf import record_files, unit_folders

__all__ = ["Index", "IndexedPoint", "IndexedVisit", "Update"]

SCHEMA = 2
_BATCH_ROWS = 20_000
_metadata = sql.MetaData()
_about = Table("benchcheck_index", _metadata, Column("schema_version", Integer, nullable=False))
_visits = Table(
    "visits",
    _metadata,
    Column("id", Integer, primary_key=True),
    Column("shelf", String(200), nullable=False),
    Column("folder", String(200), nullable=False, index=True),
    Column("file", String(255), nullable=False),
    Column("size_bytes", BigInteger, nullable=False),
    Column("mtime_ns", BigInteger, nullable=False),
    Column("unit", Text, nullable=False),
    Column("board", Text, nullable=False),
    Column("revision", Text, nullable=False),
    Column("stage", String(20), nullable=False),
    Column("date", String(40), nullable=False),
    Column("exit_code", Integer),
    Column("head_seal", String(64), nullable=False),
    Column("identity", String(64), nullable=False),
    Column("last_seal", String(64), nullable=False),
    Column("parents", Text, nullable=False),
    Column("blocks", Integer, nullable=False),
    Column("sealed", Boolean, nullable=False),
    Column("problems", Text, nullable=False),
    sql.UniqueConstraint("shelf", "folder", "file"),
)
_points = Table(
    "points",
    _metadata,
    Column("visit", ForeignKey("visits.id"), primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("check_id", Text, nullable=False),
    Column("outcome", String(20), nullable=False),
    Column("verdict", String(20)),
    Column("display", Text, nullable=False),
    Column("value", Float),
    Column("quantity_unit", Text, nullable=False),
    Column("expanded_uncertainty", Float),
    Column("lower", Float),
    Column("upper", Float),
    Column("meter", Text, nullable=False),
    sqlite_with_rowid=False,
)
_meters = Table(
    "meters",
    _metadata,
    Column("visit", ForeignKey("visits.id"), nullable=False, index=True),
    Column("name", Text, nullable=False, index=True),
    Column("model", Text, nullable=False),
    Column("identity", Text, nullable=False, index=True),
    Column("calibration_due", String(10), nullable=False),
)
_lots = Table(
    "lots",
    _metadata,
    Column("visit", ForeignKey("visits.id"), nullable=False, index=True),
    Column("designator", Text, nullable=False),
    Column("lot", Text, nullable=False),
    Column("folded", Text, nullable=False, index=True),
)
_CHILDREN = (_points, _meters, _lots)
_POINT_COLUMNS = tuple(_points.columns)[2:]
_UNIT_VISITS = sql.select(_visits).where(_visits.c.folder == sql.bindparam("folder"))
_UNIT_POINTS = (
    sql.select(_points.c.visit, *_POINT_COLUMNS)
    .join(_visits, _points.c.visit == _visits.c.id)
    .where(_visits.c.folder == sql.bindparam("folder"))
    .order_by(_points.c.visit, _points.c.place)
)
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Update:
    """What bringing the index up to date did: records read, unchanged and removed; faults of unreadable ones."""

    read: int
    unchanged: int
    removed: int
    faults: tuple[Fault, ...]


class Index:
    """The index at a database URL, or in a SQLite file for its owner only; use it as a context manager.

    `shelf` names whose records these are where several benches share one database. Every method raises
    RecordError where the database cannot be used.
    """

    def __init__(self, place: str | Path, *, shelf: str = "") -> None:
        self.shelf = shelf
        with _in_words():
            self._engine = sql.create_engine(place if isinstance(place, str) else _private(place))
            if self._engine.dialect.name == "sqlite":
                sql.event.listen(self._engine, "connect", _as_a_file_that_can_be_rebuilt)
            self._prepare()
            self._connection = self._engine.connect()

    @classmethod
    def beside(cls, records_dir: Path) -> Index:
        """Return the index that stands in a records folder, made where there is none."""
        return cls(records_dir / INDEX_NAME)

    def close(self) -> None:
        """Let go of the database."""
        self._connection.close()
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _prepare(self) -> None:
        """Create the tables; those of another version are dropped, as the files hold all there is."""
        with self._engine.begin() as connection:
            if sql.inspect(connection).has_table(_about.name):
                if connection.execute(sql.select(_about.c.schema_version)).scalar() == SCHEMA:
                    return
                _metadata.drop_all(connection)
            _metadata.create_all(connection)
            connection.execute(sql.insert(_about).values(schema_version=SCHEMA))

    def update(self, records_dir: Path, *, progress: Progress = lambda done, total: None) -> Update:
        """Bring this shelf up to date with a records folder: new and changed files are read, missing ones leave.

        `progress` hears how many unit folders are done, of how many. Memory holds one folder at a time.
        """
        folders = list(unit_folders(records_dir))
        with _in_words(), self._engine.connect() as connection:
            work = _Work(connection, self.shelf, LotReader(records_dir))
            for number, folder in enumerate(folders, start=1):
                work.folder(folder)
                progress(number, len(folders))
            work.keep_only({folder.name for folder in folders})
            work.flush()
        return work.done()

    def refresh(self, records_dir: Path, unit: str) -> Update:
        """Bring one unit up to date."""
        with _in_words(), self._engine.connect() as connection:
            work = _Work(connection, self.shelf, LotReader(records_dir))
            work.folder(records_dir / unit_folder(unit))
            work.flush()
        return work.done()

    def history(self, unit: str) -> tuple[IndexedVisit, ...]:
        """Return a unit's visits with their points, oldest first, from every shelf, of copies only the longest."""
        parameters = {"folder": unit_folder(unit)}
        points: dict[int, list[IndexedPoint]] = {}
        visits = self._rows(_UNIT_VISITS, parameters)
        for row in self._rows(_UNIT_POINTS, parameters):
            points.setdefault(row[0], []).append(IndexedPoint._make(row[1:]))
        return ordered([visit_from(row, points.get(row.id, ())) for row in visits])

    def with_lot(self, lot: str) -> tuple[tuple[IndexedVisit, str], ...]:
        """Return the visits of units that hold a lot, each with the designator; case does not count."""
        query = (
            sql.select(_visits, _lots.c.designator)
            .join(_lots, _lots.c.visit == _visits.c.id)
            .where(_lots.c.folded == lot.strip().casefold())
            .order_by(_visits.c.folder, _visits.c.date, _lots.c.designator)
        )
        return tuple((visit_from(row), row.designator) for row in self._rows(query))

    def with_meter(
        self, meter: str, *, since: datetime | None = None, until: datetime | None = None
    ) -> tuple[IndexedVisit, ...]:
        """Return the visits on which a meter was used, by its name or its serial number, oldest first.

        Case does not count, as for lots: that a meter found bad measured nothing must not rest on a capital letter.
        """
        columns = (_meters.c.name, _meters.c.identity)
        same = [test for column in columns for test in (column == meter, sql.func.lower(column) == meter.lower())]
        used = sql.select(_meters.c.visit).where(sql.or_(*same))
        query = sql.select(_visits).where(_visits.c.id.in_(used)).order_by(_visits.c.date, _visits.c.file)
        if since:
            query = query.where(_visits.c.date >= moment_text(since))
        if until:
            query = query.where(_visits.c.date <= moment_text(until))
        return tuple(visit_from(row) for row in self._rows(query))

    def count(self) -> int:
        """Return how many records the index holds, all shelves together."""
        return int(self._rows(sql.select(sql.func.count()).select_from(_visits))[0][0])

    def _rows(self, query: sql.Select[Any], parameters: dict[str, str] | None = None) -> Sequence[sql.Row[Any]]:
        with _in_words():
            rows = self._connection.execute(query, parameters).all()
            self._connection.rollback()  # else the next question sees the same moment again
        return rows


@dataclass(slots=True)
class _Work:
    """One bringing up to date; rows below visits are gathered and written in batches."""

    connection: sql.Connection
    shelf: str
    lots: LotReader
    read: int = 0
    unchanged: int = 0
    removed: int = 0
    faults: list[Fault] = field(default_factory=list)
    waiting: dict[str, list[Row]] = field(default_factory=lambda: {table.name: [] for table in _CHILDREN})

    def folder(self, folder: Path) -> None:
        """Bring the records of one unit folder up to date."""
        known = {row.file: row for row in self.connection.execute(self._known(folder.name))}
        for path in record_files(folder):
            try:
                status = path.stat()
            except FileNotFoundError:  # moved away since the folder was read
                continue
            row = known.pop(path.name, None)
            if row is not None and (row.size_bytes, row.mtime_ns) == (status.st_size, status.st_mtime_ns):
                self.unchanged += 1
                continue
            self.forget([row.id] if row is not None else [])
            self.take(path, status)
        self.removed += len(known)
        self.forget([row.id for row in known.values()])

    def take(self, path: Path, status: os.stat_result) -> None:
        """Read one record and keep its rows."""
        try:
            record = read_record(path, with_budgets=False)
        except RecordError as error:
            self.faults.extend(error.faults)
            return
        self.keep(record, status)
        self.read += 1
        if sum(map(len, self.waiting.values())) >= _BATCH_ROWS:
            self.flush()

    def keep(self, record: Record, status: os.stat_result) -> None:
        row = visit_row(record, self.shelf, status.st_size, status.st_mtime_ns)
        visit = int(self.connection.execute(sql.insert(_visits).returning(_visits.c.id), row).scalar_one())
        self.waiting[_points.name] += point_rows(record, visit)
        self.waiting[_meters.name] += meter_rows(record, visit)
        self.waiting[_lots.name] += lot_rows(self.lots.lots(record), visit)

    def forget(self, visits: Iterable[int]) -> None:
        """Take out visits and all below them."""
        for visit in visits:
            for table in _CHILDREN:
                self.connection.execute(sql.delete(table).where(table.c.visit == visit))
            self.connection.execute(sql.delete(_visits).where(_visits.c.id == visit))

    def keep_only(self, folders: set[str]) -> None:
        """Take out the visits of this shelf whose folder is gone."""
        query = sql.select(_visits.c.id, _visits.c.folder).where(_visits.c.shelf == self.shelf)
        gone = [row.id for row in self.connection.execute(query) if row.folder not in folders]
        self.removed += len(gone)
        self.flush()
        self.forget(gone)

    def flush(self) -> None:
        """Write what was gathered; a run that ends here has lost nothing of it."""
        for table in _CHILDREN:
            if self.waiting[table.name]:
                self.connection.execute(sql.insert(table), self.waiting[table.name])
                self.waiting[table.name] = []
        self.connection.commit()

    def done(self) -> Update:
        return Update(self.read, self.unchanged, self.removed, tuple(self.faults))

    def _known(self, folder: str) -> sql.Select[Any]:
        columns = _visits.c.id, _visits.c.file, _visits.c.size_bytes, _visits.c.mtime_ns
        return sql.select(*columns).where(_visits.c.shelf == self.shelf, _visits.c.folder == folder)


def _private(path: Path) -> str:
    """Return the URL of a SQLite file, made for its owner only."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else error
        raise RecordError(Fault(str(path), "", f"the index cannot be opened: {reason}")) from error
    return sql.URL.create("sqlite", database=str(path)).render_as_string(hide_password=False)


def _as_a_file_that_can_be_rebuilt(connection: Any, _: object) -> None:
    """Spare the flushes: what a power cut could spoil is made again from the records."""
    connection.execute("PRAGMA synchronous = OFF")


@contextmanager
def _in_words() -> Iterator[None]:
    try:
        yield
    except sql.exc.SQLAlchemyError as error:
        reason = str(getattr(error, "orig", None) or error).strip().partition("\n")[0]
        advice = "delete it, or name another with --index; the records themselves are untouched"
        raise RecordError(Fault("index", "", f"the database cannot be used: {reason}; {advice}")) from error
    except ModuleNotFoundError as error:
        message = f"the driver {error.name} is not installed; install benchcheck[postgres]"
        raise RecordError(Fault("index", "", message)) from error
