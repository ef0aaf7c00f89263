"""What the guided screen looks like at any size, and the large bar on it."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.terminal.bar import Gauge, bar_lines
from benchcheck.terminal.canvas import Canvas
from benchcheck.terminal.face import Last, View, face
from tests.terminal.glass import Glass

GAUGE = Gauge("ohm", 4600.0, 4800.0, 20.0, 4680.0, 15.0)
VIEW = View(
    title="Ellwick T-4 metronome B, unit 7",
    progress="12 of 61, about 9 min left",
    check="R14.resistance",
    rows=(
        ("first", "discharge C9 through a resistor, then wait until it is below 50 mV"),
        ("set", "ohms"),
        ("red", "R14 lead 1 (net FB)"),
        ("black", "R14 lead 2 (net GND)"),
        ("expect", "4.6 kohm to 4.8 kohm; the board around it may make it read lower"),
    ),
    reading="4.680 kohm",
    state="steady",
    gauge=GAUGE,
    last=Last("D3.forward_drop", "fail", "0.02 V", "0.02 V lies 130 mV below the lower limit; that is metal"),
    after="R25.resistance: red R25 lead 1, black R25 lead 2",
    messages=("it jumped: take the tips off and put them on again",),
    keys=(("a", "accept"), ("r", "repeat"), ("x", "exchange leads"), ("u", "undo"), ("s", "skip"), ("q", "quit")),
)


def shown(view: View, columns: int, rows: int) -> Glass:
    """Return the glass a view was painted on."""
    glass = Glass(columns, rows)
    canvas = Canvas(glass.write)
    canvas.paint(face(view, columns, rows), (columns, rows))
    return glass


def test_at_80_by_24_everything_is_there(capsys: pytest.CaptureFixture[str]) -> None:
    text = "\n".join(line.text for line in face(VIEW, 80, 24))
    for words in (
        "unit 7", "12 of 61, about 9 min left", "R14.resistance", "discharge C9", "R14 lead 1 (net FB)", "4.680 kohm",
        "steady", "fail  D3.forward_drop  0.02 V", "that is metal", "next     R25.resistance", "x exchange leads",
        "put them on again", "4.6 kohm", "4.8 kohm",
    ):  # fmt: skip
        assert words in text
    assert len(face(VIEW, 80, 24)) == 24


def test_at_20_columns_check_probes_reading_verdict_and_keys_remain() -> None:
    text = " ".join("\n".join(line.text for line in face(VIEW, 20, 24)).split())
    for words in ("R14.resistance", "red: R14 lead 1 (net FB)", "4.680 kohm", "fail:", "a accept"):
        assert words in text


def test_at_20_columns_a_long_id_and_a_long_progress_are_folded_and_not_cut() -> None:
    view = replace(VIEW, check="meter.reference_resistor", progress="of the meter itself 2 of 4")
    lines = [line.text for line in face(view, 20, 24)]
    assert all(len(line) <= 20 for line in lines)
    text = " ".join(" ".join(lines).split())
    assert "meter. reference_resistor" in text
    assert "of the meter itself 2 of 4" in text


@settings(max_examples=150, deadline=None)
@given(st.integers(10, 200), st.integers(4, 70), st.booleans(), st.booleans())
def test_at_any_size_nothing_leaves_the_screen_and_the_check_stays(
    columns: int, rows: int, typing: bool, paged: bool
) -> None:
    changes = {"entry": "4.68k"} if typing else {}
    page = {"page": tuple(f"line {place} with a few words more" for place in range(90))} if paged else {}
    view = View(**{**{name: getattr(VIEW, name) for name in VIEW.__slots__}, **changes, **page})
    lines = face(view, columns, rows)
    assert len(lines) <= rows
    assert all(len(line) <= columns for line in Glass(columns, rows).lines)
    if rows >= 8 and not paged:
        assert any(line.text.startswith("R14.resist"[: columns - 1]) for line in lines)
    if typing:
        assert any(line.text.startswith("> 4.68k"[:columns]) or "4.68k" in line.text for line in lines)


def test_the_smallest_window_keeps_where_the_tips_go_the_power_and_how_to_end_it() -> None:
    small = {
        "check": "BATT.to_ground[red:BATT]",
        "rows": (("first", "wait until it has settled"), ("red", "a pad of BATT"), ("black", "a pad of GND")),
        "power": "POWER ON  6.000 V  40.0 mA  limit 300 mA",
        "keys": (*VIEW.keys, ("any other key", "power off")),
        "messages": (),
    }
    lines = face(View(**{**{name: getattr(VIEW, name) for name in VIEW.__slots__}, **small}), 20, 10)
    text = "\n".join(line.text for line in lines)
    for words in ("[red:BATT]", "red: a pad of BATT", "black: a pad of GND", "POWER ON", "other keys power off"):
        assert words in text
    assert "q" in lines[-1].text.split(), "and how to stop"


def test_a_question_is_read_whole_in_the_smallest_window_and_what_the_keys_do() -> None:
    question = "Soak: will you stay beside the unit for 10 min, ready to switch off by hand?"
    keys = (("yes, no, Enter", "answer"), ("any other key", "power off"))
    asking = {"messages": (question,), "entry": "", "prompt": "yes or no", "keys": keys}
    view = View("unit 7", "soak", "The unit runs: stay beside it.", last=VIEW.last, **asking)  # type: ignore[arg-type]
    text = " ".join(" ".join(line.text for line in face(view, 20, 10)).split())
    assert question in text
    assert "yes, no, Enter" in text
    assert "power off" in text


def test_only_lines_that_changed_are_painted_again() -> None:
    written: list[str] = []
    canvas = Canvas(written.append)
    canvas.paint(face(VIEW, 80, 24), (80, 24))
    canvas.paint(face(VIEW, 80, 24), (80, 24))
    assert len(written) == 1
    moved = View(**{**{name: getattr(VIEW, name) for name in VIEW.__slots__}, "reading": "4.681 kohm"})
    canvas.paint(face(moved, 80, 24), (80, 24))
    assert len(re.findall(r"\x1b\[\d+;1H", written[-1])) == 1


def test_a_text_that_would_move_the_cursor_cannot() -> None:
    view = View(**{**{name: getattr(VIEW, name) for name in VIEW.__slots__}, "messages": ("a\x1b[2Jb\a\r\nc",)})
    glass = shown(view, 80, 24)
    assert glass.bells == 0
    assert "R14.resistance" in glass.text


def test_the_bar_shows_limits_guard_bands_value_and_uncertainty() -> None:
    pointer, body, whiskers, numbers = bar_lines(GAUGE, 60)
    assert body.count("[") == body.count("]") == 1
    assert pointer.index("v") == whiskers.index("<") + (whiskers.index(">") - whiskers.index("<")) // 2
    assert body.index("[") < body.index(":") < body.rindex(":") < body.index("]")
    assert body[body.index("[") + 1] == "#"
    assert "4.6 kohm" in numbers
    assert "4.8 kohm" in numbers


def test_a_value_off_the_bar_is_marked_at_its_edge_and_overload_too() -> None:
    for value, mark, place in ((9e9, ">", -1), (math.inf, ">", -1), (-5.0, "<", 0)):
        pointer = bar_lines(Gauge("ohm", 4600.0, 4800.0, value=value), 40)[0]
        assert pointer.rstrip()[place] == mark


numbers = st.one_of(st.none(), st.floats(allow_nan=False, allow_infinity=False), st.just(math.inf))


@settings(max_examples=200, deadline=None)
@given(numbers, numbers, numbers, st.one_of(st.none(), st.floats(0.0, 1e6)), st.integers(5, 120))
def test_no_numbers_break_the_bar(
    lower: float | None, upper: float | None, value: float | None, guard: float | None, width: int
) -> None:
    lower = None if lower == math.inf else lower
    upper = None if upper == math.inf else upper
    for line in bar_lines(Gauge("ohm", lower, upper, guard, value, guard), width):
        assert len(line) <= width


@pytest.mark.parametrize("length", [80, 200, 400, 1000])
def test_a_long_reason_of_the_check_before_does_not_take_the_bar_away(length: int) -> None:
    told = ("the pad has come off the board and hangs by its trace " * 20)[:length].strip()
    last = Last("C9.esr", "skipped", "", f"{told}. What would change it: read it")
    text = [line.text for line in face(replace(VIEW, last=last), 80, 24)]
    assert any(line.strip().startswith("---") and "[" in line and "]" in line for line in text), "\n".join(text)
    assert any("the pad has come off" in line for line in text)
    assert any("red       R14" in line or "red      R14" in line for line in text)


def test_what_the_signs_of_the_bar_mean_stands_between_its_limits_where_there_is_room() -> None:
    assert ": accepted, # guard band" in bar_lines(GAUGE, 76)[3]
    assert "guard band" not in bar_lines(replace(GAUGE, guard_band=0.0), 76)[3]
    for width in range(12, 100):
        numbers = bar_lines(GAUGE, width)[3]
        assert len(numbers) <= width
        assert "4.6 kohm" in numbers, "the limits come first"
