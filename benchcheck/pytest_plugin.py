"""The pytest plugin: spec files become test files, their checks test items (`pytest specs/x.toml --unit ...`).

A running test item cannot be undone or asked again, so the visit comes first: `pytest_runtestloop` has the
session conduct every selected check, then the items replay the final scores. This module imports nothing
of benchcheck until a spec file is met, so that other people's test runs do not pay for it.
"""

from __future__ import annotations

import argparse
import re
import warnings
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from datetime import date as day
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from benchcheck.errors import BenchcheckError
    from benchcheck.kinds.check import Check
    from benchcheck.plugins.manager import Plugins
    from benchcheck.score.model import Score
    from benchcheck.session.run import Conduct
    from benchcheck.spec.board import Board

__all__ = [
    "CheckFailedError",
    "CheckItem",
    "ConditionalPassWarning",
    "SpecFile",
    "capture_suspended",
    "told",
    "warn_of",
]

#: what conducts the visit, and where its errors are held, when a command runs pytest rather than a user.
CONDUCT = pytest.StashKey["Conduct"]()
HELD = pytest.StashKey[list["BenchcheckError"]]()
#: a board that was loaded already, and the plugins of the run.
BOARD = pytest.StashKey["Board"]()
PLUGINS: pytest.StashKey[Plugins] = pytest.StashKey()


class ConditionalPassWarning(UserWarning):
    """A check passed, but within its guard band: the reading is inside, its uncertainty is not."""


class CheckFailedError(Exception):
    """A check was measured and failed, conditionally or outright."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of a visit."""
    group = parser.getgroup("benchcheck", "benchcheck: checks of a board spec")
    group.addoption("--unit", metavar="LABEL", help="the unit on the bench, as its label says")
    group.addoption("--bench", metavar="FILE", help="the bench file, or simulated (default: ./bench.toml)")
    group.addoption("--readings", metavar="FILE", help="a CSV file of readings; without it they are asked for")
    group.addoption("--source", metavar="NAME", default="", help="what is asked, or reads the file: typed, csv, ...")
    group.addoption("--records", metavar="DIR", default="records", help="where records are kept (default: records)")
    group.addoption(
        "--stage", default="as-left", choices=("as-found", "as-left", "return"), help="which look this is"
    )
    group.addoption("--resume", action="store_true", help="go on with the unit's unfinished record")
    group.addoption(
        "--waive", nargs=2, action="append", default=[], metavar=("CHECK", "REASON"), help="power without this check"
    )
    group.addoption("--operator", default="", metavar="INITIALS", help="who measures; kept in the record")
    group.addoption("--keep-until", type=_day, metavar="YYYY-MM-DD", help="note in the record until when to keep it")


def pytest_configure(config: pytest.Config) -> None:
    """Register the fixtures and markers for checks written in Python."""
    from benchcheck import pytest_bench

    for line in pytest_bench.MARKERS:
        config.addinivalue_line("markers", line)
    if not config.pluginmanager.has_plugin("benchcheck-bench"):
        config.pluginmanager.register(pytest_bench, "benchcheck-bench")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Collect TOML files that have the top-level key `benchcheck`.

    A spec met on the way through directories is collected only where a unit is given, so that nobody's test run
    asks for a meter because a spec lies beside the tests; one that is named is collected always.
    """
    if file_path.suffix != ".toml" or not _is_spec(file_path):
        return None
    option = parent.config.option
    if not (option.unit or option.collectonly or parent.session.isinitpath(file_path)):
        return None
    spec: pytest.Collector = SpecFile.from_parent(parent, path=file_path)
    return spec


def _is_spec(path: Path) -> bool:
    """Return whether the key `benchcheck` stands at the top level: before the first table."""
    try:
        with path.open("rb") as file:
            for line in file.read(65536).removeprefix(b"\xef\xbb\xbf").splitlines():
                key = line.partition(b"=")[0].strip(b" \t\"'")
                if key == b"benchcheck" or line.lstrip().startswith(b"["):
                    return key == b"benchcheck"
    except OSError:
        return False
    return False


class SpecFile(pytest.File):
    """A board spec; `board` is loaded once, at collection."""

    board: Board

    def collect(self) -> Iterator[pytest.Item]:
        """Yield one item per check, in the order of a visit."""
        from benchcheck.checklist.order import in_order
        from benchcheck.errors import InputError

        _refuse_several_processes(self.config)
        try:
            self.board = self.config.stash.get(BOARD, None) or self._loaded()
        except InputError as error:
            raise self.CollectError(str(error)) from error
        for check in in_order(self.board.checks):
            yield CheckItem.from_parent(self, name=check.id, check=check)

    def _loaded(self) -> Board:
        from benchcheck.builtin import load_spec, plugins

        manager = self.config.stash.setdefault(PLUGINS, plugins())
        return load_spec(_as_called(self.path), manager)


def _as_called(path: Path) -> Path:
    """Return a path as a person would write it from where they are: messages go into reports that travel."""
    try:
        return path.relative_to(Path.cwd())
    except ValueError:
        return path


def _refuse_several_processes(config: pytest.Config) -> None:
    if hasattr(config, "workerinput") or config.getoption("numprocesses", None):
        raise SpecFile.CollectError("a visit keeps one record and asks one person: run it without -n, or with -n 0")


class CheckItem(pytest.Item):
    """One check of a spec; running it replays the score the visit gave it."""

    def __init__(self, *, check: Check, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.check = check
        self.score: Score | None = None

    def runtest(self) -> None:
        """Pass, fail or skip as the score says."""
        from benchcheck.score.model import Outcome, Verdict

        score = self.score
        if score is None:
            pytest.skip("not reached in this visit")
        if score.outcome is Outcome.ERROR or score.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL):
            raise CheckFailedError(told(score))
        if score.verdict is Verdict.CONDITIONAL_PASS:
            warn_of(self, told(score))
        elif score.verdict is not Verdict.PASS:
            pytest.skip(told(score))

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], *args: Any) -> Any:
        """Show the verdict and its reason; a traceback would tell a technician nothing."""
        if isinstance(excinfo.value, CheckFailedError):
            return str(excinfo.value)
        return super().repr_failure(excinfo, *args)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """Name the check in reports; pytest would turn the points of a bare id into colons."""
        return self.path, None, f"{self.check.id} ({self.check.function})"


def warn_of(item: pytest.Item, message: str) -> None:
    """Report a warning without going through the filters: a filter may not turn a pass into a failure."""
    warning = warnings.WarningMessage(ConditionalPassWarning(message), ConditionalPassWarning, str(item.path), 0)
    item.ihook.pytest_warning_recorded.call_historic(
        kwargs={"warning_message": warning, "when": "runtest", "nodeid": item.nodeid, "location": None}
    )


def told(score: Score) -> str:
    """Return a score in a sentence."""
    from benchcheck.terminal.lines import score_sentence

    return score_sentence(score)


@pytest.hookimpl(wrapper=True)
def pytest_runtestloop(session: pytest.Session) -> Generator[None, object, object]:
    """Conduct the visit over the selected items, then let the items replay it."""
    items = [item for item in session.items if isinstance(item, CheckItem)]
    asked = items and not session.config.option.collectonly and not session.testsfailed
    interrupted = bool(asked) and _conduct(session, items)
    outcome = yield
    if interrupted:
        raise KeyboardInterrupt("the visit was stopped; everything accepted is kept, --resume goes on")
    return outcome


def _conduct(session: pytest.Session, items: list[CheckItem]) -> bool:
    """Hand every item its score; return whether the visit was stopped on the way."""
    from benchcheck.errors import BenchcheckError
    from benchcheck.terminal.signals import ending_as_interrupt

    config = session.config
    specs = {item.path for item in items}
    if len(specs) > 1:
        raise pytest.UsageError(f"one visit checks one unit: {len(specs)} specs are selected, name one of them")
    conduct = config.stash.get(CONDUCT, None) or _conduct_from_options(config)
    spec = items[0].getparent(SpecFile)
    assert spec is not None
    try:
        with capture_suspended(config), ending_as_interrupt():
            selected = tuple(dict.fromkeys(item.check.id for item in items))
            report = conduct.run(spec.board, selected, config.getoption("maxfail", 0))
    except BenchcheckError as error:
        held = config.stash.get(HELD, None)
        if held is None:
            raise pytest.UsageError(str(error)) from error
        held.append(error)
        session.items.clear()
        return False
    scores = {score.check: score for score in report.scores}
    for item in items:
        item.score = scores.get(item.check.id)
    return report.interrupted


@contextmanager
def capture_suspended(config: pytest.Config) -> Generator[None]:
    """Give the terminal, keyboard included, to the visit for a while."""
    capture = config.pluginmanager.getplugin("capturemanager")
    if capture is None:
        yield
        return
    capture.suspend_global_capture(in_=True)
    try:
        yield
    finally:
        capture.resume_global_capture()
        capture.suspend_global_capture()  # as pytest has it between phases; only the keyboard was ours to give back


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Give a check that decides nothing the place of its spec; the reason alone is of interest."""
    report = yield
    if isinstance(item, CheckItem) and report.skipped and isinstance(report.longrepr, tuple):
        report.longrepr = (item.nodeid.partition("::")[0], 1, report.longrepr[2])
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_sessionfinish(session: pytest.Session) -> Generator[None, None, None]:
    """Take the host's name out of a JUnit file about units: results travel, the bench's name need not."""
    yield
    written = session.config.getoption("xmlpath", None)
    if written and Path(written).is_file() and any(isinstance(item, CheckItem) for item in session.items):
        path = Path(written)
        path.write_text(re.sub(r' hostname="[^"]*"', "", path.read_text("utf-8"), count=1), "utf-8")


def _day(text: str) -> day:
    """Return the day of an option; raises what argparse puts in words."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise argparse.ArgumentTypeError(f'"{text}" is no day; write it as 2030-01-31')
    try:
        return day.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f'"{text}" is no day of the calendar') from error


def _conduct_from_options(config: pytest.Config) -> Conduct:
    from benchcheck.session.run import Request
    from benchcheck.terminal.app import conduct_on_screen

    option = config.option
    if not option.unit:
        raise pytest.UsageError('these are checks of a unit: say which one with --unit "LABEL"')
    request = Request(
        unit=option.unit,
        bench=option.bench,
        readings=Path(option.readings) if option.readings else None,
        records=Path(option.records),
        stage=option.stage,
        resume=option.resume,
        waive=tuple((check, reason) for check, reason in option.waive),
        operator=option.operator,
        source=option.source,
        keep_until=option.keep_until,
    )
    return conduct_on_screen(request, lines=False, plugins=config.stash.get(PLUGINS, None))
