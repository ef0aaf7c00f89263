"""The built-in kinds, let in through the same hooks a stranger's plugin uses."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

from benchcheck.errors import SpecError
from benchcheck.kinds.catalogue import KINDS
from benchcheck.kinds.part import Kind
from benchcheck.plugins.hookspecs import hookimpl
from benchcheck.plugins.manager import Plugins
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

__all__ = ["BuiltIn", "load_spec", "plugins"]


class BuiltIn:
    """The plugin that is always there."""

    @hookimpl
    def benchcheck_kinds(self) -> tuple[Kind, ...]:
        """Return the kinds of the catalogue."""
        return KINDS


def plugins(*, installed: bool = True) -> Plugins:
    """Return the plugins of one run: the built-ins, and every installed one that can come in."""
    manager = Plugins({"benchcheck_kinds": _kind_faults})
    manager.let_in(BuiltIn(), "built-in")
    if installed:
        manager.let_in_installed()
    return manager


def load_spec(path: Path, manager: Plugins | None = None) -> Board:
    """Return the board of a spec file, with the kinds of every plugin that could be let in.

    `manager` is that of the run, a new one by default. Raises SpecError or DocumentError with every fault of the
    file, and says which plugins were left out.
    """
    manager = manager or plugins()
    try:
        return load_board(path, manager.handed("benchcheck_kinds"))
    except SpecError as error:
        raise SpecError((*error.faults, *manager.left_out)) from error


def _kind_faults(offered: Any, present: tuple[Any, ...]) -> tuple[str, ...]:
    strangers = [thing for thing in offered if not isinstance(thing, Kind)]
    faults = [f"{thing!r} is not a benchcheck.kinds.part.Kind" for thing in strangers]
    names = Counter(kind.name for kind in (*present, *offered) if isinstance(kind, Kind))
    faults.extend(
        f'kind "{name}" is there already; choose another name' for name, count in names.items() if count > 1
    )
    return tuple(faults)
