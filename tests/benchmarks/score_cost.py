"""What scoring one check costs, against one `uncertainties` evaluation of the same model (reach: that + 100 us)."""

from __future__ import annotations

import time
from collections.abc import Callable

from uncertainties import ufloat

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Limits, Phase, Probe
from benchcheck.quantity import parse_display
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.judge import judge
from tests.benchmarks.rows import row

ROUNDS, CALLS = 25, 200


def bench() -> Bench:
    text = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "handheld-6000"\n'
    return load_bench(parse_document(text, "bench.toml"))


def least_us(*calls: Callable[[], object]) -> tuple[float, ...]:
    """Return the least time of each call in microseconds, taken in turn: what else runs can only add to it."""
    rounds: list[list[float]] = []
    for _ in range(ROUNDS):
        rounds.append([])
        for call in calls:
            started = time.perf_counter()
            for _ in range(CALLS):
                call()
            rounds[-1].append((time.perf_counter() - started) / CALLS)
    return tuple(min(column) * 1e6 for column in zip(*rounds, strict=True))


def by_uncertainties() -> object:
    """The reading, less the leads, with accuracy, digits and temperature: one linear model of four inputs."""
    shown, accuracy = ufloat(4680.0, 2.887), ufloat(0.0, 23.4)
    leads, warmth = ufloat(0.2, 0.03), ufloat(1.0, 1e-4)
    value = (shown + accuracy) * warmth - leads
    return value.std_dev


def main() -> None:
    check = Check(
        "R1.resistance",
        "R1",
        "resistance",
        Function.OHMS,
        "ohm",
        Phase.PARTS,
        Limits(4653.0, 4747.0),
        expected=4700.0,
        red=Probe("R1 lead 1"),
        black=Probe("R1 lead 2"),
    )
    on, session = bench(), Session(leads_ohm=0.2)
    taken = [Reading(check.id, parse_display("4.68k", "ohm"), "ohm", Origin.TYPED)]
    ours, peer = least_us(lambda: judge(check, taken, on, session), by_uncertainties)
    reach = peer + 100.0
    row("scoring one check", ours * 1e-6, "one uncertainties evaluation + 100 us", reach * 1e-6, 1.0)


if __name__ == "__main__":
    main()
