"""All figures, printed as ratios in one run on one machine: `python -m tests.benchmarks`.

Each benchmark prints its rows as they come, the peer's figure beside ours; at the end they stand in one table. These
are measurements, not tests: nothing here passes or fails, and a busy machine shows in them, so its load is printed.

    python -m tests.benchmarks --list             what there is, and how long it takes
    python -m tests.benchmarks --only score_cost,sheet_cost
    python -m tests.benchmarks --all              with the campaigns that count cases for a long while
"""

from __future__ import annotations

import argparse
import importlib
import os
import platform
import sys
import time

from tests.benchmarks.registry import Benchmark, chosen, discovered
from tests.benchmarks.rows import ROWS, table


def main() -> None:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does, before numpy is there
    benchmarks = discovered()
    asked = _asked()
    names = [*asked.names, *filter(None, asked.only.split(","))]
    try:
        wanted = chosen(benchmarks, names, asked.all)
    except ValueError as error:
        sys.exit(str(error))
    if asked.list:
        for one in benchmarks:
            print(f"{one.name:22s}{one.minutes:5g} min  {'campaign  ' if one.campaign else ''}{one.about}")
        return
    print(f"Python {platform.python_version()}, {platform.machine()}, {platform.system()}, {os.cpu_count()} cores")
    print(f"{len(wanted)} benchmarks, about {sum(one.minutes for one in wanted):g} minutes; load {_load()}")
    failed = [one.name for one in wanted if not _ran(one)]
    print(f"\nAll rows; load {_load()}")
    for line in table(ROWS):
        print(line)
    if failed:
        sys.exit(f"stopped by an error: {', '.join(failed)}")


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Print figures beside a peer's.")
    parser.add_argument("names", nargs="*", metavar="NAME", help="benchmarks to run; those that measure rows if none")
    parser.add_argument("--only", default="", metavar="NAMES", help="the same, comma separated")
    parser.add_argument("--all", action="store_true", help="campaigns as well")
    parser.add_argument("--list", action="store_true", help="say what there is and how long it takes")
    return parser.parse_args()


def _ran(one: Benchmark) -> bool:
    """Run one benchmark in this process; an error ends it and is told, the others go on."""
    print(f"\n{one.name.replace('_', ' ')} (about {one.minutes:g} min): {one.about}", flush=True)
    began_s, given = time.perf_counter(), sys.argv
    sys.argv = [f"{one.name}.py"]  # a benchmark's own arguments are for when it is run by itself
    try:
        importlib.import_module(f"tests.benchmarks.{one.name}").main()
    except Exception as error:
        print(f"  stopped: {type(error).__name__}: {error}")
        return False
    finally:
        sys.argv = given
        print(f"  took {time.perf_counter() - began_s:.0f} s", flush=True)
    return True


def _load() -> str:
    return " ".join(f"{one:.1f}" for one in os.getloadavg()) if hasattr(os, "getloadavg") else "unknown"


if __name__ == "__main__":
    main()
