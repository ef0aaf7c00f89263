"""The small drawing of a reading between its limits, and the line it stands in."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.score.model import Outcome, Reason, Score, Verdict
from benchcheck.terminal.drawing import draw
from benchcheck.terminal.lines import score_lines, summary_line
from benchcheck.terminal.wrapping import WIDTH


def score(value: float | None, lower: float | None, upper: float | None, **more: Any) -> Score:
    given_fields: dict[str, Any] = {"verdict": Verdict.PASS, "display": "4.68k", "expanded_uncertainty": 40.0}
    fields = {**given_fields, "guard_band": 40.0, **more}
    return Score("R14.resistance", Outcome.MEASURED, "ohm", value=value, lower=lower, upper=upper, **fields)


def test_a_reading_lies_between_its_limits_with_its_uncertainty_around_it() -> None:
    picture = draw(score(4700.0, 4500.0, 4900.0))
    assert picture == picture[::-1].translate(str.maketrans("[]", "]["))
    assert picture.count("o") == 1
    assert picture.index("[") < picture.index("-") < picture.index("o") < picture.index("]")


@pytest.mark.parametrize(("value", "edge", "place"), [(9e9, ">", -1), (-9e9, "<", 0), (math.inf, ">", -1)])
def test_what_lies_off_the_drawing_is_marked_at_its_edge(value: float, edge: str, place: int) -> None:
    assert draw(score(value, 4500.0, 4900.0))[place] == edge


def test_overload_is_drawn_at_the_far_edge() -> None:
    assert draw(score(None, 4500.0, 4900.0, display="OL"))[-1] == ">"


def test_a_one_sided_limit_leaves_the_other_end_open() -> None:
    assert "[" not in draw(score(0.2, None, 0.4, expanded_uncertainty=0.01, guard_band=0.01))
    assert "]" not in draw(score(900.0, 150.0, None))


@pytest.mark.parametrize(("lower", "upper"), [(None, None), (0.0, 0.0), (None, 0.0)])
def test_without_usable_limits_nothing_is_drawn(lower: float | None, upper: float | None) -> None:
    assert draw(score(1.0, lower, upper)).strip() == ""


FINITE = st.floats(allow_nan=False, allow_infinity=False, width=64)


@given(st.one_of(st.none(), FINITE), st.one_of(st.none(), FINITE), st.one_of(st.none(), FINITE), FINITE)
def test_a_drawing_always_has_its_width(
    value: float | None, lower: float | None, upper: float | None, uncertainty: float
) -> None:
    drawn = draw(score(value, lower, upper, expanded_uncertainty=abs(uncertainty), guard_band=abs(uncertainty)))
    assert len(drawn) == 19
    assert drawn.isascii()


@given(st.floats(-1e6, 1e6), st.sampled_from(list(Verdict)))
def test_a_line_fits_eighty_columns_and_begins_with_the_verdict(value: float, verdict: Verdict) -> None:
    lines = score_lines(score(value, 4500.0, 4900.0, verdict=verdict, because="word " * 40, change="do more " * 9))
    assert all(len(line) <= WIDTH for line in lines)
    assert lines[0].startswith(str(verdict))


def test_a_pass_needs_no_reason_and_an_undecided_one_says_what_would_help() -> None:
    assert len(score_lines(score(4700.0, 4500.0, 4900.0))) == 1
    undecided = score(
        4700.0,
        4500.0,
        4900.0,
        verdict=Verdict.UNDECIDED,
        code=Reason.ONE_SIDED,
        because="Low.",
        change="lift one leg",
    )
    assert "What would change it: lift one leg." in " ".join(score_lines(undecided)[1:])


def test_the_tally_is_in_words_gravest_last() -> None:
    scores = [score(1.0, 0.0, 2.0), score(1.0, 0.0, 2.0, verdict=Verdict.FAIL), Score("x", Outcome.SKIPPED, "ohm")]
    assert summary_line(scores) == "1 pass, 1 fail, 1 skipped"
    assert summary_line([]) == "no checks"
