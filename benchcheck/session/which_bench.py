"""Which bench a run is on: the file a user names, the simulated one, or the one a visit was begun with."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.bench.simulated import default_bench
from benchcheck.document import digest_of, parse_document
from benchcheck.errors import BenchError, Fault, UsageError

if TYPE_CHECKING:
    from benchcheck.record.record import Record

__all__ = ["SIMULATED", "bench_from", "bench_of_visit"]

#: the word for the simulated bench where a bench file is named.
SIMULATED = "simulated"


class _Asked(Protocol):
    @property
    def bench(self) -> str | None: ...
    @property
    def records(self) -> Path: ...


def bench_from(name: str | None) -> Bench:
    """Return the bench a user named: a path, the word "simulated", or ./bench.toml when nothing was said."""
    if name == SIMULATED:
        return default_bench()
    path = Path(name or "bench.toml")
    if name is None and not path.exists():
        raise UsageError(
            Fault("--bench", "", "there is no ./bench.toml; name a bench file, or write --bench simulated")
        )
    return load_bench(path)


def bench_of_visit(request: _Asked, resumed: Record | None) -> Bench:
    """Return the bench asked for; a visit that goes on keeps the one it began with, from its copy if need be.

    Raises UsageError where another bench is named for it: readings of two benches are two visits.
    """
    if resumed is None:
        return bench_from(request.bench)
    from benchcheck.record.sources import read_source, without_addresses  # only a visit that goes on needs records

    digest = resumed.head.bench_digest
    if request.bench is not None or Path("bench.toml").exists():
        bench = bench_from(request.bench)
        if digest_of(without_addresses(bench.source)) == digest:
            return bench
        if request.bench is not None:
            found = "is not the bench this visit was begun with; leave --bench out, or begin a new visit"
            raise UsageError(Fault("--bench", request.bench, found))
    text = read_source(request.records, digest)
    return load_bench(parse_document(text, "the bench kept with the record", error=BenchError))
