"""Readings taken hands-free from a linked meter on the simulated bench: who holds the probes presses nothing."""

from __future__ import annotations

import contextlib
import pathlib
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec, plugins
from benchcheck.checklist.order import Checklist, in_order
from benchcheck.clock import FakeClock, SystemClock
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.kinds.check import Check, Phase
from benchcheck.kinds.session_checks import session_checks
from benchcheck.record.journal import Journal
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome, Score
from benchcheck.session.answers import Answer, Step
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.kept import Kept
from benchcheck.session.meters import Meters
from benchcheck.session.second_look import SecondLooks
from benchcheck.session.visit import Visit
from benchcheck.session.visit_result import VisitResult
from benchcheck.simulation.simulated_bench import SimulatedBench
from benchcheck.spec.board import Board
from benchcheck.terminal.canvas import Canvas
from benchcheck.terminal.desk import Desk
from benchcheck.terminal.expecting import expectation, meter_name
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.guiding import instrumented
from benchcheck.terminal.keyboard import Key
from benchcheck.terminal.picture import Picture
from benchcheck.terminal.prompt import PromptSource
from benchcheck.terminal.sound import Sound
from tests.factories import reading
from tests.session.test_visit import head
from tests.terminal.bench_hand import ReadingClock, ScriptedKeyboard, WatchingHand
from tests.terminal.glass import Glass

SPEC = pathlib.Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml"
#: how often a meter reads where no time passes but that of its readings.
_RATE_HZ = 20.0
FREE = (Function.OHMS, Function.DIODE, Function.CAPACITANCE, Function.CONTINUITY)


@dataclass
class Rig:
    """A guided screen on glass in front of a served bench."""

    served: SimulatedBench
    guided: Guided
    source: InstrumentedSource
    keyboard: ScriptedKeyboard
    glass: Glass


def _untold(line: str) -> None:
    """Nobody is there yet."""


@contextlib.contextmanager
def rig(board: Board, counted: ReadingClock | None = None) -> Iterator[Rig]:
    clock = counted or SystemClock()
    with SimulatedBench(board, clock=clock) as served:
        glass, keyboard = Glass(), ScriptedKeyboard(clock=counted)
        canvas = Canvas(glass.write)
        prompts = PromptSource(str, _untold, meter_name(served.bench), expectation(served.bench))
        desk = Desk(Picture("unit 7", served.bench), canvas, keyboard)  # type: ignore[arg-type]
        guided = Guided(desk, prompts, Sound(canvas.bell, on=False), clock, served.bench)
        prompts.ask, prompts.tell, desk.meanwhile = guided.ask, guided.tell, guided.meanwhile
        source = instrumented(guided, Meters(served.bench, clock), guided.tell)
        source.meters.open()
        try:
            yield Rig(served, guided, source, keyboard, glass)
        finally:
            guided.leave()
            source.end()


@pytest.fixture(scope="module")
def board() -> Board:
    return load_spec(SPEC, plugins())


def conducted(
    made: Rig,
    board: Board,
    checks: tuple[Check, ...],
    folder: pathlib.Path,
    second_looks: SecondLooks | None = None,
    *,
    proven: bool = True,
) -> tuple[VisitResult, Record]:
    """Conduct the checks with the hand of the rig; charge is `proven` gone already, and the cell is known."""
    charge = tuple(check for check in board.checks if check.phase is Phase.RESIDUAL_VOLTAGE) if proven else ()
    cell = next(check for check in session_checks() if check.id == "meter.cell")
    known = {check.id: (reading(check, "0.001", meter="dmm"),) for check in charge}
    kept = Kept({**known, cell.id: (reading(cell, "1.562", meter="dmm"),)})
    journal = Journal.create(folder, head(), FakeClock())
    plan = Checklist(board, in_order((*charge, *checks)))
    visit = Visit(plan, made.served.bench, journal, made.guided, made.source, kept)
    visit.second_looks = second_looks or SecondLooks()
    result = visit.conduct()
    journal.close()
    return result, read_record(journal.path)


def scores_of(result: VisitResult, checks: tuple[Check, ...]) -> list[Score]:
    wanted = {check.id for check in checks}
    return [score for score in result.scores if score.check in wanted]


def test_sixty_checks_are_taken_with_no_key_pressed(board: Board, tmp_path: pathlib.Path) -> None:
    charge = tuple(check for check in board.checks if check.phase is Phase.RESIDUAL_VOLTAGE)
    others = tuple(
        check for check in board.checks
        if check.function in FREE and check.phase in (Phase.POLARITY, Phase.PARTS, Phase.ISOLATION, Phase.TO_GROUND)
    )  # fmt: skip
    checks = (*charge, *(check for check in others if check.phase is Phase.ISOLATION), *others)
    checks = tuple(dict.fromkeys(checks))[:60]
    assert len(checks) == 60
    with rig(board, ReadingClock(_RATE_HZ)) as made:
        hand = WatchingHand(made.served.hand, made.guided)
        made.keyboard.turn = hand.turn
        result, record = conducted(made, board, checks, tmp_path, proven=False)
        assert made.keyboard.pressed == []
    assert {check.id for check in charge} <= set(hand.marked), "volts near zero were taken between marks"
    assert len(hand.marked) > len(charge), "and so was OL where it is right"
    scores = scores_of(result, checks)
    assert [score.outcome for score in scores] == [Outcome.MEASURED] * 60
    told = [f"{score.check}: {score.display}, {score.because}" for score in scores if score.verdict == "fail"]
    assert told == []
    assert {one.check for one in record.readings} >= {check.id for check in checks}


def resistors(board: Board, count: int) -> tuple[Check, ...]:
    return tuple(check for check in board.checks if check.measurand == "resistance" and check.function is FREE[0])[
        :count
    ]


def test_a_second_look_comes_blind_and_both_readings_stand_in_the_record(
    board: Board, tmp_path: pathlib.Path
) -> None:
    checks = resistors(board, 4)
    with rig(board) as made:
        hand = WatchingHand(made.served.hand, made.guided)
        made.keyboard.turn = hand.turn
        seen: list[str] = []
        asked = made.guided._asked

        def noting(step: Step) -> Answer | None:
            seen.append(step.again)
            hand.at = ""  # the same check again is a new placing
            return asked(step, made.source.meters.serving(FREE[0]))

        made.source.announce = noting
        _, record = conducted(made, board, checks, tmp_path, SecondLooks(every=3))
    assert sum("second reading" in again for again in seen) == 1
    twice = [one for one in record.readings if one.repeat > 1]
    assert len(twice) == 1
    assert len([one for one in record.readings if one.check == twice[0].check]) == 2


def test_a_meter_that_goes_away_pauses_the_check_and_going_on_needs_no_key(
    board: Board, tmp_path: pathlib.Path
) -> None:
    checks = resistors(board, 2)
    with rig(board) as made:
        hand = WatchingHand(made.served.hand, made.guided)
        shown: list[str] = []
        away = 0

        def turn() -> list[Key]:
            nonlocal away
            asking = made.guided.desk.asking
            if asking is not None and asking.check.id == checks[1].id and away < 15:
                away += 1
                driver = made.source.meters.drivers["dmm"]
                assert isinstance(driver, Multimeter)
                driver.link.close()
                driver.link.mark("the cable was pulled")
                shown.append(made.glass.text)
                return []
            return hand.turn()

        made.keyboard.turn = turn
        result, record = conducted(made, board, checks, tmp_path)
    assert away == 15
    assert [score.outcome for score in scores_of(result, checks)] == [Outcome.MEASURED] * 2
    assert len([one for one in record.readings if one.check in {check.id for check in checks}]) == 2


def test_a_reading_accepted_by_hand_says_so(board: Board, tmp_path: pathlib.Path) -> None:
    checks = resistors(board, 1)
    with rig(board) as made:
        made.served.hand.place(checks[0])
        made.keyboard.turn = lambda: [Key("sign", "a")]
        _, record = conducted(made, board, checks, tmp_path)
    (taken,) = (one for one in record.readings if one.check == checks[0].id)
    assert taken.display.value is None or "by hand" in taken.note or taken.display.value > 0.0


def test_exchanged_leads_are_kept_with_the_reading(board: Board, tmp_path: pathlib.Path) -> None:
    checks = resistors(board, 1)
    with rig(board) as made:
        hand = WatchingHand(made.served.hand, made.guided)
        first = [[Key("sign", "x")]]
        made.keyboard.turn = lambda: first.pop() if first else hand.turn()
        _, record = conducted(made, board, checks, tmp_path)
    (taken,) = (one for one in record.readings if one.check == checks[0].id)
    assert taken.polarity == "swapped"
