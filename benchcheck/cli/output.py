"""Files that commands write where they are told, refused before any work where they cannot stand."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click

from benchcheck.errors import Fault, UsageError

__all__ = ["refuse_output", "say"]


def refuse_output(option: str, target: Path | None, inputs: Iterable[Path] = ()) -> None:
    """Raise UsageError where a file cannot stand, or would replace one that is read here."""
    if target is None:
        return
    if not target.parent.is_dir():
        message = f"there is no directory {target.parent}; create it or choose another place"
        raise UsageError(Fault(option, str(target), message))
    if target.is_dir():
        raise UsageError(Fault(option, str(target), "is a directory; name a file in it"))
    if any(target.exists() and one.exists() and target.samefile(one) for one in inputs):
        raise UsageError(Fault(option, str(target), "is one of the files read here; choose another name"))


def say(lines: Iterable[str]) -> None:
    """Print lines on standard output."""
    for line in lines:
        click.echo(line)
