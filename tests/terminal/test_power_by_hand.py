"""Line by line where somebody sets the supply by hand: no cell may be in; and how long the rest takes is told."""

from __future__ import annotations

import pathlib

import pytest

from benchcheck.checklist.order import draw_up
from benchcheck.kinds.check import Phase
from benchcheck.readings.reading import Session
from benchcheck.record.model import EventKind
from benchcheck.session.answers import LeavePower, Step
from benchcheck.session.power_by_hand import PowerByHand
from benchcheck.terminal.prompt import PromptSource
from tests.cli.scratch import GOOD, lay_out
from tests.factories import board, check
from tests.terminal.test_bench_side import ORDER, record_of, visit

POWERED = ORDER.index("BATT.idle_current")


def to_power(person: object, checks: list[str]) -> None:
    for one in checks:
        assert person.asked() == one  # type: ignore[attr-defined]
        person.type(GOOD[one])  # type: ignore[attr-defined]


@pytest.mark.parametrize("word", ["yes", "no"])
def test_no_powered_reading_is_asked_for_before_cells_are_out(tmp_path: pathlib.Path, word: str) -> None:
    with visit(lay_out(tmp_path)) as person:
        to_power(person, ORDER[:POWERED])
        assert "Is every cell out of the unit, backup cell included?" in " ".join(person.prompted().split())
        person.type(word)
        if word == "no":
            assert person.end() == 130
        else:
            assert ORDER[POWERED] in person.prompted()
            person.kill()
    record = record_of(tmp_path)
    kept = [one.text for one in record.events if "every cell" in one.text and one.kind is EventKind.INSTRUMENT]
    assert len(kept) == (word == "yes")
    if word == "no":
        with visit(tmp_path, "--resume") as person:
            assert "Is every cell out" in person.prompted(), "asked again"
            person.kill()


def test_cells_are_asked_for_once_and_again_after_an_unpowered_check() -> None:
    asked: list[str] = []

    def yes(question: str) -> bool:
        asked.append(question)
        return len(asked) < 3

    by_hand = PowerByHand(yes)
    volts, ohms = check("VSW.voltage", phase=Phase.RAILS), check("R14.resistance")
    refused = [by_hand.refused(Step(one, 1, 9, Session())) for one in (ohms, volts, volts, ohms, volts, ohms, volts)]
    assert refused[:-1] == [None] * 6
    assert isinstance(refused[-1], LeavePower)
    assert len(asked) == 3


def test_how_long_the_rest_takes_is_told_where_it_is_news() -> None:
    told: list[str] = []
    source = PromptSource(lambda prompt: "4.68k", told.append, lambda one: "dmm", lambda one, session: "")
    checks = draw_up(board(*(check(f"R{place}.resistance") for place in range(30)))).checks
    for place, one in enumerate(checks, 1):
        source.answer(Step(one, place, 30, Session(), left=tuple(checks[place:])))
    times = [line for line in told if line.startswith("  time")]
    assert times[0] == "  time      about 5 min left"
    assert times == sorted(set(times), key=times.index), "each is told once"
    assert times[-1] == "  time      less than a minute left"
