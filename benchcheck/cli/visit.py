"""A visit for the command line: pytest runs it, with our own screen in place of pytest's reports.

It is a run of its own: options, plugins and conftest files that happen to lie around are not for it.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchcheck import pytest_plugin
from benchcheck.builtin import load_spec, plugins
from benchcheck.checklist.select import select
from benchcheck.errors import BenchcheckError, Fault, UsageError, VisitInterrupted, close_match
from benchcheck.kinds.between import NOT_OF_A_VISIT, is_between
from benchcheck.plugins.manager import Plugins
from benchcheck.score.explain import explain
from benchcheck.session.run import Report, Request
from benchcheck.spec.board import Board
from benchcheck.terminal.app import conduct_on_screen
from benchcheck.terminal.manner import Manner
from benchcheck.terminal.screen import Screen

__all__ = ["run_visit"]

#: what pytest brings along and a visit has no use for; each costs time per check.
_NOT_NEEDED = (
    "cacheprovider", "debugging", "doctest", "faulthandler", "junitxml", "legacypath", "logging", "pastebin",
    "pytester", "setuponly", "setupplan", "skipping", "stepwise", "subtests", "terminal", "threadexception",
    "unittest", "unraisableexception", "warnings",
)  # fmt: skip


class _Run:
    """The plugin that gives one pytest run its board, its conductor and its selection."""

    def __init__(
        self,
        board: Board,
        request: Request,
        wanted: tuple[str, ...] | None,
        screen: Screen,
        manager: Plugins,
        manner: Manner,
    ) -> None:
        self.errors: list[BenchcheckError] = []
        self.report: Report | None = None
        self.stumble: BaseException | None = None
        self._board = board
        self._wanted = wanted
        self._conduct = conduct_on_screen(request, screen=screen, plugins=manager, manner=manner)
        self._shown, self._conduct.done = self._conduct.done, self._done

    def _done(self, report: Report) -> None:
        self.report = report
        self._shown(report)

    @pytest.hookimpl(tryfirst=True)
    def pytest_configure(self, config: pytest.Config) -> None:
        """Put what this run needs where the plugin looks for it."""
        config.stash[pytest_plugin.BOARD] = self._board
        config.stash[pytest_plugin.CONDUCT] = self._conduct
        config.stash[pytest_plugin.HELD] = self.errors

    def pytest_collection_modifyitems(self, config: pytest.Config, items: list[pytest.Item]) -> None:
        """Keep the checks that were asked for."""
        if self._wanted is not None:
            wanted = frozenset(self._wanted)
            left_out = [item for item in items if item.name not in wanted]
            items[:] = [item for item in items if item.name in wanted]
            config.hook.pytest_deselected(items=left_out)

    def pytest_internalerror(self, excinfo: pytest.ExceptionInfo[BaseException]) -> bool:
        """Keep what nobody expected, to be raised where it is seen."""
        self.stumble = excinfo.value
        return True


def run_visit(
    spec: Path,
    request: Request,
    *,
    only: str | None = None,
    explain_check: str | None = None,
    manner: Manner | None = None,
) -> Report:
    """Carry out a visit and return its report; raises the error that kept it from being one."""
    screen = Screen()
    manager = plugins()
    board = load_spec(spec, manager)
    wanted = select(board, only) if only is not None else None
    _refuse_unknown(board, explain_check)
    run = _Run(board, request, wanted, screen, manager, manner or Manner(linear=True, silent=True))
    code = _pytest(spec, run)
    if run.errors:
        raise run.errors[0]
    if run.stumble is not None:
        raise run.stumble
    if run.report is None:
        if code == pytest.ExitCode.INTERRUPTED:
            raise VisitInterrupted("stopped before the visit had a result; what was accepted is kept")
        raise UsageError(Fault(str(spec), "", "the spec gives no checks; describe parts, rails or a supply in it"))
    if explain_check:
        _show_budget(screen, run.report, explain_check)
    return run.report


def _pytest(spec: Path, run: _Run) -> int | pytest.ExitCode:
    folder = str(spec.resolve().parent)
    arguments = [str(spec), "-c", os.devnull, "--rootdir", folder, "--confcutdir", folder, "--noconftest"]
    for name in _NOT_NEEDED:
        arguments += ["-p", f"no:{name}"]
    with _without_options_of_others():
        return pytest.main([*arguments, "--disable-plugin-autoload"], plugins=[pytest_plugin, run])


@contextlib.contextmanager
def _without_options_of_others() -> Iterator[None]:
    """Hide what the environment gives to every pytest run from this one."""
    taken = {name: os.environ.pop(name, None) for name in ("PYTEST_ADDOPTS", "PYTEST_PLUGINS")}
    try:
        yield
    finally:
        os.environ.update({name: value for name, value in taken.items() if value is not None})


def _refuse_unknown(board: Board, check: str | None) -> None:
    if check is not None and check not in board.by_id:
        hint = close_match(check, board.by_id) or "; check-spec lists the board's checks"
        missing = NOT_OF_A_VISIT if is_between(check) else "the board has no such check"
        raise UsageError(Fault("--explain", check, missing + hint))


def _show_budget(screen: Screen, report: Report, check_id: str) -> None:
    score = next((score for score in report.scores if score.check == check_id), None)
    if score is None:
        screen.tell(f"{check_id} was not scored in this run")
        return
    screen.heading(f"{check_id}, how it was decided")
    for line in explain(score, report.checklist.board.by_id[check_id], report.bench.decision):
        screen.tell(line)
