"""Opening a spec for a command that only looks at it: plugins that had to be left out are named beside the output."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchcheck.builtin import load_spec, plugins
from benchcheck.terminal.wrapping import wrapped

if TYPE_CHECKING:
    from benchcheck.plugins.manager import Plugins
    from benchcheck.spec.board import Board

__all__ = ["open_spec", "opened_plugins"]


def open_spec(path: Path, manager: Plugins | None = None) -> Board:
    """Return the board of a spec; says on standard error which installed plugins were left out, and why."""
    return load_spec(path, manager or opened_plugins())


def opened_plugins() -> Plugins:
    """Return the plugins of this run; says on standard error which were left out, and why."""
    manager = plugins()
    for fault in manager.left_out:
        click.echo("\n".join(wrapped(f"left out: {fault}", "", "    ")), err=True)
    return manager
