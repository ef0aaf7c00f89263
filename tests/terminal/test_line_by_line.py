"""Hands-free without a screen: one line an event, no cursor movement, no key pressed."""

from __future__ import annotations

import contextlib
import pathlib
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec, plugins
from benchcheck.checklist.order import Checklist, in_order
from benchcheck.clock import FakeClock, SystemClock
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.kinds.check import Check, Phase
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.reading import Session
from benchcheck.record.journal import Journal
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome
from benchcheck.session.answers import Step, Stop, Taken
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.kept import Kept
from benchcheck.session.meters import Meters
from benchcheck.session.second_look import SecondLooks
from benchcheck.session.visit import Visit
from benchcheck.session.visit_result import VisitResult
from benchcheck.simulation.simulated_bench import SimulatedBench
from benchcheck.spec.board import Board
from benchcheck.terminal.asking import asking_of
from benchcheck.terminal.counted import ALREADY_COUNTED
from benchcheck.terminal.expecting import expectation, meter_name
from benchcheck.terminal.hand import PersonHand
from benchcheck.terminal.line_by_line import LineByLine
from benchcheck.terminal.prompt import PromptSource
from benchcheck.terminal.screen import Screen
from benchcheck.terminal.sound import Cue, Sound
from tests.factories import reading
from tests.session.test_visit import head
from tests.terminal.bench_hand import WatchingHand

SPEC = pathlib.Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml"


class Lines(Screen):
    """A screen of lines kept in a list; lines are typed by a script."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[str] = []
        self.typed: list[str] = []
        self.turn: WatchingHand | None = None

    def _write(self, text: str, end: str = "\n") -> None:
        self.told += text.split("\n")

    def line_if_typed(self, within_s: float = 0.02) -> str | None:
        SystemClock().sleep(within_s)
        if self.turn is not None:
            assert self.turn.turn() == []
        return self.typed.pop(0) if self.typed else None


class Heard(Sound):
    """Keeps what would be heard."""

    def __init__(self) -> None:
        super().__init__(lambda: None, on=False)
        self.cues: list[Cue] = []

    def cue(self, cue: Cue, position: float | None = None) -> None:
        self.cues.append(cue)


@dataclass
class Rig:
    served: SimulatedBench
    source: InstrumentedSource
    lines: LineByLine
    screen: Lines
    heard: Heard
    clock: SystemClock = field(default_factory=SystemClock)

    @property
    def desk(self) -> LineByLine:
        """What the watching hand looks at."""
        return self.lines


@contextlib.contextmanager
def rig(board: Board) -> Iterator[Rig]:
    with SimulatedBench(board) as served:
        screen, heard = Lines(), Heard()
        prompts = PromptSource(str, screen.tell, meter_name(served.bench), expectation(served.bench))
        meters = Meters(served.bench, SystemClock())
        lines = LineByLine(screen, prompts, meters, served.bench, heard, SystemClock())
        source = InstrumentedSource(meters, PersonHand(prompts), prompts, lines.placed, screen.tell)
        made = Rig(served, source, lines, screen, heard)
        screen.turn = WatchingHand(served.hand, made)  # type: ignore[arg-type]
        meters.open()
        try:
            yield made
        finally:
            source.end()


@pytest.fixture(scope="module")
def board() -> Board:
    return load_spec(SPEC, plugins())


def conducted(
    made: Rig, board: Board, checks: tuple[Check, ...], folder: pathlib.Path, looks: SecondLooks | None = None
) -> tuple[VisitResult, Record]:
    charge = tuple(check for check in board.checks if check.phase is Phase.RESIDUAL_VOLTAGE and check not in checks)
    cell = next(check for check in session_checks() if check.id == "meter.cell")
    known = {check.id: (reading(check, "0.001", meter="dmm"),) for check in charge}
    kept = Kept({**known, cell.id: (reading(cell, "1.562", meter="dmm"),)})
    journal = Journal.create(folder, head(), FakeClock())
    visit = Visit(
        Checklist(board, in_order((*charge, *checks))), made.served.bench, journal, made.screen, made.source
    )
    visit = Visit(visit.checklist, visit.bench, journal, made.screen, made.source, kept)
    visit.second_looks = looks or SecondLooks()
    result = visit.conduct()
    journal.close()
    return result, read_record(journal.path)


def resistors_of(board: Board) -> list[Check]:
    ohms = (check for check in board.checks if check.function is Function.OHMS and check.phase is Phase.PARTS)
    return [check for check in ohms if check.measurand == "resistance"]


def some(board: Board) -> tuple[Check, ...]:
    """Two resistors, a diode's two ways, an isolation pair and a residual voltage."""
    resistors = [
        check for check in board.checks if check.measurand == "resistance" and check.function is Function.OHMS
    ]
    diode = [check for check in board.checks if check.id in ("D3.forward_drop", "D3.reverse")]
    apart = [check for check in board.checks if check.phase is Phase.ISOLATION][:1]
    charge = [check for check in board.checks if check.phase is Phase.RESIDUAL_VOLTAGE][:1]
    return tuple(dict.fromkeys([*charge, *diode, *resistors[:2], *apart]))


def test_checks_are_taken_line_by_line_with_no_key_pressed(board: Board, tmp_path: pathlib.Path) -> None:
    checks = some(board)
    with rig(board) as made:
        result, record = conducted(made, board, checks, tmp_path)
    scores = [score for score in result.scores if score.check in {check.id for check in checks}]
    assert [score.outcome for score in scores] == [Outcome.MEASURED] * len(checks)
    assert {one.check for one in record.readings} >= {check.id for check in checks}
    told = "\n".join(made.screen.told)
    assert "\x1b" not in told, "nothing moves the cursor"
    assert all(len(line) <= 80 for line in made.screen.told)
    assert Cue.MARKED in made.heard.cues
    assert "now the points for a second" in " ".join(told.split())


def test_a_second_look_is_asked_line_by_line_too(board: Board, tmp_path: pathlib.Path) -> None:
    resistors = tuple(check for check in some(board) if check.measurand == "resistance" and "iso" not in check.id)
    more = tuple(
        check for check in board.checks if check.measurand == "resistance" and check.function is Function.OHMS
    )
    checks = tuple(dict.fromkeys((*resistors, *more)))[:3]
    with rig(board) as made:
        hand = made.screen.turn
        assert hand is not None
        placed = made.lines.placed

        def noting(step):  # type: ignore[no-untyped-def]
            hand.at = ""
            return placed(step)

        made.source.announce = noting
        _, record = conducted(made, board, checks, tmp_path, SecondLooks(every=2))
    assert any("second reading" in line for line in made.screen.told)
    assert any(one.repeat > 1 and "second look" in one.note for one in record.readings)


def test_a_meter_that_goes_away_is_told_of_once_and_comes_back(board: Board, tmp_path: pathlib.Path) -> None:
    checks = tuple(resistors_of(board)[:2])
    with rig(board) as made:
        away = 0
        hand = made.screen.turn
        assert hand is not None
        turn = hand.turn

        def unplugging():  # type: ignore[no-untyped-def]
            nonlocal away
            if away < 15:
                away += 1
                driver = made.lines.meters.drivers["dmm"]
                assert isinstance(driver, Multimeter)
                driver.link.close()
                driver.link.mark("the cable was pulled")
                return []
            return turn()

        hand.turn = unplugging  # type: ignore[method-assign]
        result, _ = conducted(made, board, checks, tmp_path)
    assert [s.outcome for s in result.scores if s.check in {c.id for c in checks}] == [Outcome.MEASURED] * 2
    told = [line for line in made.screen.told if "no reading:" in line]
    assert 1 <= len(told) <= 2
    assert any("the meter is back" in line for line in made.screen.told)


def test_an_enter_meant_for_what_just_counted_is_not_the_next_check(board: Board, tmp_path: pathlib.Path) -> None:
    """The tips lie on the last points still: Enter would have the next check take the reading there."""
    checks = tuple(resistors_of(board)[:2])
    with rig(board) as made:
        before: list[object] = []

        def late(within_s: float = 0.02) -> str | None:
            typed = Lines.line_if_typed(made.screen, within_s)
            begun, asking = bool(before) and before[-1] is not made.lines.asking, made.lines.asking
            before.append(asking)
            return "" if begun else typed

        made.screen.line_if_typed = late  # type: ignore[method-assign]
        result, record = conducted(made, board, checks, tmp_path)
    told = " ".join(" ".join(made.screen.told).split())
    assert told.count(ALREADY_COUNTED) == 1
    assert "or Enter > " in told.partition(ALREADY_COUNTED)[2], "it is asked again"
    assert [s.outcome for s in result.scores if s.check in {c.id for c in checks}] == [Outcome.MEASURED] * 2
    assert not [one for one in record.readings if "by hand" in one.note]


@pytest.mark.parametrize("live", [False, True])
@pytest.mark.parametrize("loaded", [False, True])
def test_a_second_enter_under_power_ends_nothing_but_power_that_is_driven_from_here(
    board: Board, live: bool, loaded: bool
) -> None:
    """With a supply of one's own nothing can be switched off from here: Enter takes the reading, as it says."""
    powered = (check for check in board.checks if check.powered and check.function is Function.DC_VOLTAGE)
    one = next(check for check in powered if bool(check.load_a) is loaded)
    with rig(board) as made:
        made.screen.turn, off = None, []
        made.lines.live, made.lines.switch_off = lambda: live, lambda: off.append("off")
        meter = made.lines.meters.serving(one.function)
        asking = asking_of(Step(one, 1, 2, Session()), meter, made.served.bench)
        assert made.lines._accept(asking) is None
        told = " ".join(made.screen.told)
        assert "tips down: reading" in told
        assert ("Enter switches the power off" in told) is live
        asking.latest = reading(one, "5.02", meter="dmm")
        answer = made.lines._accept(asking)
    assert isinstance(answer, Stop if live else Taken)
    assert off == ["off"] * live


@pytest.mark.parametrize("words", ["skip out of reach", "4.7k", "stop"])
def test_a_typed_line_is_understood_while_the_meter_is_read(board: Board, tmp_path: pathlib.Path, words: str) -> None:
    checks = tuple(resistors_of(board)[:1])
    with rig(board) as made:
        made.screen.turn = None
        made.screen.typed = ["note cold morning", words, "yes"]
        result, record = conducted(made, board, checks, tmp_path)
    assert any(one.text == "cold morning" for one in record.events)
    (score,) = (one for one in result.scores if one.check == checks[0].id) if words != "stop" else (None,)
    if score is None:
        assert result.interrupted
    else:
        assert score.outcome is (Outcome.SKIPPED if words.startswith("skip") else Outcome.MEASURED)
