"""The units on the bench of one pytest run: which spec, which bench, who answers, and one open at a time.

Instruments belong to one process and one unit at a time, so a test of another board ends the sitting before it; with
xdist each worker has sittings of its own, on a bench of its own.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from benchcheck.pytest_plugin import PLUGINS

if TYPE_CHECKING:
    from benchcheck.bench.model import Bench
    from benchcheck.plugins.manager import Plugins
    from benchcheck.session.answers import Source
    from benchcheck.session.hand import Hand
    from benchcheck.session.sitting import Sitting
    from benchcheck.spec.board import Board

__all__ = ["WRITTEN", "Sittings", "one_each", "refuse_spread", "sittings_of", "spec_of"]

SIMULATED = "simulated"
SITTINGS = pytest.StashKey["Sittings"]()
#: what was written, as lines for the end of the run; on the controller of xdist also what workers wrote.
WRITTEN = pytest.StashKey[list[str]]()


class Sittings:
    """The sittings of one process: at most one is open, because instruments belong to one at a time."""

    def __init__(self, config: pytest.Config) -> None:
        self._config = config
        self._boards: dict[Path, Board] = {}
        self._open: tuple[Path, Sitting] | None = None
        self._served: Any = None

    def board(self, spec: Path) -> Board:
        """Return the board of a spec, read once."""
        if spec not in self._boards:
            from benchcheck.builtin import load_spec

            self._boards[spec] = load_spec(spec, self.plugins())
        return self._boards[spec]

    def plugins(self) -> Plugins:
        """Return the plugins of this run."""
        from benchcheck.builtin import plugins

        stash = self._config.stash
        if PLUGINS not in stash:
            stash[PLUGINS] = plugins()
        return stash[PLUGINS]

    def sitting(self, spec: Path, hand: Hand | None) -> Sitting:
        """Return the sitting for a spec; another one that is open ends first."""
        if self._open is not None and self._open[0] == spec:
            return self._open[1]
        self.close()
        sitting = self._begun(self.board(spec), hand)
        self._open = (spec, sitting)
        return sitting

    @property
    def open(self) -> Sitting | None:
        """The sitting that is open, None before the first."""
        return self._open[1] if self._open is not None else None

    def close(self) -> None:
        """End the open sitting: power off, scores and result kept."""
        if self._open is None:
            return
        (_, sitting), self._open = self._open, None
        served, self._served = self._served, None
        try:
            sitting.close()
        finally:
            if served is not None:
                served.__exit__(None, None, None)
            if sitting.record is not None:
                lines = self._config.stash.setdefault(WRITTEN, [])
                lines.append(f"record {sitting.record}, last seal {sitting.last_seal}")
                lines += [f"left out: {fault}" for fault in self.plugins().left_out]

    def _begun(self, board: Board, hand: Hand | None) -> Sitting:
        from benchcheck.session.run import Request
        from benchcheck.session.sitting import Sitting
        from benchcheck.session.which_bench import bench_from

        option, plugins = self._config.option, self.plugins()
        name = _for_worker(self._config, option.bench)
        request = Request(
            unit=_label(self._config),
            bench=name,
            records=Path(option.records),
            stage=option.stage,
            waive=tuple((check, reason) for check, reason in option.waive),
            operator=option.operator,
        )
        bench = bench_from(name)
        source: Source | None
        if name == SIMULATED:
            from benchcheck.session.simulated import simulated_bench, simulated_source

            self._served = simulated_bench(board, bench)
            bench = self._served.__enter__().bench
            source = simulated_source(self._served)
        else:
            source = _source(bench, hand, plugins)
        return Sitting(board, bench, request, source, plugins.notify, plugins.versions)


def _source(bench: Bench, hand: Hand | None, plugins: Plugins) -> Source | None:
    """Return what answers on a real bench: instruments with a hand, a person at the terminal, or nobody."""
    from benchcheck.builtin import catalogue, further_dialects
    from benchcheck.clock import SystemClock
    from benchcheck.session.instrumented import InstrumentedSource
    from benchcheck.session.meters import Meters
    from benchcheck.session.sources import Setting
    from benchcheck.terminal.expecting import typed_source
    from benchcheck.terminal.hand import PersonHand
    from benchcheck.terminal.screen import Screen

    meters = Meters(bench, SystemClock(), catalogue=catalogue(plugins))
    if hand is not None:
        return InstrumentedSource(meters, hand, dialects=further_dialects(plugins))
    if not sys.__stdin__ or not sys.__stdin__.isatty():
        return None
    screen = Screen()
    prompts = typed_source(Setting(bench, ask=screen.ask, tell=screen.tell))
    source = InstrumentedSource(
        meters, PersonHand(prompts), prompts, prompts.placed, dialects=further_dialects(plugins)
    )
    screen.while_waiting = source.tend
    return source


def sittings_of(config: pytest.Config) -> Sittings:
    """Return the sittings of a run."""
    if SITTINGS not in config.stash:
        config.stash[SITTINGS] = Sittings(config)
    return config.stash[SITTINGS]


def spec_of(node: Any) -> Path:
    """Return the spec a test names with the marker `board`, from the folder its file is in."""
    marker = node.get_closest_marker("board")
    if marker is None or len(marker.args) != 1:
        raise pytest.UsageError(f'{node.nodeid}: say which board: pytestmark = pytest.mark.board("specs/x.toml")')
    path = Path(node.path).parent / str(marker.args[0])
    if not path.is_file():
        raise pytest.UsageError(
            f"{node.nodeid}: there is no spec {path}; the marker board counts from the test's folder"
        )
    return path


def _label(config: pytest.Config) -> str:
    label = _for_worker(config, config.option.unit)
    if label:
        return label
    if config.option.bench == SIMULATED:
        return f"simulated {_worker(config)}".strip()
    pytest.skip('no unit is on the bench: say which one with --unit "LABEL"')


def _worker(config: pytest.Config) -> str:
    given: dict[str, str] = getattr(config, "workerinput", {})
    return given.get("workerid", "")


def _for_worker(config: pytest.Config, text: str | None) -> str | None:
    """Return an option with `{worker}` filled in: gw0, gw1 ..., or main without xdist."""
    return text.replace("{worker}", _worker(config) or "main") if text is not None else None


def one_each(bench: str) -> bool:
    """Return whether each worker of xdist gets a bench of its own."""
    return bench == SIMULATED or "{worker}" in bench


def refuse_spread(item: pytest.Item) -> None:
    """Fail a test of a bench that several workers would fight over."""
    config = item.config
    if not hasattr(config, "workerinput") or one_each(config.option.bench or "bench.toml"):
        return
    groups = [str(mark.args[0]) for mark in item.iter_markers("xdist_group") if mark.args]
    if not any(f"@{group}" in item.nodeid for group in groups):
        pytest.fail(
            "one bench serves one worker: add --dist loadgroup, or give each worker a bench of its own with "
            "--bench bench-{worker}.toml --unit 'LABEL {worker}'",
            pytrace=False,
        )
