"""Every hook benchcheck calls. No hook can change a verdict or a stored reading; notices get frozen values."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pluggy

if TYPE_CHECKING:
    from collections.abc import Iterable

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
def benchcheck_kinds() -> Iterable[Any]:
    """Return the part kinds the plugin adds, each a `benchcheck.kinds.part.Kind`."""
    raise NotImplementedError


@hookspec
def benchcheck_dialects() -> Iterable[Any]:
    """Return the instrument dialects the plugin adds."""
    raise NotImplementedError


@hookspec
def benchcheck_sources() -> Iterable[Any]:
    """Return the sources of readings the plugin adds."""
    raise NotImplementedError


@hookspec
def benchcheck_reports() -> Iterable[Any]:
    """Return the reports the plugin adds."""
    raise NotImplementedError


@hookspec
def benchcheck_checklist_ready(checklist: Any) -> None:
    """Notice: the checklist of a visit stands, before the first check is asked (`Checklist`)."""


@hookspec
def benchcheck_check_scored(score: Any) -> None:
    """Notice: a check was scored (`Score`); after an undo or a second reading it comes again."""


@hookspec
def benchcheck_record_written(record: Any) -> None:
    """Notice: the record of a visit is complete on disk (`RecordWritten`)."""
