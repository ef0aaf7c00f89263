"""A simulated bench with drivers on it, for tests: brisk timeouts, a joining and a one-command dialect."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.instruments.catalogue import Catalogue, shipped_catalogue
from benchcheck.instruments.connection import Connection, LinkSettings, connect
from benchcheck.instruments.electronic_load import ElectronicLoad
from benchcheck.instruments.multimeter import MeterRange, Multimeter
from benchcheck.instruments.power_supply import Ceiling, PowerSupply
from benchcheck.simulation.meter_front import MeterFront
from benchcheck.simulation.scpi_server import InstrumentServer, ServedBench
from benchcheck.simulation.supply_front import LoadFront, SupplyFront
from benchcheck.simulation.world import PlainBench

BRISK = {"reply_timeout_ms": 150, "reading_timeout_ms": 250, "identify_timeout_ms": 300, "quiet_ms": 20}
DIALECTS: dict[str, Any] = {
    "brisk": {"link": BRISK},
    "one_by_one": {"link": {**BRISK, "join": "", "token": ""}},
}
CEILING = Ceiling(12.0, 1.0)
TRUTH_OHM = 4680.0


def catalogue() -> Catalogue:
    return shipped_catalogue().extended(DIALECTS)


@dataclass
class Rig:
    bench: PlainBench
    meter: MeterFront
    supply: SupplyFront
    load: LoadFront
    served: ServedBench
    dialect: str = "brisk"
    connections: list[Connection] = field(default_factory=list)
    clock: SystemClock = field(default_factory=SystemClock)

    @property
    def meter_server(self) -> InstrumentServer:
        return self.served.servers[0]

    @property
    def supply_server(self) -> InstrumentServer:
        return self.served.servers[1]

    @property
    def load_server(self) -> InstrumentServer:
        return self.served.servers[2]

    def connect(self, name: str, role: str, server: InstrumentServer, dialect: str | None = None) -> Connection:
        chosen = self.dialect if dialect is None else dialect
        made = connect(name, role, LinkSettings(server.resource, chosen), catalogue(), SystemClock())
        self.connections.append(made)
        return made

    def multimeter(self) -> Multimeter:
        ranges = [MeterRange(Function.OHMS, 10e3, 0.1, 1e-4, 6.0)]
        return Multimeter(self.connect("meter.dmm", "dmm", self.meter_server), ranges)

    def power_supply(self, dialect: str | None = None) -> PowerSupply:
        return PowerSupply(self.connect("supply.psu", "psu", self.supply_server, dialect), CEILING)

    def electronic_load(self) -> ElectronicLoad:
        return ElectronicLoad(self.connect("load.eload", "load", self.load_server), CEILING)


@contextlib.contextmanager
def running_rig(dialect: str = "brisk", **meter: Any) -> Iterator[Rig]:
    bench = PlainBench(probed={Function.OHMS: TRUTH_OHM, Function.DIODE: 0.55, Function.DC_VOLTAGE: 5.0})
    fronts = (MeterFront(bench, settling_s=5e-3, **meter), SupplyFront(bench), LoadFront(bench))
    with ServedBench(fronts) as served:
        rig = Rig(bench, *fronts, served, dialect)
        try:
            yield rig
        finally:
            for connection in rig.connections:
                connection.close()
            wait_until_left(served)


def wait_until_left(served: ServedBench, limit_s: float = 5.0) -> None:
    """Wait for power keepers to end: one that loses its supply amid switching off goes on trying for a minute."""
    clock = SystemClock()
    end_s = clock.monotonic_s() + limit_s
    while any(server.busy for server in served.servers) and clock.monotonic_s() < end_s:
        clock.sleep(0.01)
