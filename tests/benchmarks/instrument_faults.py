"""Every kind of misbehaviour against every driver operation, counted: right, refused, wrong.

Once at the first answer, with joined messages (four minutes). `python -m tests.benchmarks.instrument_faults all` adds
the second answer and every answer, and one command a message (an hour); `... one_by_one 1 1` runs that variant alone.
"""

from __future__ import annotations

import sys

from benchcheck.simulation.misbehaviour import Kind
from tests.instruments.fault_matrix import OPERATIONS, run_matrix

CAMPAIGN = True
MINUTES = 4
VARIANTS = ((1, 0), (1, 1), (-1, 0))


def main() -> None:
    words = sys.argv[1:]
    chosen = words if len(words) == 3 and words[0] in ("brisk", "one_by_one") else []
    every = "all" in words
    dialects = (chosen[0],) if chosen else ("brisk", "one_by_one") if every else ("brisk",)
    variants = ((int(chosen[1]), int(chosen[2])),) if chosen else VARIANTS if every else VARIANTS[:1]
    print(f"  {len(Kind)} kinds of misbehaviour x {len(OPERATIONS)} driver operations")
    for dialect in dialects:
        for times, skip in variants:
            tally = run_matrix(Kind, OPERATIONS, ((times, skip),), dialect)
            how = "for ever" if times < 0 else "once"
            print(f"  {dialect}, {how} after {skip} answers: {sum(tally.counts.values())} cases")
            for outcome, count in tally.counts.most_common():
                print(f"    {count:5d} {outcome}")
            for fault in tally.faults:
                print(f"    {fault}")


if __name__ == "__main__":
    main()
