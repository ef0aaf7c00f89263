"""Compare what README's main command did with what README says it does: exit code, tally, record.

Run in the copy where the command ran, with its exit code as the argument.
"""

from __future__ import annotations

import pathlib
import re
import sys

from benchcheck.record.record import Record
from benchcheck.record.store import read_record


def _inrush_undecided(record: Record) -> bool:
    return any(one.check == "BATT.inrush_time" and one.verdict == "undecided" for one in record.scores)


def main(exit_code: str) -> None:
    """Exit with a message where README and the run disagree."""
    readme = pathlib.Path("README.md").read_text("utf-8")
    said = re.search(r"The first ends with exit code (\d+)", readme)
    row = re.search(r"\| `--bench simulated` \|[^|]*\| (\d+) \| ([^|]*?) \|", readme)
    if said is None or row is None:
        sys.exit("README.md no longer says how the main command ends")
    records = list(pathlib.Path("records").glob("*/*.toml"))
    visits = [path for path in records if path.parent.name != "sources"]
    if len(visits) != 1:
        sys.exit(f"the main command left {len(visits)} records; it must leave one")
    record = read_record(visits[0])
    result = record.result
    if result is None or not record.sealed or record.problems:
        sys.exit(f"{visits[0]}: the record is not whole: {record.problems}")
    counts = dict(result.counts)
    if _inrush_undecided(record):  # honest on a machine too busy to poll often enough
        print("BATT.inrush_time was polled too seldom to be scored here")
        counts["pass"], counts["undecided"] = counts["pass"] + 1, counts["undecided"] - 1
    tally = ", ".join(f"{count} {word}" for word, count in sorted(counts.items()))
    found = (exit_code, str(result.exit_code), tally)
    wanted = (said[1], row[1], row[2])
    if found != wanted:
        sys.exit(f"README says {wanted}, the run gave {found}")
    print(f"as README says: exit code {exit_code}, {tally}, one record, sealed")


if __name__ == "__main__":
    main(sys.argv[1])
