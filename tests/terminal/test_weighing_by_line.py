"""The check that tells most now, asked for line by line: what is done is said, and it can be stopped."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from benchcheck.checklist.order import draw_up
from benchcheck.clock import FakeClock
from benchcheck.kinds.check import Phase
from benchcheck.readings.reading import Reading, Session
from benchcheck.record.journal import Journal
from benchcheck.session.answers import Answer, Exchange, Prefer, Remark, Step, Stop, Taken
from benchcheck.session.kept import Kept
from benchcheck.session.visit import Visit
from benchcheck.terminal.prompt import PromptSource
from tests.factories import bench, board, check, reading
from tests.session.test_visit import R15, Watcher, head

R14 = check("R14.resistance")


def answered(
    typed: list[str],
    weigh: Callable[[Sequence[Reading], Session], str] | None = None,
    meanwhile: Callable[[float], str | None] = lambda within_s: None,
    step: Step | None = None,
) -> tuple[Answer, str]:
    told: list[str] = []

    def ask(prompt: str) -> str:
        if not typed:
            raise EOFError
        return typed.pop(0)

    source = PromptSource(ask, told.append, lambda one: "dmm", lambda one, session: "", most_telling=weigh)
    source.line_if_typed = meanwhile
    return source.answer(step or Step(R14, 1, 9, Session())), " ".join(" ".join(told).split())


def test_what_is_weighed_is_said_and_what_it_came_to() -> None:
    answer, told = answered(["m"], lambda readings, session: "D3.forward_drop")
    assert answer == Prefer("D3.forward_drop")
    assert "Enter stops it tells most now: D3.forward_drop" in told
    _, told = answered(["most"], lambda readings, session: "")
    assert "nothing tells more than this check" in told


@pytest.mark.parametrize(("line", "answer"), [("", Stop()), ("note wet", Remark("wet")), ("4.68k", None)])
def test_a_weighing_can_be_stopped_by_any_line_which_is_then_understood(line: str, answer: Answer | None) -> None:
    never = threading.Event()

    def weigh(readings: Sequence[Reading], session: Session) -> str:
        never.wait(30.0)
        return "D3.forward_drop"

    lines = [line]
    found, told = answered(["m"], weigh, lambda within_s: lines.pop() if lines else None)
    never.set()
    assert "stopped: the order stays as it is" in told
    assert found == answer if answer is not None else isinstance(found, Taken)


def test_where_nothing_can_be_weighed_it_says_why() -> None:
    assert "there is no circuit to weigh" in answered(["m"])[1]
    of_the_meter = Step(check("meter.cell", phase=Phase.SESSION), 2, 4, Session())
    _, told = answered(["m"], lambda readings, session: "D3.forward_drop", step=of_the_meter)
    assert "the meter itself comes first" in told


def test_tries_are_kept_at_once_and_go_with_the_answer() -> None:
    lines, kept = ["4.68", "no", "note dirty pad"], list[str]()
    source = PromptSource(lambda prompt: lines.pop(0), lambda line: None, lambda one: "dmm", lambda one, session: "")
    assert source.answer(Step(R14, 1, 9, Session(), refuse=kept.append)) == Remark("dirty pad")
    assert kept == ["4.68"]
    lines += ["x"]
    assert source.answer(Step(R14, 1, 9, Session(), tries=("4.68",))) == Exchange()
    lines += ["4.68k"]
    taken = source.answer(Step(R14, 1, 9, Session(), exchanged=True, tries=("4.68",)))
    assert isinstance(taken, Taken)
    assert (taken.readings[0].retries, taken.readings[0].polarity) == (("4.68",), "swapped")
    lines += ["4.68k"]
    again = source.answer(Step(R14, 1, 9, Session()))
    assert isinstance(again, Taken)
    assert (again.readings[0].retries, again.readings[0].polarity) == ((), "")


def test_what_was_read_before_the_visit_was_gone_on_with_is_weighed_as_well(tmp_path: Path) -> None:
    weighed: list[str] = []

    def weigh(readings: Sequence[Reading], session: Session) -> str:
        weighed.extend(one.check for one in readings)
        return ""

    lines = ["m"]

    def ask(prompt: str) -> str:
        if not lines:
            raise EOFError
        return lines.pop(0)

    source = PromptSource(ask, lambda line: None, lambda one: "dmm", lambda one, session: "", most_telling=weigh)
    journal = Journal.create(tmp_path, head(), FakeClock())
    kept = Kept({R15.id: (reading(R15, "4.71k"),)})
    result = Visit(draw_up(board(R15, R14)), bench("bench-5.5"), journal, Watcher(), source, kept).conduct()
    journal.close()
    assert (result.interrupted, weighed) == (True, [R15.id])
