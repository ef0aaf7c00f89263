"""The head of a record: who, what, with which instruments and by which rule, known before the first reading."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date as day
from types import MappingProxyType
from typing import Protocol

from benchcheck import __version__
from benchcheck.bench.model import Bench
from benchcheck.checklist.cautions import cautions_for
from benchcheck.checklist.order import Checklist
from benchcheck.record.model import Head, Instrument, Stage
from benchcheck.spec.board import Board

__all__ = ["head_for"]


class _Asked(Protocol):
    @property
    def unit(self) -> str: ...
    @property
    def stage(self) -> str: ...
    @property
    def operator(self) -> str: ...
    @property
    def keep_until(self) -> day | None: ...


def head_for(
    board: Board,
    bench: Bench,
    checklist: Checklist,
    asked: _Asked,
    bench_digest: str,
    versions: tuple[tuple[str, str], ...] = (),
    identities: Mapping[str, str] = MappingProxyType({}),
) -> Head:
    """Return the head of the record of a visit; the journal adds date and parents.

    `versions` are pairs of plugin and version for what had a part in it beside benchcheck itself, `identities`
    what linked instruments say they are. Supplies and loads are named where they are linked.
    """
    named = (*bench.meters, *(name for name in (*bench.supplies, *bench.loads) if name in identities))
    meters = (
        Instrument(name, meter.class_name, identities.get(name, ""), meter.calibration_due)
        for name in named
        if (meter := bench.instrument(name)) is not None
    )
    return Head(
        unit=asked.unit,
        board=board.model,
        revision=board.revision,
        stage=Stage(asked.stage),
        spec_digest=board.digest,
        bench_digest=bench_digest,
        operator=asked.operator,
        ambient_c=board.ambient_c,
        decision_rule=bench.decision.name,
        guard_band=str(bench.decision.guard_band),
        coverage=f"{100 * bench.decision.coverage:g} %",
        instruments=tuple(meters),
        waivers=checklist.waivers,
        cautions=cautions_for(board),
        keep_until=asked.keep_until,
        versions=(("benchcheck", __version__), *versions),
    )
