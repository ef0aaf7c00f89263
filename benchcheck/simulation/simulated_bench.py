"""A whole simulated bench: a virtual unit behind a meter, a supply and a load on real sockets, and a hand.

The instruments speak SCPI on the loopback interface, so everything runs through the same links as with real ones.
Their ranges and errors are those of the bench's own meter, the supply gives what the bench's ceiling allows.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from types import TracebackType

from benchcheck.bench.meter import Link, Meter
from benchcheck.bench.model import Bench, Ceiling
from benchcheck.bench.simulated import SIMULATED_BENCH, default_bench
from benchcheck.clock import Clock
from benchcheck.simulation.hand import SimulatedHand
from benchcheck.simulation.meter_error import leads_ohm
from benchcheck.simulation.meter_front import MeterFront, MeterRange
from benchcheck.simulation.misbehaviour import Misbehaviour
from benchcheck.simulation.scpi_server import InstrumentServer, ServedBench
from benchcheck.simulation.supply_front import LoadFront, ReadBack, SupplyFront
from benchcheck.simulation.virtual_unit import VirtualUnit
from benchcheck.spec.board import Board

__all__ = ["SimulatedBench", "fragment_of", "front_ranges"]

DIALECT = "generic"
#: how much faster than life charge moves, so that a visit takes seconds; a user who practises sets it to 1.
USUAL_PACE = 400.0
_READING_S, _SETTLING_S = 1e-3, 2e-3
_USUAL_CEILING = Ceiling(30.0, 3.0)
_ROLES = ("meter", "supply", "load")


class SimulatedBench:
    """A context in which the bench is served; `bench` has the links, `unit` is measured, `hand` moves probes.

    `ports` for meter, supply and load (0: any free one). `misbehaviour`: pairs of "meter", "supply" or "load" and
    what it does wrong; `servers` takes more of it while serving.
    """

    def __init__(
        self,
        board: Board,
        faults: Iterable[str] = (),
        seed: int = 0,
        ports: Sequence[int] = (0, 0, 0),
        misbehaviour: Sequence[tuple[str, Misbehaviour]] = (),
        *,
        bench: Bench | None = None,
        pace: float = USUAL_PACE,
        clock: Clock | None = None,
    ) -> None:
        """Build unit and instruments; UsageError for faults the board cannot have. Nothing is served yet."""
        self._given = _unlinked(bench or default_bench())
        meter, self.names = _of(self._given)
        self.unit = VirtualUnit(board, faults, seed, pace=pace, leads_ohm=leads_ohm(meter, seed))
        self.meter = MeterFront(
            self.unit,
            ranges=front_ranges(meter),
            reading_time_s=_READING_S,
            settling_s=_SETTLING_S,
            seed=seed,
            name=meter.name,
        )
        ceiling = next((one.ceiling for one in self._given.supplies.values()), _USUAL_CEILING)
        self.supply = SupplyFront(
            self.unit,
            maximum_volt=1.5 * ceiling.voltage_v,
            maximum_ampere=1.5 * ceiling.current_a,
            readback=self._readback(self.names[1], seed),
        )
        self.load = LoadFront(self.unit, readback=self._readback(self.names[2], seed))
        self.served = ServedBench((self.meter, self.supply, self.load), clock, ports)
        for role, fault in misbehaviour:
            self.servers[_ROLES.index(role)].faults.append(fault)
        self.bench = self._given
        self.hand = SimulatedHand(self.unit, self._given, self.meter.probes_moved)

    def _readback(self, name: str, seed: int) -> ReadBack:
        """Return how the supply or load of a name reads itself back, as the bench specifies it."""
        meter = self._given.instrument(name) if name else None
        return ReadBack(front_ranges(meter) if meter is not None else (), seed, name)

    @property
    def servers(self) -> tuple[InstrumentServer, ...]:
        """The servers of meter, supply and load."""
        return self.served.servers

    @property
    def resources(self) -> tuple[str, ...]:
        """The VISA resources of meter, supply and load, once served."""
        return tuple(server.resource for server in self.servers)

    def __enter__(self) -> SimulatedBench:
        """Serve; OSError when a port is taken."""
        self.unit.foresee_power()
        self.served.__enter__()
        links = {
            name: Link(resource, DIALECT) for name, resource in zip(self.names, self.resources, strict=True) if name
        }
        self.bench = self._given.linked(links)
        self.hand.bench = self.bench
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop serving."""
        self.served.__exit__(kind, error, trace)


def _of(bench: Bench) -> tuple[Meter, tuple[str, str, str]]:
    """Return the meter that is served, and the names of meter, supply and load: the first of each, "" for none."""
    meter = next(iter(bench.meters.values()))
    return meter, (meter.name, next(iter(bench.supplies), ""), next(iter(bench.loads), ""))


def _unlinked(bench: Bench) -> Bench:
    """Return the bench with no link to anything real."""
    return replace(
        bench,
        meters={name: replace(one, link=None) for name, one in bench.meters.items()},
        supplies={name: replace(one, link=None) for name, one in bench.supplies.items()},
        loads={name: replace(one, link=None) for name, one in bench.loads.items()},
    )


def front_ranges(meter: Meter) -> tuple[MeterRange, ...]:
    """Return a meter's ranges as its simulated front has them, the whole limit of error in fraction and digits."""
    return tuple(
        MeterRange(
            one.function,
            one.full_scale,
            one.resolution,
            one.accuracy.of_reading,
            one.accuracy.counts + one.accuracy.of_range * one.full_scale / one.resolution,
            one.test_current_a or 0.0,
            one.compliance_v or 0.0,
            one.frequency_hz or 0.0,
            one.over_range,
        )
        for one in meter.ranges
    )


def fragment_of(names: Sequence[str], resources: Sequence[str], own: bool = False) -> str:
    """Return what to put into a bench file to reach served instruments; for an `own` bench the links alone."""
    links = [f'link = {{ resource = "{resource}", dialect = "{DIALECT}" }}' for resource in resources]
    if own:
        tables = zip(_ROLES, names, links, strict=True)
        return "\n".join(f"[{role}.{name}]\n{link}" for role, name, link in tables if name)
    text = SIMULATED_BENCH
    for table, link in zip(("[meter.dmm]", "[supply.psu]", "[load.eload]"), links, strict=True):
        text = text.replace(table, f"{table}\n{link}")
    return text.strip()
