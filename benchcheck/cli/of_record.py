"""A record as `diagnose` takes it: its readings, the board and bench kept beside it, and what of it is left out."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchcheck.errors import BenchError, Fault, RecordError, UsageError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from benchcheck.bench.model import Bench
    from benchcheck.readings.reading import Reading
    from benchcheck.record.record import Record
    from benchcheck.spec.board import Board

__all__ = ["Given", "given_by_record", "refuse_directory"]

#: records of a unit, or units, that are named one by one.
_NAMED = 5


@dataclass(frozen=True, slots=True)
class Given:
    """What is diagnosed: a board, the bench it was measured on, readings, and what was left out, in words."""

    board: Board
    bench: Bench
    readings: Sequence[Reading]
    left_out: tuple[str, ...] = ()


def given_by_record(path: Path, bench: str | None, records: Path) -> Given:
    """Return what a record gives, `bench` in place of its own where one is named.

    The copies of spec and bench are looked for beside the record's unit, then in the folder `records`. Raises
    RecordError where one is in neither, and where no reading of a damaged record is proven.
    """
    from benchcheck.bench.load import load_bench
    from benchcheck.builtin import load_spec
    from benchcheck.document import parse_document
    from benchcheck.record.store import read_record
    from benchcheck.session.which_bench import bench_from

    record = read_record(path, with_budgets=False)
    left_out = tuple(_left_out(record))
    _refuse_nothing_proven(record)
    places = list(dict.fromkeys((path.absolute().parent.parent, records.absolute())))
    spec, _ = _copy(record, "spec", record.head.spec_digest, places)
    board = load_spec(spec)
    if bench is not None:
        return Given(board, bench_from(bench), record.readings, left_out)
    if not record.head.bench_digest:
        raise RecordError(Fault(str(path), "", "does not say which bench it was made with; name one with --bench"))
    _, text = _copy(record, "bench", record.head.bench_digest, places)
    on = load_bench(parse_document(text, "the bench kept with the record", error=BenchError))
    return Given(board, on, record.readings, left_out)


def _copy(record: Record, what: str, digest: str, places: Sequence[Path]) -> tuple[Path, str]:
    """Return path and text of the copy that a record was made with; RecordError where no place has it."""
    from benchcheck.record.folders import SOURCES
    from benchcheck.record.sources import read_source

    name = f"{digest}.toml"
    for place in places:
        if (place / SOURCES / name).exists():
            return place / SOURCES / name, read_source(place, digest)
    looked = " nor in ".join(str(place / SOURCES) for place in places)
    advice = "put the record back into its unit's folder, or name the folder of the records with --records"
    if what == "bench":
        advice += ", or a bench file with --bench"
    message = f"needs the {what} it was made with, {name}, which is not in {looked}; {advice}"
    raise RecordError(Fault(str(record.path), "", message))


def _left_out(record: Record) -> Iterator[str]:
    """Yield what is wrong with a record, and what of it takes no part in the answer."""
    yield from map(str, record.problems)
    lost = Counter(block.kind for block in record.unproven)
    if lost["reading"]:
        count, kept = lost["reading"], len(record.readings)
        are = "reading is" if count == 1 else "readings are"
        yield (
            f"{count} {are} left out of this answer, which rests on the {kept} before the damage; put back a copy of "
            "the record, or read again what is missing and give all of it as SPEC --readings FILE"
        )


def _refuse_nothing_proven(record: Record) -> None:
    lost = any(block.kind == "reading" for block in record.unproven)
    if record.all_readings or not lost:
        return
    faults = [*record.problems, Fault(record.name, "", "no reading of it is proven: put back a copy of the record")]
    raise RecordError(faults)


def refuse_directory(path: Path) -> None:
    """Raise UsageError for a directory, with the records in it that can be given; the newest visit last."""
    if not path.is_dir():
        return
    from benchcheck.record.shelf import in_order, shelf_in

    shelf = shelf_in(path, with_budgets=False)
    known = [record.path for record in in_order(shelf.records)]
    message = "is a directory; one record, or a spec with --readings FILE, is diagnosed"
    if known:
        older = f"{len(known) - _NAMED} older and " if len(known) > _NAMED else ""
        named = ", ".join(map(str, known[-_NAMED:]))
        which = f"one of {older}{named} (the last visit)" if len(known) > 1 else named
        raise UsageError([Fault(str(path), "", f"{message}: give {which}"), *shelf.faults])
    units = [place for place in sorted(path.iterdir()) if place.is_dir() and any(place.glob("*-*.toml"))]
    if units:
        more = f" and {len(units) - _NAMED} more" if len(units) > _NAMED else ""
        named = ", ".join(map(str, units[:_NAMED]))
        raise UsageError(Fault(str(path), "", f"{message}: give a record out of the folder of a unit, {named}{more}"))
    if shelf.faults:
        raise UsageError([Fault(str(path), "", f"{message}; no record in it can be read"), *shelf.faults])
    raise UsageError(Fault(str(path), "", f"{message}; there is no record in it"))
