"""Every hook benchcheck calls. No hook can change a verdict or a stored reading; notices get frozen copies.

Four hooks hand something over when a plugin is let in: kinds of part, dialects, sources of readings, reports. Three
notices say what has happened, each with one argument that nothing else looks at any more. The classes to build on
are named in each docstring; DEVELOPERS.md shows a whole plugin, `examples/plugin` is one to install.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import pluggy

if TYPE_CHECKING:
    from benchcheck.checklist.order import Checklist
    from benchcheck.instruments.dialect_table import DialectTable
    from benchcheck.kinds.part import Kind
    from benchcheck.report.offer import Report
    from benchcheck.score.model import Score
    from benchcheck.session.sources import ReadingSource

__all__ = ["NAMESPACE", "RecordWritten", "hookimpl", "hookspec"]

NAMESPACE = "benchcheck"
hookspec = pluggy.HookspecMarker(NAMESPACE)
hookimpl = pluggy.HookimplMarker(NAMESPACE)


@dataclass(frozen=True, slots=True)
class RecordWritten:
    """A record that is complete on disk: its file, and the seal of its last block."""

    path: Path
    last_seal: str


@hookspec
def benchcheck_kinds() -> Iterable[Kind]:
    """Return the part kinds the plugin adds, each a `benchcheck.kinds.part.Kind` with a name of its own."""
    raise NotImplementedError


@hookspec
def benchcheck_dialects() -> Iterable[DialectTable]:
    """Return the instrument dialects the plugin adds, each a `benchcheck.instruments.dialect_table.DialectTable`."""
    raise NotImplementedError


@hookspec
def benchcheck_sources() -> Iterable[ReadingSource]:
    """Return the sources of readings the plugin adds, each a `benchcheck.session.sources.ReadingSource`."""
    raise NotImplementedError


@hookspec
def benchcheck_reports() -> Iterable[Report]:
    """Return the reports the plugin adds, each a `benchcheck.report.offer.Report`."""
    raise NotImplementedError


@hookspec
def benchcheck_checklist_ready(checklist: Checklist) -> None:
    """Notice: the checklist of a visit stands, before the first check is asked (`Checklist`)."""


@hookspec
def benchcheck_check_scored(score: Score) -> None:
    """Notice: a check was scored (`Score`); after an undo or a second reading it comes again."""


@hookspec
def benchcheck_record_written(record: RecordWritten) -> None:
    """Notice: the record of a visit is complete on disk (`RecordWritten`)."""
