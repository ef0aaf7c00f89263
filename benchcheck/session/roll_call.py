"""Who is on the bench and answers: each instrument asked for its identity and the errors waiting, nothing set.

One that does not answer hides none of the others: it is listed with what is wrong. Reading the error queue empties
it, as the standard has it, so what is listed here is listed once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from benchcheck.bench.meter import Link
from benchcheck.bench.model import Bench
from benchcheck.clock import Clock
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.instruments.catalogue import Catalogue
from benchcheck.instruments.connection import connect
from benchcheck.instruments.electronic_load import ElectronicLoad
from benchcheck.instruments.from_bench import is_stream, link_settings, streaming_meter
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.instruments.power_supply import Ceiling, PowerSupply

__all__ = ["Present", "roll_call"]

_NO_CEILING = Ceiling(0.0, 0.0)  # nothing is set in a roll call


@dataclass(frozen=True, slots=True)
class Present:
    """One instrument: its table in the bench file, what it is, how it is reached, and what it said.

    `resource` is "" where it has no link; `trouble` says why a linked one did not answer as it should, and
    `exit_code` what that comes to (2 a bench that does not fit, 4 an instrument that does not answer).
    """

    table: str
    kind: str
    resource: str = ""
    identity: str = ""
    known: bool = True
    errors: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    trouble: str = ""
    exit_code: int = 0


def roll_call(bench: Bench, catalogue: Catalogue, clock: Clock) -> Iterator[Present]:
    """Yield every instrument of a bench in file order: meters, supplies, loads."""
    for name, meter in bench.meters.items():
        yield _asked(f"meter.{name}", meter.class_name or "own ranges", "dmm", meter.link, catalogue, clock)
    for name, supply in bench.supplies.items():
        ceiling = f"supply, at most {supply.ceiling.voltage_v:g} V and {supply.ceiling.current_a:g} A"
        yield _asked(f"supply.{name}", ceiling, "psu", supply.link, catalogue, clock, supply.channel)
    for name, load in bench.loads.items():
        yield _asked(f"load.{name}", "electronic load", "load", load.link, catalogue, clock, load.channel)


def _asked(
    table: str, kind: str, role: str, link: Link | None, catalogue: Catalogue, clock: Clock, channel: int = 1
) -> Present:
    if link is None:
        return Present(table, kind)
    try:
        if is_stream(link):
            streaming_meter(table, link, clock).close()
            return Present(table, kind, link.resource, notes=("streams its readings; it says nothing of itself",))
        return _introduced(table, kind, role, link, catalogue, clock, channel)
    except (BenchError, InstrumentError) as reason:
        return Present(table, kind, link.resource, trouble=str(reason), exit_code=reason.exit_code)


def _introduced(
    table: str, kind: str, role: str, link: Link, catalogue: Catalogue, clock: Clock, channel: int
) -> Present:
    connection = connect(table, role, link_settings(link), catalogue, clock)
    try:
        if role == "dmm":
            notes = Multimeter(connection).notes
        elif role == "psu":
            notes = PowerSupply(connection, _NO_CEILING, channel).notes
        else:
            notes = ElectronicLoad(connection, _NO_CEILING, channel).notes
        errors = tuple(map(str, connection.errors))
        return Present(table, kind, link.resource, connection.identity, connection.known, errors, tuple(notes))
    finally:
        connection.close()
