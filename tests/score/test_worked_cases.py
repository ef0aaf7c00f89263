"""Worked cases of the trade (common practice, no source): what a careful technician would say of each reading."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Evidence, Formula, Limits, Phase
from benchcheck.kinds.fields import Volts
from benchcheck.kinds.zener import Zener, zener_limits
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge, judge_derived, skipped
from benchcheck.score.model import Outcome, Reason, Score
from tests.factories import bench, check, reading

#: a 6000-count hobby meter by its class figures: volts 0.7 % + 5, ohms 0.8 % + 3, diode 1.5 % + 5 (no source).
METER_B = """\
benchcheck_bench = 1
[meter.b]
leads = { nulled = true }
[[meter.b.range]]
function = "ohms"
full_scale = "600 ohm"
resolution = "0.1 ohm"
accuracy = "1.0 % + 5"
test_current = "400 uA"
compliance = "3 V"
[[meter.b.range]]
function = "ohms"
full_scale = "6 kohm"
resolution = "1 ohm"
accuracy = "0.8 % + 3"
test_current = "100 uA"
compliance = "3 V"
[[meter.b.range]]
function = "ohms"
full_scale = "60 kohm"
resolution = "10 ohm"
accuracy = "0.8 % + 3"
test_current = "10 uA"
compliance = "3 V"
[[meter.b.range]]
function = "diode"
full_scale = "3 V"
resolution = "1 mV"
accuracy = "1.5 % + 5"
test_current = "1 mA"
compliance = "3 V"
[[meter.b.range]]
function = "dc_voltage"
full_scale = "6 V"
resolution = "1 mV"
accuracy = "0.7 % + 5"
[[meter.b.range]]
function = "dc_current"
full_scale = "600 uA"
resolution = "0.1 uA"
accuracy = "1 % + 3"
[[meter.b.range]]
function = "capacitance"
full_scale = "600 uF"
resolution = "0.1 uF"
accuracy = "3 % + 5"
"""


def bench_of(text: str) -> Bench:
    return load_bench(parse_document(text, "bench.toml"))


B = bench_of(METER_B)
SESSION = Session()


def score(one: Check, *shown: str, on: Bench = B, session: Session = SESSION) -> Score:
    return judge(one, [reading(one, text, repeat=at) for at, text in enumerate(shown, 1)], on, session)


def ohms(lower: float | None, upper: float | None, evidence: Evidence = Evidence.DIRECT, **more: Any) -> Check:
    return check("R1.resistance", limits=Limits(lower, upper), evidence=evidence, **more)


def volts(function: Function, lower: float | None, upper: float | None, **more: Any) -> Check:
    return check("D1.forward_drop", function, limits=Limits(lower, upper), **more)


TEN_K = ohms(9.5e3, 10.5e3, Evidence.LOWERED, expected=10e3)


def test_case_1_a_low_reading_in_circuit_proves_nothing() -> None:
    """10 k 5 % reads 9.09 k: consistent with about 100 k around it, no pass and no fail."""
    found = score(TEN_K, "9.09k")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.ONE_SIDED)
    assert "99.9 kohm" in found.because or "100 kohm" in found.because
    assert "lift one leg" in found.change


def test_case_2_too_high_in_circuit_convicts_beyond_the_guard_band() -> None:
    """The same reads 10.9 k: beyond 10.5 k and +-0.117 k of the meter."""
    found = score(TEN_K, "10.90k")
    assert found.verdict is Verdict.FAIL
    assert found.guard_band == pytest.approx(117, rel=0.05)


def test_case_3_just_above_the_limit_is_a_conditional_fail() -> None:
    assert score(TEN_K, "10.55k").verdict is Verdict.CONDITIONAL_FAIL


def test_case_7_three_tenths_of_an_ohm_with_leads_of_two_tenths_is_a_short() -> None:
    isolated = check("isolation.resistance[A:B]", phase=Phase.ISOLATION, limits=Limits(10e3, None))
    with_leads = bench_of(METER_B.replace("{ nulled = true }", '{ resistance = "0.2 ohm", limits = "0.1 ohm" }'))
    found = score(isolated, "0.3", on=with_leads, session=Session(leads_ohm=0.2))
    assert found.verdict is Verdict.FAIL
    assert found.value == pytest.approx(0.1)
    assert "bridge" in found.because


def test_case_9_a_shorted_electrolytic_shows_in_ohms_and_overload_of_capacitance_is_not_too_big() -> None:
    """C mode OL and 0.4 ohm: shorted; the capacitance alone decides nothing beyond full scale."""
    screen = check("C1.leakage_screen", limits=Limits(1.1, None), evidence=Evidence.SCREEN)
    farads = check("C1.capacitance", Function.CAPACITANCE, limits=Limits(80e-6, 120e-6), evidence=Evidence.RAISED)
    assert score(screen, "0.4").verdict is Verdict.FAIL
    found = score(farads, "OL")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.ONE_SIDED)
    assert "short" in found.because


def test_case_10_a_leaky_capacitor_settles_low_and_the_screen_rejects_it() -> None:
    screen = check("C1.leakage_screen", limits=Limits(100e3, None), evidence=Evidence.SCREEN)
    assert score(screen, "climbs to 12k").verdict is Verdict.FAIL
    alone = check("C1.capacitance", Function.CAPACITANCE, limits=Limits(80e-6, 120e-6))
    assert score(alone, "190.0u").verdict is Verdict.FAIL, "off the board"
    beside = check("C1.capacitance", Function.CAPACITANCE, limits=Limits(80e-6, 120e-6), evidence=Evidence.RAISED)
    assert score(beside, "190.0u").code is Reason.ONE_SIDED, "on the board others may add to it"


def test_a_screen_never_proves() -> None:
    screen = check("C1.leakage_screen", limits=Limits(1e3, None), evidence=Evidence.SCREEN)
    assert score(screen, "climbs to 50k").verdict is Verdict.UNDECIDED


def test_case_12_a_reversed_electrolytic_is_found_before_power() -> None:
    marked = check("C1.polarity[marked]", phase=Phase.POLARITY, limits=Limits(None, 2.0))
    other = check("C1.polarity[other]", phase=Phase.POLARITY, limits=Limits(5.0, None))
    assert score(marked, "OL").verdict is Verdict.FAIL
    assert score(other, "0.1").verdict is Verdict.FAIL
    assert score(marked, "0.1").verdict is Verdict.PASS
    assert score(other, "1.4k").verdict is Verdict.PASS


def test_case_14_a_pnp_fitted_for_an_npn_shows_overload_where_it_should_conduct() -> None:
    assert score(volts(Function.DIODE, 0.55, 0.80), "OL").verdict is Verdict.FAIL


def test_case_15_a_base_on_another_pin_shows_overload_on_one_junction_and_a_drop_on_the_other() -> None:
    """pin 2 to 1 reads .66 and pin 2 to 3 .65 while pin 1 should be the base: red on pin 1 reads OL both ways."""
    be, bc = (check(f"Q1.{name}", Function.DIODE, limits=Limits(0.45, 0.80)) for name in ("be_drop", "bc_drop"))
    assert score(be, "OL").verdict is Verdict.FAIL
    assert score(bc, "OL").verdict is Verdict.FAIL
    assert "exchange red and black" in score(be, "OL").change


@pytest.mark.parametrize(
    ("emitter", "collector", "verdict"), [("0.648", "0.641", "pass"), ("0.640", "0.651", "fail")]
)
def test_case_16_the_sign_of_the_difference_tells_what_absolute_limits_cannot(
    emitter: str, collector: str, verdict: str
) -> None:
    """B-E must read above B-C on the same meter; both pass their own windows either way."""
    be, bc = (check(f"Q1.{name}", Function.DIODE, limits=Limits(0.55, 0.80)) for name in ("be_drop", "bc_drop"))
    difference = check(
        "Q1.drop_difference",
        Function.DERIVED,
        limits=Limits(0.0, 0.06),
        quantity_unit="V",
        sources=(be.id, bc.id),
        formula=Formula.DIFFERENCE,
    )
    shown = {be.id: [reading(be, emitter)], bc.id: [reading(bc, collector)]}
    found = judge_derived(difference, shown, B, SESSION, {be.id: be, bc.id: bc})
    assert str(found.verdict) == verdict
    assert score(be, emitter).verdict is Verdict.PASS
    assert score(bc, collector).verdict is Verdict.PASS
    assert found.expanded_uncertainty is not None
    assert found.expanded_uncertainty < 0.005, "far better than the 15 mV of the meter's own specification"


def test_case_17_a_charged_gate_looks_like_a_short_until_it_is_discharged() -> None:
    """S to D .02 at first: discharge and read again; .48 and OL after that is a good part, the retry kept."""
    body = check("Q2.body_diode", Function.DIODE, limits=Limits(0.40, 0.75), first_step="join gate and source")
    blocking = check("Q2.blocking", Function.DIODE, limits=Limits(1.0, None), first_step="join gate and source")
    charged = score(body, "0.020")
    assert charged.verdict is Verdict.FAIL
    assert "switched on" in charged.because
    assert charged.change.startswith("join gate and source, then")
    again = judge(body, [reading(body, "0.480", retries=("0.020",))], B, SESSION)
    assert (again.verdict, again.attempts) == (Verdict.PASS, 2)
    assert score(blocking, "OL").verdict is Verdict.PASS


def test_case_18_a_p_channel_for_an_n_fails_both_ways_and_the_probes_are_exchanged_first() -> None:
    body = check("Q2.body_diode", Function.DIODE, limits=Limits(0.40, 0.75))
    blocking = check("Q2.blocking", Function.DIODE, limits=Limits(1.0, None))
    lowered = replace(blocking, evidence=Evidence.LOWERED)
    assert score(body, "OL").verdict is Verdict.FAIL
    assert "exchange red and black" in score(body, "OL").change
    assert score(blocking, "0.520").verdict is Verdict.FAIL
    assert score(lowered, "0.520").code is Reason.ONE_SIDED, "on the board something beside it may conduct"


def test_case_19_a_white_led_on_low_compliance_cannot_be_told() -> None:
    low = bench_of(METER_B.replace('full_scale = "3 V"', 'full_scale = "2 V"').replace('"3 V"', '"1.5 V"'))
    found = score(volts(Function.DIODE, 2.4, 2.9), "OL", on=low)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.COMPLIANCE)


def test_case_20_a_zener_above_the_compliance_is_unverified() -> None:
    found = score(volts(Function.DIODE, 4.8, 5.4), "OL")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.COMPLIANCE)


def test_case_21_the_soft_knee_of_a_low_zener_is_not_a_fault() -> None:
    """2.4 V at 5 mA shows 1.9 V at the meter's 1 mA: within what the kind of part allows for."""
    limits = zener_limits(Zener(designator="D7", kind="zener", value=Volts(2.4)))
    soft = volts(Function.DIODE, limits.lower, limits.upper)
    assert score(soft, "1.900").verdict is Verdict.PASS
    assert score(soft, "0.700").verdict is Verdict.FAIL


def test_overload_passes_a_lower_limit_that_full_scale_safely_exceeds() -> None:
    assert score(volts(Function.DIODE, 1.0, None), "OL").verdict is Verdict.PASS
    assert score(ohms(1e6, None), "OL").verdict is Verdict.UNDECIDED, "60 kohm full scale shows nothing of 1 Mohm"


def test_case_26_an_off_current_below_its_limit_by_more_than_u_passes() -> None:
    off = check("BATT.off_current", Function.DC_CURRENT, Phase.OFF, limits=Limits(None, 23e-6))
    assert score(off, "18.0u").verdict is Verdict.PASS
    assert score(off, "falls to 18.0u").verdict is Verdict.PASS
    assert score(off, "falls").code is Reason.METHOD, "wait: what still falls is charge, not drain"
    assert score(off, "400u").verdict is Verdict.FAIL


def test_case_30_a_lithium_cell_near_its_limit_cannot_be_told_with_a_hobby_meter() -> None:
    """4.23 V on +-35 mV against 4.15..4.25 V: conditional at best, a better meter decides."""
    found = score(volts(Function.DC_VOLTAGE, 4.15, 4.25), "4.230")
    assert found.verdict is Verdict.CONDITIONAL_PASS
    assert "U below 20 mV" in found.change
    better = score(volts(Function.DC_VOLTAGE, 4.15, 4.25), "4.2300", on=bench("bench-5.5"))
    assert better.verdict is Verdict.PASS


def test_case_33_overload_from_a_lead_to_the_next_part_is_an_open_joint() -> None:
    joint = check("R1.joint[1]", phase=Phase.JOINTS, limits=Limits(None, 1.0))
    assert score(joint, "OL").verdict is Verdict.FAIL


def test_two_touches_that_disagree_are_a_contact_problem_not_a_verdict() -> None:
    found = score(ohms(4.6e3, 4.8e3), "4.68k", "7.91k")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CONTACT)


@pytest.mark.parametrize("shown", ["jumps", "JUMPS"])
def test_a_reading_that_jumps_is_a_contact_problem(shown: str) -> None:
    assert score(ohms(4.6e3, 4.8e3), shown).code is Reason.CONTACT


@pytest.mark.parametrize("absent", ["not reachable", "not present"])
def test_a_point_that_cannot_be_reached_is_skipped_not_judged(absent: str) -> None:
    found = score(ohms(4.6e3, 4.8e3), absent)
    assert found.outcome is Outcome.SKIPPED
    assert found.verdict is None


def test_a_reading_exactly_on_a_limit_takes_the_worse_verdict() -> None:
    assert score(ohms(None, 4.7e3), "4.700k").verdict is Verdict.CONDITIONAL_FAIL
    assert score(ohms(4.7e3, None), "4.700k").verdict is Verdict.CONDITIONAL_FAIL


def test_without_room_for_acceptance_the_meter_decides_nothing_unless_the_reading_is_far_out() -> None:
    tight = ohms(4.699e3, 4.701e3)
    assert (score(tight, "4.700k").verdict, score(tight, "4.700k").code) == (Verdict.UNDECIDED, Reason.METER)
    assert score(tight, "5.200k").verdict is Verdict.FAIL


def test_a_resistance_that_cannot_be_negative_has_no_room_below_its_guard_band() -> None:
    assert score(ohms(None, 0.2), "0.0").code is Reason.METER


def test_a_function_nothing_on_the_bench_has_is_said_to_be_missing() -> None:
    found = score(check("L1.inductance", Function.INDUCTANCE, limits=Limits(18e-6, 26e-6)), "22u")
    assert found.verdict is Verdict.UNDECIDED
    assert found.change


def test_case_34_a_good_capacitance_leaves_an_esr_nobody_read_unproven() -> None:
    esr = check("C1.esr", Function.ESR, limits=Limits(None, 1.0))
    value = check("C1.capacitance", Function.CAPACITANCE, limits=Limits(17.6e-6, 26.4e-6))
    assert score(value, "21.5u").verdict is Verdict.PASS
    unread = skipped(esr, "no ESR meter")
    assert (unread.outcome, unread.verdict) == (Outcome.SKIPPED, None)
    assert unread.change


def test_a_beep_does_not_show_a_good_joint() -> None:
    assert score(ohms(None, 1.0), "beep", on=bench()).verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(("said", "verdict"), [("yes", "pass"), ("no", "fail"), ("YES", "pass")])
def test_a_visual_check_takes_its_answers(said: str, verdict: str) -> None:
    seen = check("C1.orientation", Function.VISUAL, Phase.VISUAL, limits=Limits(), answers=("yes", "no"))
    assert str(score(seen, said).verdict) == verdict


def test_everything_short_of_a_pass_says_why_and_what_would_change_it() -> None:
    for found in (
        score(TEN_K, "9.09k"), score(TEN_K, "10.55k"), score(TEN_K, "10.90k"), score(ohms(None, 0.2), "0.0"),
        score(volts(Function.DIODE, 4.8, 5.4), "OL"), score(ohms(4.6e3, 4.8e3), "jumps"),
    ):  # fmt: skip
        assert found.because
        assert found.change


@pytest.mark.parametrize(
    ("identity", "function", "limits", "shown"),
    [
        ("BATT.off_current", Function.DC_CURRENT, Limits(None, 40e-6), "-5m"),
        ("D3.forward_drop", Function.DIODE, Limits(0.12, 0.45), "-0.213"),
        ("C9.capacitance", Function.CAPACITANCE, Limits(176e-6, 264e-6), "-436u"),
        ("BATT.inrush_time", Function.TIME, Limits(None, 0.1), "-0.06"),
        ("meter.leads_shorted", Function.OHMS, Limits(None, 1.0), "-0.2"),
    ],
)
def test_a_number_below_zero_where_none_can_be_decides_nothing(
    identity: str, function: Function, limits: Limits, shown: str
) -> None:
    found = score(check(identity, function, limits=limits), shown)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.METHOD)
    assert "again" in found.change or "then read them" in found.change


def test_a_count_below_zero_that_the_meter_may_show_for_nothing_is_a_measurement() -> None:
    """A shorted junction reads 0.000 V give or take the meter's own zero error: that is a short, not charge."""
    found = score(check("D3.forward_drop", Function.DIODE, limits=Limits(0.12, 0.45)), "-0.001")
    assert found.verdict is Verdict.FAIL


def test_a_few_counts_below_zero_of_a_current_are_the_meters_own() -> None:
    off = check("BATT.off_current", Function.DC_CURRENT, Phase.OFF, limits=Limits(None, 23e-6))
    assert score(off, "-0.1u").verdict is Verdict.PASS


def test_a_far_off_reading_promises_no_bound_its_own_guard_band_gave() -> None:
    charge = volts(Function.DC_VOLTAGE, -0.05, 0.05)
    found = score(charge, "5.100")
    assert found.verdict is Verdict.FAIL
    assert "well inside" in found.change


def test_overload_of_volts_says_stop() -> None:
    found = score(volts(Function.DC_VOLTAGE, -0.05, 0.05), "OL")
    assert found.verdict is Verdict.FAIL
    assert "stop" in found.change


def test_charge_that_is_still_there_is_to_be_discharged_not_touched_again() -> None:
    charge = check("VSW.residual_voltage", Function.DC_VOLTAGE, Phase.RESIDUAL_VOLTAGE, limits=Limits(-0.05, 0.05))
    found = score(charge, "5.100")
    assert found.verdict is Verdict.FAIL
    assert "discharge it through a resistor" in found.change
