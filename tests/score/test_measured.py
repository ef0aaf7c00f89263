"""From readings to a value: leads off, repeats averaged, charge and bad contacts told from measurements."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.finding import Finding
from benchcheck.score.judge import judge
from benchcheck.score.measured import Measured, measure
from benchcheck.score.model import Reason
from tests.factories import bench, check, reading

SIX_K = check("R1.resistance")


def own(leads: str, more: str = "") -> Bench:
    text = f'benchcheck_bench = 1\n[meter.dmm]\nclass = "handheld-6000"\nleads = {leads}\n{more}'
    return load_bench(parse_document(text, "bench.toml"))


def measured(
    of: Check, *shown: str, on: Bench | None = None, session: Session | None = None, **more: Any
) -> Measured:
    taken = [reading(of, text, repeat=at, **more) for at, text in enumerate(shown, 1)]
    found = measure(of, taken, on or bench(), session or Session())
    assert isinstance(found, Measured), found
    return found


def refused(of: Check, *shown: str, on: Bench | None = None, session: Session | None = None, **more: Any) -> Finding:
    taken = [reading(of, text, repeat=at, **more) for at, text in enumerate(shown, 1)]
    found = measure(of, taken, on or bench(), session or Session())
    assert isinstance(found, Finding), found
    return found


def half_width(found: Measured, ending: str) -> float:
    (width,) = [each.half_width for each in found.budget.contributions if each.id.endswith(ending)]
    assert width is not None
    return width


def test_leads_are_taken_off_as_the_session_measured_them_else_as_the_bench_states_them() -> None:
    small = check("L1.dc_resistance", limits=Limits(None, 0.4))
    on = own('{ resistance = "0.2 ohm", limits = "0.1 ohm" }')
    assert measured(small, "0.5", on=on).budget.value == pytest.approx(0.3)
    assert measured(small, "0.5", on=on, session=Session(leads_ohm=0.3)).budget.value == pytest.approx(0.2)
    assert measured(small, "0.5", on=bench()).budget.value == pytest.approx(0.5)


@given(
    part=st.floats(0.0, 300.0),
    gain=st.floats(-0.01, 0.01),
    offset=st.floats(-0.25, 0.25),
    curve=st.floats(-0.25, 0.25),
    contacts=st.floats(-0.05, 0.05),
)
def test_what_shorted_tips_take_off_is_never_further_off_than_the_budget_allows(
    part: float, gain: float, offset: float, curve: float, contacts: float
) -> None:
    """A simulated 600 ohm range within 1 % + 5 digits: gain, offset, an S-shaped curve and rounding to 0.1 ohm."""

    def shown(ohm: float) -> float:
        bent = ohm * (1.0 + gain) + offset + curve * math.sin(2.0 * math.pi * ohm / 600.0)
        return round(bent, 1)

    of = check("L1.dc_resistance", limits=Limits(None, 400.0))
    on, leads_ohm = own('{ resistance = "0.3 ohm", limits = "0.2 ohm" }'), 0.3
    session = Session(leads_ohm=shown(leads_ohm))
    found = measured(of, f"{shown(part + leads_ohm + contacts):.1f}", on=on, session=session)
    lowest, highest = found.budget.distribution.support
    assert lowest - 1e-9 <= part <= highest + 1e-9


def test_tips_shorted_on_the_same_range_make_a_small_resistance_far_better_known_than_the_specification() -> None:
    """0.5 ohm of counts cancel; by hand at 1 ohm: a digit of curve, a digit of rounding, half a digit of contacts."""
    of = check("L1.dc_resistance", limits=Limits(None, 2.0))
    on = own('{ resistance = "0.3 ohm", limits = "0.2 ohm" }')
    stated, null = (measured(of, "1.2", on=on, session=Session(leads_ohm=leads)) for leads in (None, 0.2))
    assert stated.budget.coverage(0.9545).expanded_uncertainty > 0.5
    assert null.budget.coverage(0.9545).expanded_uncertainty < 0.16


def test_the_leads_are_not_taken_off_the_reading_of_the_leads() -> None:
    shorted = check("meter.leads_shorted", phase=Phase.SESSION, limits=Limits(None, 1.0))
    found = measured(shorted, "0.3", on=own('{ resistance = "0.2 ohm" }'), session=Session(leads_ohm=0.3))
    assert found.budget.value == pytest.approx(0.3)


def test_shorted_tips_that_read_kilohms_make_every_two_wire_reading_worthless() -> None:
    found = refused(SIX_K, "4.680k", session=Session(leads_ohm=47e3))
    assert found.code is Reason.CONTACT
    assert "47 kohm" in found.because


def test_one_reading_claims_no_repeatability_of_its_own() -> None:
    assert not [c for c in measured(SIX_K, "4.680k").budget.contributions if "repeatability" in c.id]


def test_repeats_that_agree_are_averaged_and_their_scatter_pooled_with_half_a_digit() -> None:
    """GUM 4.2.4, computed by hand: (8 x 0.5^2 + 2 x 0.5^2) / 9 = 0.2778; its root over the root of 2 is 0.3727."""
    found = measured(SIX_K, "4.681k", "4.682k")
    (scatter,) = [c for c in found.budget.contributions if c.id == "R1.resistance.repeatability"]
    assert found.budget.value == pytest.approx(4681.5)
    assert scatter.standard_uncertainty == pytest.approx(math.sqrt(2.5 / 9 / 2), rel=1e-9)
    assert scatter.degrees_of_freedom == 9.0


def test_repeats_that_scatter_more_than_the_meter_stand_for_themselves() -> None:
    """GUM 4.2.3, computed by hand: 4.681k and 4.687k scatter by 4.243 ohm, their mean by 3 ohm."""
    found = measured(SIX_K, "4.681k", "4.687k")
    (scatter,) = [c for c in found.budget.contributions if c.id == "R1.resistance.repeatability"]
    assert scatter.standard_uncertainty == pytest.approx(3.0, rel=1e-9)
    assert scatter.degrees_of_freedom == 1.0


@pytest.mark.parametrize(
    ("shown", "contact"),
    [
        (("4.681k", "4.684k"), False),
        (("4.681k", "4.701k"), True),
        (("4.68k", "4.70k"), False),
        (("4.68k", "4.74k"), True),
    ],
)
def test_touch_downs_that_differ_by_three_times_what_contacts_repeat_to_are_no_measurement(
    shown: tuple[str, str], contact: bool
) -> None:
    """A digit is what was written down: 4.68k and 4.70k differ by two digits, 4.681k and 4.701k by twenty."""
    taken = [reading(SIX_K, text, repeat=at) for at, text in enumerate(shown, 1)]
    found = judge(SIX_K, taken, bench(), Session())
    assert (found.code is Reason.CONTACT) == contact


def test_what_settles_slowly_may_differ_more_between_two_readings() -> None:
    slow = check("VSW.to_ground[red:VSW]", phase=Phase.TO_GROUND, limits=Limits(150.0, None), settle=True)
    assert measured(slow, "850", "900").budget.value == pytest.approx(875.0)


def test_a_resistance_below_zero_is_charge_not_a_short() -> None:
    found = refused(SIX_K, "-120")
    assert found.code is Reason.METHOD
    assert "discharge" in found.change
    assert measured(check("J1.joint[1]", limits=Limits(None, 1.0)), "-0.1").budget.value == pytest.approx(-0.1)


def test_volts_read_with_red_and_black_exchanged_have_the_other_sign() -> None:
    rail = check("VSW.voltage[0A]", Function.DC_VOLTAGE, Phase.RAILS, limits=Limits(8.6, 9.4))
    assert measured(rail, "-9.02", polarity="swapped").budget.value == pytest.approx(9.02)


def test_a_junction_read_with_red_and_black_exchanged_is_another_check() -> None:
    drop = check("D1.forward_drop", Function.DIODE, limits=Limits(0.5, 0.8))
    found = judge(drop, [reading(drop, "0.62", polarity="swapped")], bench(), Session())
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.METHOD)


def test_a_junction_carries_half_a_kelvin_of_drift_and_the_ambient_it_was_read_at() -> None:
    """2 mV/K (data sheets): 1 mV at half a kelvin, 20 mV in a garage at 13 degC against limits for 23 degC."""
    drop = check("D1.forward_drop", Function.DIODE, limits=Limits(0.5, 0.8))
    cold = measured(drop, "0.640", session=Session(ambient_c=13.0))
    assert half_width(cold, ".drift") == pytest.approx(1e-3)
    assert half_width(cold, "ambient.junction") == pytest.approx(20e-3)
    assert not [c for c in measured(drop, "0.640").budget.contributions if c.id == "ambient.junction"]


def test_an_accuracy_is_widened_where_the_session_is_outside_the_meters_window() -> None:
    inside, outside = (
        half_width(measured(SIX_K, "4.680k", session=Session(ambient_c=ambient)), ".accuracy")
        for ambient in (28.0, 33.0)
    )
    assert outside == pytest.approx(1.5 * inside)


def test_the_meter_and_range_a_reading_names_are_the_ones_that_count() -> None:
    on = own("{ nulled = true }", '[meter.better]\nclass = "bench-6.5"\n')
    assert half_width(measured(SIX_K, "4.6800k", on=on, meter="better"), ".accuracy") == pytest.approx(0.568)
    coarse = measured(SIX_K, "4.68k", on=on, meter_range="60 kohm")
    assert half_width(coarse, ".accuracy") == pytest.approx(0.008 * 4680 + 30)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"meter": "bench9"}, 'no instrument "bench9"'),
        ({"meter_range": "600"}, 'no range "600" of ohms that shows 4.68 kohm'),
    ],
)
def test_a_meter_or_range_that_cannot_have_shown_it_decides_nothing(more: dict[str, Any], words: str) -> None:
    found = refused(SIX_K, "4.680k", **more)
    assert found.code is Reason.METER
    assert words in found.because


def test_a_value_beyond_every_range_of_the_meter_decides_nothing() -> None:
    assert "no range of ohms that shows 70 Mohm" in refused(SIX_K, "70M").because


def test_a_time_is_good_to_a_whole_digit_of_what_was_written() -> None:
    inrush = check("BATT.inrush_time", Function.TIME, Phase.IDLE, limits=Limits(None, 0.216))
    found = judge(inrush, [reading(inrush, "70 ms")], bench(), Session())
    assert found.verdict is Verdict.PASS
    assert found.budget is not None
    assert found.budget.contributions[0].half_width == pytest.approx(1e-3)


def test_a_meter_without_leads_limits_still_names_its_class_in_the_budget() -> None:
    origin = measured(SIX_K, "4.680k").budget.contributions[0].origin
    assert "handheld-6000" in origin
    assert "0.8 % + 3" in origin
