"""The bench behind `--bench simulated`: what a small workshop owns; links are added when it is served."""

from __future__ import annotations

from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.errors import BenchError

__all__ = ["SIMULATED_BENCH", "default_bench"]

SIMULATED_BENCH = """\
benchcheck_bench = 1
[meter.dmm]
class = "bench-5.5"
leads = { nulled = true }
[meter.esrmeter]
class = "esr-meter"
[supply.psu]
ceiling = { voltage = "12 V", current = "1 A" }
[load.eload]
[use]
esr = "esrmeter"
"""


def default_bench() -> Bench:
    """Return the simulated bench: a 5.5-digit meter with nulled leads, an ESR meter, supply and load."""
    return load_bench(parse_document(SIMULATED_BENCH, "simulated bench", error=BenchError))
