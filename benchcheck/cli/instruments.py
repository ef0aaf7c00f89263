"""`benchcheck instruments`: what the bench file names, who answers there, and how leads and meters check out."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.cli.options import bench_option, records_option

if TYPE_CHECKING:
    from benchcheck.bench.model import Bench
    from benchcheck.instruments.catalogue import Catalogue
    from benchcheck.session.instrumented import InstrumentedSource
    from benchcheck.session.roll_call import Present
    from benchcheck.terminal.screen import Screen

__all__ = ["instruments"]


@click.command(
    epilog="""\b
Examples:
  benchcheck instruments
  benchcheck instruments --bench simulated --self-check
  benchcheck instruments --bench examples/quillmere-kr6/bench.toml --find"""
)
@bench_option
@click.option(
    "--self-check", "checks", is_flag=True, help="Also check leads and meter: shorted, resistor, diode, cell."
)
@click.option("--find", is_flag=True, help="Also look for instruments nobody configured.")
@records_option
def instruments(bench: str | None, checks: bool, find: bool, records: Path) -> int:
    """List what is on the bench: what is configured, who answers there, errors waiting.

    No output, range or level is set or switched; error registers are read and cleared. Nothing is looked for that
    the bench file does not name unless --find asks.
    Exit codes: 0 all is well; 1 a meter failed its own check; 2 the bench file does not fit what answers; 4 an
    instrument does not answer.
    """
    from benchcheck.builtin import catalogue
    from benchcheck.cli.opening import opened_plugins
    from benchcheck.terminal.screen import Screen

    screen, known = Screen(), catalogue(opened_plugins())
    with _at(bench) as (there, hands_free):
        codes = [_called(there, known, screen)]
        if checks and not max(codes):
            codes.append(_self_checked(there, known, hands_free, records, screen))
    if find:
        _found(screen)
    return max(codes)


@contextlib.contextmanager
def _at(bench: str | None) -> Iterator[tuple[Bench, InstrumentedSource | None]]:
    """Yield the bench, and what reads it hands-free where it is simulated."""
    from benchcheck.session.which_bench import SIMULATED, bench_from

    named = bench_from(bench)
    if bench != SIMULATED:
        yield named, None
        return
    from benchcheck.session.simulated import bare_board, simulated_bench, simulated_source

    with simulated_bench(bare_board(), named) as served:
        yield served.bench, simulated_source(served)


def _called(bench: Bench, known: Catalogue, screen: Screen) -> int:
    from benchcheck.clock import SystemClock
    from benchcheck.session.roll_call import roll_call

    code = 0
    for one in roll_call(bench, known, SystemClock()):
        screen.tell(f"{one.table}  {one.kind}")
        for line in _said(one):
            screen.paragraph(line, "    ", "      ")
        code = max(code, one.exit_code)
    return code


def _said(one: Present) -> Iterator[str]:
    if not one.resource:
        yield "no link: its display is read and typed"
        return
    yield f"at {one.resource}"
    if one.trouble:
        yield f"TROUBLE: {one.trouble}"
        return
    if one.identity:
        yield f'answers as "{one.identity}"'
        yield "; ".join(("errors waiting", *one.errors)) if one.errors else "no errors waiting"
    if not one.known:
        yield 'of no family known here: read, never driven; name its dialect, such as dialect = "generic"'
    yield from one.notes


def _self_checked(
    bench: Bench, known: Catalogue, hands_free: InstrumentedSource | None, records: Path, screen: Screen
) -> int:
    """Have the meter's own checks taken, and show what they make and how they drift."""
    from benchcheck.session.meter_check import meter_check
    from benchcheck.terminal.instrument_prompts import person_source

    source = hands_free or person_source(bench, known, screen)
    failed = False
    screen.heading("the meters' own checks; a visit keeps them, this does not")
    for check, score, drifted in meter_check(source, bench, records):
        if score is not None:
            screen.scored(check, score, 0, 0)
            failed = failed or score.verdict in ("fail", "conditional fail")
        screen.paragraph(f"{check.id}: {drifted}", "    ", "      ")
    return int(failed)


def _found(screen: Screen) -> None:
    from benchcheck.instruments.visa import resources_found

    screen.heading("found, as the VISA library lists them")
    for resource in resources_found():
        screen.tell(f"  {resource}")
    screen.paragraph(
        "None of them was asked anything; put one under link in the bench file to use it. Instruments on the network "
        "often do not show: write their address.",
        "  ",
    )
