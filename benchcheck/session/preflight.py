"""A look at supply and load before a visit: who answers, and whether it may be driven. Nothing is set."""

from __future__ import annotations

from benchcheck.bench.meter import Link
from benchcheck.bench.model import Bench
from benchcheck.clock import Clock
from benchcheck.errors import BenchError, Fault
from benchcheck.instruments.catalogue import Catalogue
from benchcheck.instruments.connection import connect
from benchcheck.instruments.driver import Driver
from benchcheck.instruments.from_bench import link_settings

__all__ = ["look_at"]


def look_at(bench: Bench, load: str, catalogue: Catalogue, clock: Clock) -> dict[str, str]:
    """Return identities by name, of every linked supply and of the load named ("" for none).

    BenchError where a resource is none, somebody else answers, or it may only be read; InstrumentError where nobody
    answers. Each is let go again at once, for the power keeper.
    """
    links = [(f"supply.{name}", name, "psu", one.link) for name, one in bench.supplies.items()]
    links += [(f"load.{name}", name, "load", one.link) for name, one in bench.loads.items() if name == load]
    return {
        name: _identity(table, role, link, catalogue, clock) for table, name, role, link in links if link is not None
    }


def _identity(table: str, role: str, link: Link, catalogue: Catalogue, clock: Clock) -> str:
    try:
        connection = connect(table, role, link_settings(link), catalogue, clock)
    except BenchError as reason:
        raise BenchError(
            [Fault(one.where, one.key or f"{table}.link", one.message) for one in reason.faults]
        ) from reason
    try:
        Driver(connection).require_known()
        return connection.identity
    finally:
        connection.close()
