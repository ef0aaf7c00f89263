"""The budget as told: recomputed here from the printed lines alone, as with a pencil."""

from __future__ import annotations

import math
import re

import pytest

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Formula, Limits
from benchcheck.quantity import parse_value
from benchcheck.readings.reading import Session
from benchcheck.score.explain import explain
from benchcheck.score.judge import judge, judge_derived, skipped
from benchcheck.score.model import Score
from tests.factories import bench, check, reading

BENCH = bench("handheld-6000")
ROW = re.compile(r"^(.{26}) +(\S+) +(rectangular|triangular|normal) +(\S+) +(\S+) +(\S+) +(\d+)% +(\S+)$")


def rows(lines: tuple[str, ...], unit: str) -> list[tuple[float, float, float, float, float]]:
    """(figure, divisor, standard uncertainty, sensitivity, share) of every line of the table."""
    found = [match.groups() for line in lines if (match := ROW.match(line))]
    return [
        (parse_value(fig, unit), float(by), parse_value(u, unit), float(c), float(share) / 100)
        for _, fig, _, by, u, c, share, _ in found
    ]


def figure(lines: tuple[str, ...], title: str, unit: str) -> float:
    text = " ".join(lines)
    found = re.search(re.escape(title) + r": ([-0-9.e]+ ?\w*)", text)
    assert found is not None
    return parse_value(found[1], unit)


def told(of: Check, *shown: str, session: Session | None = None) -> tuple[Score, tuple[str, ...]]:
    seen = judge(of, [reading(of, text, repeat=at) for at, text in enumerate(shown, 1)], BENCH, session or Session())
    return seen, explain(seen, of, BENCH.decision)


@pytest.mark.parametrize("shown", [("4.68k",), ("4.680k",), ("4.681k", "4.684k")])
def test_the_table_recomputes_to_the_combined_standard_uncertainty(shown: tuple[str, ...]) -> None:
    _, lines = told(check("R1.resistance"), *shown)
    table = rows(lines, "ohm")
    assert table
    for stated, divisor, standard, _, _ in table:
        assert stated / divisor == pytest.approx(standard, rel=2e-3)
    combined = math.hypot(*(standard * sensitivity for _, _, standard, sensitivity, _ in table))
    assert combined == pytest.approx(figure(lines, "combined standard uncertainty", "ohm"), rel=2e-3)
    for _, _, standard, sensitivity, share in table:
        assert share == pytest.approx((standard * sensitivity / combined) ** 2, abs=0.006)


def test_expanded_uncertainty_limits_and_guard_band_are_told_as_they_were_used() -> None:
    seen, lines = told(check("R1.resistance"), "4.78k")
    assert figure(lines, "expanded uncertainty", "ohm") == pytest.approx(seen.expanded_uncertainty, rel=1e-3)
    assert figure(lines, "guard band", "ohm") == pytest.approx(seen.guard_band, rel=1e-3)
    text = " ".join(" ".join(lines).split())
    assert "limits: 4.6 kohm to 4.8 kohm (the spec)" in text
    assert "ILAC-G8:09/2019 4.2.3" in text
    assert f"verdict: {seen.verdict}" in text
    assert seen.because in text
    assert f"what would change it: {seen.change}" in text


def test_a_derived_check_is_told_in_plain_si_numbers_for_its_sources_have_units_of_their_own() -> None:
    first, second = (check(f"V.{name}", Function.DC_VOLTAGE, limits=Limits(8.0, 10.0)) for name in ("a", "b"))
    of = check(
        "V.load_regulation", Function.DERIVED, limits=Limits(None, 0.02), quantity_unit="1",
        sources=(first.id, second.id), formula=Formula.LOAD_REGULATION,
    )  # fmt: skip
    sources = {first.id: [reading(first, "9.05")], second.id: [reading(second, "8.97")]}
    seen = judge_derived(of, sources, BENCH, Session(), {first.id: first, second.id: second})
    lines = explain(seen, of, BENCH.decision)
    table = rows(lines, "1")
    combined = math.hypot(*(standard * sensitivity for _, _, standard, sensitivity, _ in table))
    assert seen.budget is not None
    assert combined == pytest.approx(seen.budget.combined_standard_uncertainty, rel=5e-3)
    assert "value: 0.891862 %" in "\n".join(lines)


@pytest.mark.parametrize("shown", ["OL", "jumps", "4.68k", "climbs"])
def test_every_explanation_fits_the_page_and_needs_no_other_characters(shown: str) -> None:
    cold = Session(ambient_c=5.0)
    _, lines = told(check("R1.resistance", why="a" * 40, workaround="Lift one leg. " * 20), shown, session=cold)
    assert all(len(line) <= 84 and line.isascii() for line in lines)


def test_a_check_nobody_read_is_explained_without_a_budget() -> None:
    of = check("R1.resistance")
    lines = explain(skipped(of, "cannot reach the pad"), of, BENCH.decision)
    assert "  skipped" in lines
    assert any("cannot reach the pad" in line for line in lines)
    assert not rows(lines, "ohm")


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits(None, 4.8e3), "accepted: below 4.7"),
        (Limits(4.6e3, None), "accepted: above 4.6"),
        (Limits(4.69e3, 4.71e3), "accepted: nothing"),
    ],
)
def test_the_acceptance_interval_is_told_for_one_limit_two_or_none_left(limits: Limits, words: str) -> None:
    _, lines = told(check("R1.resistance", limits=limits), "4.700k")
    assert words in " ".join(lines)
