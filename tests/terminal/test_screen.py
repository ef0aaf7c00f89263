"""The screen, its progress line and its prompts, without a terminal: what is shown, and what is never lost."""

from __future__ import annotations

import os
import pty
import signal
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.clock import FakeClock
from benchcheck.kinds.check import Evidence, Limits, Phase, Probe
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge, skipped
from benchcheck.score.model import Outcome, Score, Verdict
from benchcheck.session.answers import Later, Skip, Step, Stop, Taken, Undo
from benchcheck.session.interrupts import HangUp
from benchcheck.terminal.instructing import instruction_rows, instructions, spoken
from benchcheck.terminal.keyboard import Keyboard
from benchcheck.terminal.lines import score_lines
from benchcheck.terminal.progress import Progress
from benchcheck.terminal.prompt import PromptSource
from benchcheck.terminal.screen import Screen, coloured
from benchcheck.terminal.signals import ending_as_interrupt, notice_hang_up
from benchcheck.terminal.wrapping import WIDTH, wrapped
from tests.factories import bench, check, reading, voltage

R14 = check("R14.resistance", expected=4700.0)
RAIL = voltage("VSW.voltage[0A]", Phase.RAILS, 8.64, 9.36, expected=9.0)
PASS = Score("R14.resistance", Outcome.MEASURED, "ohm", verdict=Verdict.PASS, display="4.68k", value=4680.0)


@given(st.text(), st.sampled_from(["", "  ", "    - "]))
def test_wrapped_words_keep_their_order_and_fit(words: str, indent: str) -> None:
    lines = wrapped(words, indent, "    ")
    assert " ".join(lines).split() == f"{indent if lines else ''} {words}".split()
    assert all(len(line) <= WIDTH or len(line.split()) <= 2 for line in lines)


class Typist:
    """Types lines one after the other; keeps what was shown."""

    def __init__(self, *lines: str) -> None:
        self.lines = list(lines)
        self.shown: list[str] = []

    def source(self) -> PromptSource:
        return PromptSource(self.ask, self.shown.append, lambda check: "dmm")

    def ask(self, prompt: str) -> str:
        self.shown.append(prompt)
        if not self.lines:
            raise EOFError
        return self.lines.pop(0)


STEP = Step(R14, 3, 17, Session())


@pytest.mark.parametrize(
    ("typed", "answer"),
    [
        ("undo", Undo()),
        ("UNDO", Undo()),
        ("later", Later()),
        ("stop", Stop()),
        ("skip  cannot reach it ", Skip("cannot reach it")),
    ],
)
def test_words_of_action_are_understood(typed: str, answer: object) -> None:
    assert Typist(typed).source().answer(STEP) == answer


def test_the_end_of_input_stops_the_visit_at_either_question() -> None:
    assert Typist().source().answer(STEP) == Stop()
    assert Typist("4.68").source().answer(STEP) == Stop(), "while a slip is asked about"


def test_a_reading_carries_the_meter_and_the_tries_that_were_refused() -> None:
    answer = Typist("4.68", "no", "4.68M", "n", "4.68k").source().answer(STEP)
    assert isinstance(answer, Taken)
    (reading,) = answer.readings
    assert (reading.meter, reading.retries, reading.note) == ("dmm", ("4.68", "4.68M"), "")


def test_a_slip_that_is_meant_is_taken_and_noted() -> None:
    answer = Typist("4.68", "perhaps", "yes").source().answer(STEP)
    assert isinstance(answer, Taken)
    assert answer.readings[0].display.value == pytest.approx(4.68, rel=1e-12)
    assert answer.readings[0].note


@given(st.lists(st.text(max_size=30), max_size=8))
def test_nothing_that_is_typed_breaks_a_prompt_or_its_width(lines: list[str]) -> None:
    typist = Typist(*lines)
    assert typist.source().answer(STEP) is not None
    for line in typist.shown:
        assert len(line) <= WIDTH or len(max(line.split(), key=len)) > WIDTH // 2


def test_a_prompt_says_what_around_the_part_may_change_and_never_wider_than_the_screen() -> None:
    around = check(
        "R14.resistance", evidence=Evidence.LOWERED, first_step="lift the shield " * 9, switches=(("S1", "open"),)
    )
    lines = instructions(Step(around, 1, 9, Session()), "4.65 kohm to 4.75 kohm")
    assert lines[0] == "1 of 9  R14.resistance"
    assert "switches  S1 open" in "\n".join(lines)
    assert "may make it read lower" in "\n".join(lines)
    assert all(len(line) <= WIDTH for line in lines)


def test_less_than_the_leads_alone_is_said_to_be_about_nothing_and_no_negative_resistance() -> None:
    one = check("R14.resistance")
    score = judge(one, (reading(one, "-0.2"),), bench(), Session())
    told = " ".join(" ".join(score_lines(score)).split())
    assert score.value is not None
    assert score.value < 0.0
    assert "about 0 ohm" in told
    assert "as far as can be told once the leads are taken off" in told
    assert "-200 mohm" not in told


def test_who_is_not_to_set_supply_and_load_is_not_told_to() -> None:
    """A supply driven from here is set from here: a hand that turned its knobs on request would fight the program."""
    rail = replace(RAIL, first_step="set BATT to 5 V, load VSW with 100 mA")
    own, driven = ("\n".join(instructions(Step(rail, 1, 9, Session()), driven=one)) for one in (False, True))
    assert "set BATT to 5 V" in own
    assert "set BATT to 5 V" not in driven
    assert "red " in driven
    idle = replace(RAIL, measurand="idle_current", first_step="current limit to 300 mA first")
    told = "\n".join(instructions(Step(idle, 1, 9, Session()), driven=True))
    assert "nothing to probe" in " ".join(told.split())
    assert "red " not in told


@pytest.mark.parametrize("said", ["yes", "no"])
def test_a_question_that_was_not_answered_is_asked_again_whole(said: str) -> None:
    """On the guided screen only "yes or no" was left of it, under power, after an Enter too many."""
    typist = Typist("", "maybe", said)
    assert typist.source().confirmed("Is every cell out?") is (said == "yes")
    assert sum("Is every cell out?" in line for line in typist.shown) == 3


def test_where_the_tips_go_is_said_aloud_line_by_line_too() -> None:
    said: list[str] = []
    source = Typist("4.68k").source()
    source.say = said.append
    source.answer(STEP)
    (words,) = said
    assert "red R14 lead 1" in words
    assert "black R14 lead 2" in words


@pytest.mark.parametrize("width", [20, 40, 60, 80])
def test_reasons_are_folded_to_a_narrow_terminal_with_their_words_whole(width: int) -> None:
    plain = skipped(check("R14.resistance"), "the pad under the shield cannot be reached with these probes")
    lines = score_lines(plain, width=width)
    assert all(len(line) <= width for line in lines)
    told = " ".join(" ".join(lines).split())
    assert told == "skipped R14.resistance the pad under the shield cannot be reached with these probes."
    assert all(len(line) <= width for line in score_lines(PASS, width=width))


def test_exchanged_leads_are_told_and_said_where_they_go_now() -> None:
    one = check("R14.resistance")
    plain, turned = (dict(instruction_rows(Step(one, 1, 2, Session(), exchanged=way))) for way in (False, True))
    assert (turned["red"], turned["black"]) == (plain["black"], plain["red"])
    assert turned["leads"] == "red and black exchanged"
    aloud = spoken(instruction_rows(Step(one, 1, 2, Session(), exchanged=True)))
    assert f"leads red and black exchanged, red {plain['black']}" in aloud


def test_a_check_by_eye_is_asked_as_a_question() -> None:
    seen = check(
        "C9.orientation", Function.VISUAL, Phase.VISUAL, answers=("yes", "no"), limits=Limits(), black=None,
        red=Probe("look at C9 through a loupe"), why="Does the stripe face the edge?",
    )  # fmt: skip
    told = "\n".join(instructions(Step(seen, 1, 9, Session())))
    assert "look      at C9 through a loupe" in told
    assert "question  Does the stripe face the edge?" in told
    assert "answer    yes or no" in told
    assert "red" not in told


def test_progress_waits_a_second_counts_and_leaves_no_trace(capsys: pytest.CaptureFixture[str]) -> None:
    clock = FakeClock()
    progress = Progress(clock)
    for place in range(1, 51):
        clock.sleep(0.05)
        progress.scored(R14, PASS, place, 50)
    shown = capsys.readouterr().err.split("\r")
    assert shown[0] == ""
    counts = [line for line in shown if line.strip()]
    assert counts[0].startswith("20 of 50") or counts[0].startswith("21 of 50")
    assert 5 <= len(counts) <= 9
    assert shown[-2].strip() == ""
    assert len(shown[-2]) >= len(counts[-1])


def test_a_short_run_shows_no_progress(capsys: pytest.CaptureFixture[str]) -> None:
    progress = Progress(FakeClock())
    for place in range(1, 51):
        progress.scored(R14, PASS, place, 50)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("environment", "wanted"),
    [({"TERM": "xterm"}, True), ({"TERM": "xterm", "NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False), ({}, False)],
)
def test_colour_is_for_terminals_that_want_it(
    monkeypatch: pytest.MonkeyPatch, environment: dict[str, str], wanted: bool
) -> None:
    for name in ("TERM", "NO_COLOR"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert coloured() is wanted


def test_colour_repeats_the_words_and_takes_none_away(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    Screen().scored(R14, PASS, 1, 2)
    plain = capsys.readouterr().out
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    Screen().scored(R14, PASS, 1, 2)
    bright = capsys.readouterr().out
    assert bright != plain
    assert bright.replace("\x1b[32m", "").replace("\x1b[0m", "") == plain


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_to_end_interrupts_once_and_the_ending_is_left_alone(number: signal.Signals) -> None:
    before = signal.signal(number, signal.SIG_DFL)  # whoever started the tests may have it ignored (nohup)
    try:
        with ending_as_interrupt():
            with pytest.raises(KeyboardInterrupt):
                signal.raise_signal(number)
            signal.raise_signal(number)
        assert signal.getsignal(number) is signal.SIG_DFL
    finally:
        signal.signal(number, before)


def test_a_signal_somebody_ignores_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with ending_as_interrupt():
            signal.raise_signal(signal.SIGHUP)
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_a_hang_up_that_a_read_has_shown_already_breaks_into_no_way_down() -> None:
    """Which comes first, the end of the terminal or the signal for it, is chance; either ends the visit, once."""
    master, slave = pty.openpty()
    before = signal.getsignal(signal.SIGHUP)
    try:
        with ending_as_interrupt():
            notice_hang_up(slave)
            with pytest.raises(KeyboardInterrupt):
                signal.raise_signal(signal.SIGTERM)  # the terminal is there still
        with ending_as_interrupt():
            with Keyboard(slave) as keyboard:
                os.close(master)
                with pytest.raises(EOFError):
                    keyboard.keys(1.0)
            signal.raise_signal(signal.SIGHUP)
        signal.raise_signal(signal.SIGHUP)  # nor does it take the exit code away
    finally:
        signal.signal(signal.SIGHUP, before)
        HangUp.forgotten()
        os.close(slave)
