"""Differences, regulation and slopes on one meter: what is shared cancels, what is not stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Formula, Limits, Phase
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge, judge_derived
from benchcheck.score.model import Outcome, Reason, Score
from tests.factories import bench, check, reading

BENCH = bench("handheld-6000")


def with_load() -> Bench:
    text = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "handheld-6000"\nleads = { nulled = true }\n[load.eload]\n'
    return load_bench(parse_document(text, "bench.toml"))


def volts(name: str, load_a: float | None = None) -> Check:
    return check(f"X.{name}", Function.DC_VOLTAGE, Phase.RAILS, limits=Limits(-60.0, 60.0), load_a=load_a)


def derived(formula: Formula, limits: Limits, unit: str, *sources: Check, **more: Any) -> Check:
    given = {"quantity_unit": unit, "sources": tuple(source.id for source in sources), "formula": formula}
    return check("X.derived", Function.DERIVED, Phase.RAILS, limits=limits, **given, **more)


def score(of: Check, on: Bench, *read: tuple[Check, str], **more: Any) -> Score:
    sources = {source.id: [reading(source, shown, **more)] for source, shown in read}
    return judge_derived(of, sources, on, Session(), {source.id: source for source, _ in read})


def terms(found: Score) -> Mapping[str, float]:
    assert found.budget is not None
    return {each.id: each.output_uncertainty for each in found.budget.contributions}


FIRST, SECOND = volts("first", 0.0), volts("second", 0.12)


def test_load_regulation_is_the_sag_over_the_full_load_voltage() -> None:
    """(V at least load - V at full load) / V at full load: 9.05 V and 8.97 V are 0.892 %."""
    regulation = derived(Formula.LOAD_REGULATION, Limits(None, 0.02), "1", FIRST, SECOND)
    found = score(regulation, BENCH, (FIRST, "9.05"), (SECOND, "8.97"))
    assert found.value == pytest.approx(0.08 / 8.97, rel=1e-9)
    assert found.verdict is Verdict.PASS


def test_a_gain_error_the_readings_share_is_gone_from_their_ratio() -> None:
    """By hand: of 0.7 % + 5 digits of 10 mV the gain cancels whole, of the 50 mV the difference of 1/V is left."""
    regulation = derived(Formula.LOAD_REGULATION, Limits(None, 0.02), "1", FIRST, SECOND)
    found = score(regulation, BENCH, (FIRST, "9.05"), (SECOND, "8.97"))
    assert terms(found)["dmm.dc_voltage.60.accuracy"] == pytest.approx(0.05 * 0.08 / 8.97**2 / 3**0.5, rel=1e-6)
    assert found.expanded_uncertainty is not None
    assert found.expanded_uncertainty < 0.0018


def test_readings_on_different_ranges_share_nothing() -> None:
    difference = derived(Formula.DIFFERENCE, Limits(-1.0, 1.0), "V", FIRST, SECOND)
    apart = score(difference, BENCH, (FIRST, "6.10"), (SECOND, "5.900"))
    assert {"dmm.dc_voltage.60.accuracy", "dmm.dc_voltage.6.accuracy"} == set(terms(apart))
    together = score(difference, BENCH, (FIRST, "6.10"), (SECOND, "6.05"))
    assert terms(together)["dmm.dc_voltage.60.accuracy"] < 0.01 * terms(apart)["dmm.dc_voltage.60.accuracy"]


def test_what_remains_is_linearity_rounding_and_the_drift_of_both_junctions() -> None:
    """By hand: one digit and a bend of 5 mV x 2 pi x 7 mV / 3 V; a triangle of a digit; 1 mV for each junction."""
    be, bc = (check(f"Q1.{name}", Function.DIODE, limits=Limits(0.45, 0.80)) for name in ("be_drop", "bc_drop"))
    difference = derived(Formula.DIFFERENCE, Limits(0.0, 0.03), "V", be, bc)
    found = terms(score(difference, BENCH, (be, "0.648"), (bc, "0.641")))
    root_3 = 3**0.5
    assert found["X.derived.linearity"] == pytest.approx(
        (1e-3 + 5e-3 * 2 * 3.14159265 * 7e-3 / 3.0) / root_3, rel=1e-6
    )
    assert found["X.derived.rounding"] == pytest.approx(1e-3 / 6**0.5, rel=1e-9)
    assert found["Q1.be_drop.drift"] == found["Q1.bc_drop.drift"] == pytest.approx(1e-3 / root_3, rel=1e-9)


def test_ambient_moves_both_junctions_alike_and_cancels() -> None:
    be, bc = (check(f"Q1.{name}", Function.DIODE, limits=Limits(0.45, 0.80)) for name in ("be_drop", "bc_drop"))
    difference = derived(Formula.DIFFERENCE, Limits(0.0, 0.03), "V", be, bc)
    sources = {each.id: [reading(each, shown)] for each, shown in ((be, "0.678"), (bc, "0.671"))}
    found = judge_derived(difference, sources, BENCH, Session(ambient_c=8.0), {be.id: be, bc.id: bc})
    assert terms(found)["ambient.junction"] == 0.0


def test_a_slope_takes_volts_over_the_current_they_rise_with() -> None:
    """25.1 mV at 0.5 A and 10.1 mV at 0.2 A: 50 mohm; the load's gain error is all of the current's."""
    high, low = volts("high", 0.5), volts("low", 0.2)
    resistance = derived(Formula.SLOPE, Limits(None, 0.06), "ohm", high, low)
    found = score(resistance, with_load(), (high, "25.1 mV"), (low, "10.1 mV"))
    assert found.value == pytest.approx(0.050, rel=1e-9)
    assert "eload.dc_current.10.accuracy" in terms(found)
    assert "X.derived.heating" in terms(found)


def test_a_load_switched_off_draws_exactly_nothing() -> None:
    """By hand: only the 0.5 A is uncertain, 0.2 % and 10 digits of 1 mA: 11 mA of 500 mA, over root 3."""
    high, off = volts("high", 0.5), volts("off", 0.0)
    resistance = derived(Formula.SLOPE, Limits(None, 0.06), "ohm", high, off)
    found = score(resistance, with_load(), (high, "25.1 mV"), (off, "0.1 mV"))
    assert terms(found)["eload.dc_current.10.accuracy"] == pytest.approx(0.050 * 0.011 / 0.5 / 3**0.5, rel=1e-9)


def test_a_current_nobody_reads_back_is_taken_as_set_within_five_percent() -> None:
    high, low = volts("high", 0.5), volts("low", 0.2)
    resistance = derived(Formula.SLOPE, Limits(None, 0.06), "ohm", high, low)
    found = score(resistance, BENCH, (high, "25.1 mV"), (low, "10.1 mV"))
    assert terms(found)["load.current"] == pytest.approx(0.050 * 0.05 / 3**0.5, rel=1e-9)


def test_internal_resistance_is_positive_where_volts_sag() -> None:
    rest, loaded = volts("rest", 0.0), volts("loaded", 0.5)
    inside = derived(Formula.INTERNAL_RESISTANCE, Limits(None, 0.5), "ohm", rest, loaded)
    found = score(inside, with_load(), (rest, "1.580"), (loaded, "1.480"))
    assert found.value == pytest.approx(0.2, rel=1e-9)
    assert found.verdict is Verdict.PASS


def test_currents_may_be_read_as_sources_of_their_own() -> None:
    high, low = volts("high"), volts("low")
    at_high, at_low = (
        check(f"X.{name}", Function.DC_CURRENT, limits=Limits(0.0, 1.0)) for name in ("i_high", "i_low")
    )
    resistance = derived(Formula.SLOPE, Limits(None, 0.06), "ohm", high, low, at_high, at_low)
    found = score(resistance, BENCH, (high, "25.1 mV"), (low, "10.1 mV"), (at_high, "500.0 mA"), (at_low, "200.0 mA"))
    assert found.value == pytest.approx(0.050, rel=1e-9)
    assert "X.derived.current.linearity" in terms(found)


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ("OL", "8.97", 'shows "OL", and a number is needed'),
        ("9.05", "jumps", 'shows "jumps"'),
        ("9.05", "0.000", "reads zero"),
    ],
)
def test_a_source_without_a_number_leaves_the_formula_undecided(first: str, second: str, words: str) -> None:
    regulation = derived(Formula.LOAD_REGULATION, Limits(None, 0.02), "1", FIRST, SECOND)
    found = score(regulation, BENCH, (FIRST, first), (SECOND, second))
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.METHOD)
    assert words in found.because
    assert found.change


def test_a_source_nobody_read_leaves_the_check_skipped() -> None:
    regulation = derived(Formula.LOAD_REGULATION, Limits(None, 0.02), "1", FIRST, SECOND)
    found = judge_derived(regulation, {FIRST.id: [reading(FIRST, "9.05")]}, BENCH, Session(), {FIRST.id: FIRST})
    assert found.outcome is Outcome.SKIPPED
    assert SECOND.id in found.because


@pytest.mark.parametrize(("loads", "words"), [((0.2, 0.2), "one current"), ((None, 0.2), "not known")])
def test_a_slope_needs_two_known_currents(loads: tuple[float | None, float], words: str) -> None:
    high, low = volts("high", loads[0]), volts("low", loads[1])
    resistance = derived(Formula.SLOPE, Limits(None, 0.06), "ohm", high, low)
    found = score(resistance, with_load(), (high, "25.1 mV"), (low, "10.1 mV"))
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.METHOD)
    assert words in found.because


def test_a_derived_check_is_computed_not_typed() -> None:
    regulation = derived(Formula.LOAD_REGULATION, Limits(None, 0.02), "1", FIRST, SECOND)
    found = judge(regulation, [reading(regulation, "0.9 %")], BENCH, Session())
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.METHOD)
    assert FIRST.id in found.change


@given(st.integers(100, 590), st.integers(-50, 50))
def test_a_difference_is_never_less_sure_than_two_readings_that_share_nothing(millivolts: int, apart: int) -> None:
    difference = derived(Formula.DIFFERENCE, Limits(-1.0, 1.0), "V", FIRST, SECOND)
    shown = (f"{millivolts / 1000 + 1:.3f}", f"{(millivolts + apart) / 1000 + 1:.3f}")
    shared = score(difference, BENCH, (FIRST, shown[0]), (SECOND, shown[1]))
    other = replace(BENCH, meters={**BENCH.meters, "second": replace(BENCH.meters["dmm"], name="second")})
    sources = {FIRST.id: [reading(FIRST, shown[0])], SECOND.id: [reading(SECOND, shown[1], meter="second")]}
    alone = judge_derived(difference, sources, other, Session(), {FIRST.id: FIRST, SECOND.id: SECOND})
    assert shared.expanded_uncertainty is not None
    assert alone.expanded_uncertainty is not None
    assert shared.value == pytest.approx(alone.value, abs=1e-12)
    assert shared.expanded_uncertainty < alone.expanded_uncertainty
