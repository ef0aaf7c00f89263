"""Checks written in Python: fixtures for the unit, the bench and the judge, and the markers that go with them.

A test file names its board (`pytestmark = pytest.mark.board("specs/x.toml")`), a run its unit and bench (`--unit`,
`--bench`). A test asks `judge` for a check: it is taken past the interlocks of a visit, kept in the unit's record,
and the test passes, fails or is skipped as the verdict says. Nothing of benchcheck is imported before that.
"""

from __future__ import annotations

import sys
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from benchcheck.pytest_plugin import CheckFailedError, capture_suspended, told, warn_of
from benchcheck.pytest_sittings import WRITTEN, Sittings, one_each, refuse_spread, sittings_of, spec_of

if TYPE_CHECKING:
    from benchcheck.bench.model import Bench
    from benchcheck.kinds.check import Check
    from benchcheck.score.model import Score
    from benchcheck.session.hand import Hand
    from benchcheck.session.sitting import Sitting
    from benchcheck.spec.board import Board

__all__ = ["Judge", "LoadStep", "UnitOnBench"]

MARKERS = (
    "board(path): the spec of the board these tests are about, from the folder of the test file",
    "powered: the unit is under power in this test; skipped with the reason unless every interlock is clear",
    "load_steps(rail): run the test for each load current the spec gives a rail; it gets `load_step`",
)
_OURS = frozenset({"unit", "bench", "judge"})


@dataclass(frozen=True, slots=True)
class LoadStep:
    """One load current of a rail: `check` is the id of the check of its voltage then, `current_a` in ampere.

    `input_voltage` names the supply voltage it is taken at, "" for the nominal one.
    """

    rail: str
    current_a: float
    check: str
    input_voltage: str = ""


@dataclass(frozen=True, slots=True)
class UnitOnBench:
    """The unit under test: its label, its board, and what has been found so far."""

    label: str
    board: Board
    _sitting: Sitting

    @property
    def scores(self) -> tuple[Score, ...]:
        """Every score of this run, in the order of a visit."""
        return self._sitting.scores

    @property
    def record(self) -> Path | None:
        """The file of its record, None before anything was read."""
        return self._sitting.record

    def in_the_way(self) -> tuple[str, ...]:
        """Return what stands in the way of power, in words, after taking the checks that can clear it."""
        return self._sitting.in_the_way()


@dataclass(frozen=True, slots=True)
class Judge:
    """Has a check taken, kept and judged; called with an id of the board or a `benchcheck.Check` of one's own."""

    _sitting: Sitting
    _item: pytest.Item

    def __call__(self, check: str | Check, shown: str | None = None) -> Score:
        """Return the score where it passes; the test fails or is skipped where it does not.

        `shown` is what a display showed, as one would type it ("4.68k", "OL"); without it the bench is asked. A
        conditional pass is a warning. A powered check is taken only in a test marked `powered`.
        """
        from benchcheck.score.model import Outcome, Verdict

        score = self.score(check, shown)
        if score.outcome is Outcome.ERROR or score.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL):
            raise CheckFailedError(told(score))
        if score.verdict is Verdict.CONDITIONAL_PASS:
            warn_of(self._item, told(score))
        elif score.verdict is not Verdict.PASS:
            pytest.skip(told(score))
        return score

    def score(self, check: str | Check, shown: str | None = None) -> Score:
        """Return the score whatever it is: for a test that decides by itself what to make of it."""
        from benchcheck.errors import UsageError

        one = self._sitting.board.by_id.get(check) if isinstance(check, str) else check
        if one is not None and one.powered and self._item.get_closest_marker("powered") is None:
            raise UsageError(f"{one.id} is taken under power: mark the test with @pytest.mark.powered")
        with capture_suspended(self._item.config):
            return self._sitting.take(check, shown)


# ---- fixtures


@pytest.fixture(scope="session")
def probe_hand() -> Hand | None:
    """What places probes on a bench that is not simulated: override it for a fixture of needles.

    None, the default, asks the person at the terminal, where there is one.
    """
    return None


@pytest.fixture(scope="session")
def _sittings(pytestconfig: pytest.Config) -> Iterator[Sittings]:
    sittings = sittings_of(pytestconfig)
    yield sittings
    sittings.close()


@pytest.fixture
def _sitting(request: pytest.FixtureRequest, _sittings: Sittings, probe_hand: Hand | None) -> Sitting:
    refuse_spread(request.node)
    return _sittings.sitting(spec_of(request.node), probe_hand)


@pytest.fixture
def unit(_sitting: Sitting) -> UnitOnBench:
    """Return the unit under test."""
    return UnitOnBench(_sitting.request.unit, _sitting.board, _sitting)


@pytest.fixture
def bench(_sitting: Sitting) -> Bench:
    """Return the bench: its meters with their accuracy, its supplies, its decision rule."""
    return _sitting.bench


@pytest.fixture
def judge(request: pytest.FixtureRequest, _sitting: Sitting) -> Judge:
    """Return what takes a check, keeps it in the unit's record and judges it."""
    return Judge(_sitting, request.node)


@pytest.fixture
def _under_power(request: pytest.FixtureRequest, _sitting: Sitting) -> None:
    with capture_suspended(request.config):
        obstacles = _sitting.in_the_way()
    if obstacles:
        pytest.skip(f"blocked: {'; '.join(obstacles)}")


# ---- hooks


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Give a test with `load_step` one run for each load current of its rail."""
    if "load_step" not in metafunc.fixturenames:
        return
    marker = metafunc.definition.get_closest_marker("load_steps")
    if marker is None or len(marker.args) != 1:
        raise pytest.UsageError(f'{metafunc.definition.nodeid}: say which rail: @pytest.mark.load_steps("VSW")')
    steps = _load_steps(sittings_of(metafunc.config).board(spec_of(metafunc.definition)), str(marker.args[0]))
    names = [step.check.partition("[")[2].removesuffix("]") for step in steps]
    parameters = [pytest.param(step, marks=pytest.mark.powered) for step in steps]
    metafunc.parametrize("load_step", parameters, ids=names)


def _load_steps(board: Board, rail: str) -> tuple[LoadStep, ...]:
    from benchcheck.errors import close_match

    steps = tuple(
        LoadStep(rail, one.load_a, one.id, one.input_voltage)
        for one in board.checks
        if one.subject == rail and one.measurand == "voltage" and one.load_a is not None
    )
    if not steps:
        hint = close_match(rail, board.rails) or f"; there are {', '.join(board.rails) or 'none'}"
        raise pytest.UsageError(f'{board.name}: "{rail}" is no rail with loads{hint}')
    return steps


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Have powered tests wait for their interlocks, and keep what shares a bench on one worker of xdist."""
    for item in items:
        names: list[str] = getattr(item, "fixturenames", [])
        if not _OURS & set(names):
            continue
        if item.get_closest_marker("powered") is not None:
            item.fixturenames = [*names, "_under_power"]  # type: ignore[attr-defined]  # the list is shared
        if hasattr(config, "workerinput"):
            group = _group(config, item)
            item.add_marker(pytest.mark.xdist_group(group))
            _show_group(item, group)


def _show_group(item: pytest.Item, group: str) -> None:
    """Put the group where the scheduler of xdist looks for it: behind the id.

    xdist 3.8 writes it to an attribute that pytest reads no more from 9.2 on; whether it arrived is looked at again
    before a bench is touched (`refuse_spread`).
    """
    structured: Any = getattr(item, "_id", None)
    if getattr(item.config.option, "loadgroup", False) and structured is not None:
        item._id = type(structured).parse(f"{item.nodeid}@{group}")


def _group(config: pytest.Config, item: pytest.Item) -> str:
    """Return what must stay together: the tests of a bench, or of a board where each worker has its own bench."""
    name = config.option.bench or "bench.toml"
    marker = item.get_closest_marker("board")
    board = Path(str(marker.args[0])).stem if marker is not None and marker.args else ""
    return f"{Path(name).stem}-{board}" if one_each(name) else Path(name).stem


def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """Switch off after a powered test unless another one follows."""
    if item.get_closest_marker("powered") is None or not _OURS & set(getattr(item, "fixturenames", ())):
        return
    if nextitem is not None and nextitem.get_closest_marker("powered") is not None:
        return
    sitting = sittings_of(item.config).open
    if sitting is not None:
        sitting.power_off("the powered tests are done")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Hand the names of records from a worker of xdist to its controller."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        output["benchcheck"] = session.config.stash.get(WRITTEN, [])


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Take over what a worker of xdist wrote."""
    lines = getattr(node, "workeroutput", {}).get("benchcheck", [])
    node.config.stash.setdefault(WRITTEN, []).extend(lines)


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Name the records and their last seals at the end."""
    lines = config.stash.get(WRITTEN, [])
    if lines:
        terminalreporter.section("benchcheck")
        for line in lines:
            terminalreporter.write_line(line)


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Tell a failed check in words; a traceback into benchcheck says nothing about the unit."""
    report = yield
    error = call.excinfo.value if call.excinfo is not None else None
    if report.failed and _OURS & set(getattr(item, "fixturenames", ())) and _is_ours(error):
        report.longrepr = f"{error}"
    return report


def _is_ours(error: BaseException | None) -> bool:
    if isinstance(error, CheckFailedError):
        return True
    if error is None or "benchcheck.errors" not in sys.modules:
        return False
    from benchcheck.errors import BenchcheckError

    return isinstance(error, BenchcheckError)
