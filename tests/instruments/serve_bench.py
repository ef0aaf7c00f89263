"""Serve a simulated bench from a process of its own until its standard input ends; prints the resources first."""

from __future__ import annotations

import sys

from benchcheck.bench.functions import Function
from benchcheck.simulation.meter_front import MeterFront
from benchcheck.simulation.scpi_server import ServedBench
from benchcheck.simulation.supply_front import LoadFront, SupplyFront
from benchcheck.simulation.world import PlainBench


def main() -> None:
    bench = PlainBench(probed={Function.OHMS: 4680.0, Function.DC_VOLTAGE: 5.0, Function.DIODE: 0.55})
    reading_time_s = float(sys.argv[1]) if len(sys.argv) > 1 else 0.002
    identities = sys.argv[2:]
    fronts = [MeterFront(bench, reading_time_s=reading_time_s), SupplyFront(bench), LoadFront(bench)]
    for front, identity in zip(fronts, identities, strict=False):
        front.identity = identity
    with ServedBench(fronts) as served:
        print(" ".join(server.resource for server in served.servers), flush=True)
        sys.stdin.read()


if __name__ == "__main__":
    main()
