"""Every kind of misbehaviour against every driver operation, counted: right, refused, wrong.

Once at the first answer, once at the second, and for ever; with joined messages and one command at a time. Takes
about twenty minutes; `python -m tests.benchmarks.instrument_faults brisk 1 0` runs one variant.
"""

from __future__ import annotations

import sys

from benchcheck.simulation.misbehaviour import Kind
from tests.instruments.fault_matrix import OPERATIONS, run_matrix

VARIANTS = ((1, 0), (1, 1), (-1, 0))


def main() -> None:
    words = sys.argv[1:]
    chosen = words if len(words) == 3 and words[0] in ("brisk", "one_by_one") else []
    dialects = (chosen[0],) if chosen else ("brisk", "one_by_one")
    variants = ((int(chosen[1]), int(chosen[2])),) if chosen else VARIANTS
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
