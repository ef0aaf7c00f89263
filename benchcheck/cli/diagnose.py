"""`benchcheck diagnose`: what is likely wrong after the readings, and where the probes go next."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from textwrap import wrap
from threading import Timer

import click

from benchcheck.cli.of_record import Given, given_by_record, refuse_directory
from benchcheck.cli.options import bench_option, json_option, records_option, refuse_unwritable
from benchcheck.errors import Fault, UsageError
from benchcheck.terminal.wrapping import WIDTH

__all__ = ["diagnose"]

#: after so long without a word a person wonders
_SILENT_S = 2.0
#: a record says what it is within so many characters.
_HEAD = 200


@click.command(
    epilog="""\b
Examples:
  benchcheck diagnose specs/quillmere-kr6.toml \\
    --bench examples/quillmere-kr6/bench.toml --readings examples/quillmere-kr6/three-faults.csv
  benchcheck diagnose records/kr-6/20260131T101500Z-1f0c9a2b.toml"""
)
@click.argument("source", type=click.Path(path_type=Path), metavar="SPEC|RECORD")
@click.option("--readings", type=click.Path(path_type=Path), metavar="FILE", help="A CSV file of readings.")
@bench_option
@json_option
@records_option
def diagnose(source: Path, readings: Path | None, bench: str | None, json_file: Path | None, records: Path) -> int:
    """Say what is likely wrong with a unit, from the readings of a SPEC or of a RECORD, and what to measure next.

    A readings file may also hold readings between any two nets: between.ohms[BSW:LX], red on the first. A value a
    thousand times off is weighed as a slip beside the faults that would make it so.

    Of a damaged record what its seals prove is diagnosed, and what is left out stands first.

    Exit codes: 0 an answer was given, whatever it is; 2 spec, bench, readings, record or usage error, also where no
    reading of a record is proven; 130 interrupted.
    """
    from benchcheck.diagnosis.diagnose import diagnose as diagnosed
    from benchcheck.diagnosis.wording import diagnosis_json, diagnosis_lines
    from benchcheck.shelf import shelf_of_user

    refuse_unwritable(json_file, source, bench or "bench.toml", readings)
    given = _given(source, readings, bench, records)
    patience = Timer(
        _SILENT_S, click.echo, ("weighing what every fault would read on this bench ...",), {"err": True}
    )
    patience.daemon = True
    patience.start()
    try:
        found = diagnosed(given.board, given.bench, given.readings, shelf=shelf_of_user())
    finally:
        patience.cancel()
    if json_file is not None:
        from benchcheck.document import write_atomically

        told = replace(found, remarks=(*given.left_out, *found.remarks))
        write_atomically(json_file, json.dumps(diagnosis_json(told), indent=1, ensure_ascii=False) + "\n")
    for line in (*(f"note: {words}" for words in given.left_out), *diagnosis_lines(found)):
        click.echo("\n".join(_wrapped(line)))
    return 0


def _wrapped(line: str) -> list[str]:
    """Return a line in lines of at most 80 columns, what goes on under what it goes on from."""
    hanging = " " * (10 if line.startswith("  ") else 6)
    return wrap(line, WIDTH, subsequent_indent=hanging, break_long_words=False, break_on_hyphens=False)


def _given(source: Path, readings: Path | None, bench: str | None, records: Path) -> Given:
    if readings is None:
        refuse_directory(source)
        _refuse_no_record(source)
        return given_by_record(source, bench, records)
    from benchcheck.builtin import load_spec
    from benchcheck.diagnosis.between_checks import between_checks, not_between
    from benchcheck.kinds.session_checks import session_checks
    from benchcheck.readings.file import read_readings
    from benchcheck.score.solver import CircuitSolver
    from benchcheck.session.which_bench import bench_from

    board, on = load_spec(source), bench_from(bench)
    known = {check.id: check for check in (*session_checks(), *between_checks(board, on))}
    shown = CircuitSolver(board, on).good_reading
    every = {**known, **board.by_id}
    given = read_readings(
        readings, every, on,
        withheld=board.withheld, on_board=shown, slips=True, between=partial(not_between, board, on),
    )  # fmt: skip
    return Given(board, on, given.readings)


def _refuse_no_record(source: Path) -> None:
    """Raise UsageError for a spec that stands alone and for what is neither spec nor record."""
    from benchcheck.document import read_text_capped
    from benchcheck.record.record import SIZE_LIMIT_BYTES

    start = read_text_capped(source, SIZE_LIMIT_BYTES, error=UsageError)[:_HEAD]
    if "benchcheck_record" in start:
        return
    if source.suffix.casefold() == ".csv":
        message = "is no record; for a file of readings write benchcheck diagnose SPEC --readings FILE"
        raise UsageError(Fault(str(source), "", message))
    raise UsageError(Fault("--readings", str(source), "a spec alone has no readings; give --readings FILE"))
