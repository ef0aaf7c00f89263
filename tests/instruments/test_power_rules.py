"""Power as pure decisions: refusals, the one order, the deadline, the stop rules and the three states of off."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.errors import SpecError
from benchcheck.instruments.power_sequence import (
    Do,
    FedOutput,
    PowerPlan,
    PowerRequest,
    Step,
    first_limit,
    plan_power,
    power_off_steps,
    power_on_steps,
)
from benchcheck.instruments.power_supply import Ceiling, Mode, SupplyPoint, SupplySettings
from benchcheck.instruments.power_watch import OffState, PowerWatch, Rule, Stage, Stop, judge_off, judge_rail

CEILING = Ceiling(12.0, 1.0)
REQUEST = PowerRequest("BATT", 6.0, 0.7, 0.045, 680e-6, 0.3)
PLAN = plan_power(REQUEST, CEILING)


def point(at_s: float, volt: float, ampere: float, mode: Mode = Mode.VOLTAGE) -> SupplyPoint:
    return SupplyPoint(at_s, volt, ampere, mode)


def stopped(found: Stop | None) -> Rule | None:
    return found.rule if found is not None else None


def test_power_is_refused_without_limit_idle_maximum_or_capacitance_and_all_are_named() -> None:
    with pytest.raises(SpecError) as caught:
        plan_power(PowerRequest("BATT", 6.0, None, None, None), CEILING)
    keys = [fault.key for fault in caught.value.faults]
    assert keys == [
        "supply.BATT.current_limit",
        "supply.BATT.idle_current.max",
        "supply.BATT.input_capacitance",
    ]


@pytest.mark.parametrize(
    ("request_", "text"),
    [
        (PowerRequest("BATT", 13.0, 0.7, 0.045, 1e-4), "13 V is above the bench's ceiling of 12 V"),
        (PowerRequest("BATT", 6.0, 1.2, 0.045, 1e-4), "1.2 A is above the bench's ceiling of 1 A"),
        (PowerRequest("BATT", 61.0, 0.7, 0.045, 1e-4), "61 V is not within 0 to 60 V DC"),
        (PowerRequest("BATT", 6.0, 0.04, 0.045, 1e-4), "leaves nothing to charge the board"),
    ],
)
def test_what_the_bench_or_safety_does_not_allow_is_refused_with_the_reason(
    request_: PowerRequest, text: str
) -> None:
    with pytest.raises(SpecError, match=text):
        plan_power(request_, CEILING)


def test_the_first_limit_is_the_start_current_else_twice_the_idle_maximum_never_above_the_limit() -> None:
    assert first_limit(0.7, 0.045, 0.3) == 0.3
    assert first_limit(0.7, 0.045) == 0.09
    assert first_limit(0.05, 0.045, 0.3) == 0.05


def test_the_deadline_is_three_charging_times_with_fed_outputs_seen_through_the_converter() -> None:
    """t = C V / (I_limit - I_idle,max), C = 680 uF + 220 uF (9 V / 6 V)^2 = 1175 uF; worked by hand."""
    plan = plan_power(PowerRequest("BATT", 6.0, 0.7, 0.045, 680e-6, 0.3, fed=(FedOutput(220e-6, 9.0),)), CEILING)
    assert plan.charging_s == pytest.approx(1175e-6 * 6.0 / 0.255, rel=1e-9)
    assert plan.deadline_s == pytest.approx(0.2)
    slow = plan_power(REQUEST, CEILING, poll_s=0.5)
    assert slow.deadline_s == pytest.approx(1.5)


@given(
    st.floats(0, 30, allow_nan=False),
    st.floats(0, 5, allow_nan=False),
    st.floats(0, 35, allow_nan=False),
    st.booleans(),
)
def test_from_any_state_off_comes_first_limit_before_voltage_and_on_last(
    volt: float, ampere: float, level: float, has_load: bool
) -> None:
    steps = power_on_steps(PLAN, SupplySettings(volt, ampere, level), has_load=has_load, has_over_voltage=True)
    order = [step.do for step in steps]
    assert order[-1] is Do.OUTPUT_ON
    assert order[-2] is Do.READ_BACK
    assert order.count(Do.OUTPUT_ON) == 1
    assert order.index(Do.OUTPUT_OFF) == (1 if has_load else 0)
    assert (order[0] is Do.LOAD_OFF) is has_load
    assert order.index(Do.SET_LIMIT) < order.index(Do.SET_VOLTAGE)
    assert max(n for n, do in enumerate(order) if do is Do.SET_OVER_VOLTAGE) < len(order) - 3
    raising = volt <= PLAN.over_voltage_volt
    assert (order.index(Do.SET_OVER_VOLTAGE) < order.index(Do.SET_VOLTAGE)) is raising


def test_the_way_down_is_load_first() -> None:
    assert power_off_steps(has_load=True) == (Step(Do.LOAD_OFF), Step(Do.OUTPUT_OFF))


def risen(plan: PowerPlan = PLAN) -> PowerWatch:
    watch = PowerWatch(plan, 0.0)
    assert watch.observe(point(0.002, 1.0, 0.3, Mode.CURRENT)) is None
    assert watch.observe(point(0.004, 3.0, 0.3, Mode.CURRENT)) is None
    assert watch.observe(point(0.006, 6.0, 0.04)) is None
    assert watch.stage is Stage.STEADY
    return watch


def test_inrush_is_resolved_only_when_polls_are_at_most_a_fifth_of_the_charging_time_apart() -> None:
    watch = risen()
    assert watch.inrush is not None
    assert watch.inrush.time_s == pytest.approx(0.006)
    assert watch.inrush.resolved  # charging time 16 ms, polls 2 ms apart
    coarse = PowerWatch(PLAN, 0.0)
    coarse.observe(point(0.05, 6.0, 0.04))
    assert coarse.inrush is not None
    assert not coarse.inrush.resolved


def test_a_limit_held_past_the_deadline_stops() -> None:
    watch = PowerWatch(PLAN, 0.0)
    assert watch.observe(point(PLAN.deadline_s, 2.0, 0.3, Mode.CURRENT)) is None
    found = watch.observe(point(PLAN.deadline_s + 0.01, 2.0, 0.3, Mode.CURRENT))
    assert stopped(found) is Rule.LIMIT_HELD
    assert found is not None
    assert "2.000 V, 300 mA after 0.21 s" in found.line


def test_without_a_mode_query_voltage_in_band_and_current_below_the_limit_stand_in() -> None:
    watch = PowerWatch(PLAN, 0.0)
    assert watch.observe(point(0.01, 6.0, 0.3, Mode.UNKNOWN)) is None
    first = watch.stage
    assert watch.observe(point(0.02, 6.0, 0.04, Mode.UNKNOWN)) is None
    assert (first, watch.stage) == (Stage.RISING, Stage.STEADY)


@pytest.mark.parametrize(
    ("found", "output_on", "rule"),
    [
        (point(1.0, 7.0, 0.04), None, Rule.OVER_VOLTAGE),
        (point(1.0, -0.2, 0.0), None, Rule.WRONG_SIGN),
        (point(1.0, 5.0, 0.3, Mode.CURRENT), None, Rule.WRONG_MODE),
        (point(1.0, 6.0, 0.04), False, Rule.OUTPUT_OFF),
        (point(1.0, 0.0, 0.0, Mode.OFF), None, Rule.OUTPUT_OFF),
    ],
)
def test_a_steady_supply_that_changes_stops(found: SupplyPoint, output_on: bool | None, rule: Rule) -> None:
    watch = risen()
    assert stopped(watch.observe(found, output_on=output_on)) is rule
    assert watch.stage is Stage.STOPPED


@pytest.mark.parametrize(("percent_a_minute", "rule"), [(8.0, None), (15.0, Rule.CREEP), (-20.0, None)])
def test_a_current_that_creeps_more_than_ten_percent_a_minute_stops(
    percent_a_minute: float, rule: Rule | None
) -> None:
    watch = risen()
    found = None
    for second in range(1, 90):
        current = 0.2 * (1.0 + percent_a_minute / 100.0 * second / 60.0)
        found = found or watch.observe(point(float(second), 6.0, current))
    assert stopped(found) is rule


def test_a_load_step_starts_the_deadline_and_the_creep_watch_anew() -> None:
    watch = risen()
    watch.changed(PLAN, 10.0)
    assert watch.observe(point(10.01, 5.5, 0.3, Mode.CURRENT)) is None
    assert watch.observe(point(10.02, 6.0, 0.16)) is None
    assert watch.stage is Stage.STEADY


@pytest.mark.parametrize(
    ("volt", "maximum", "negative", "rule"),
    [(9.3, 9.36, False, None), (9.4, 9.36, False, Rule.OVER_VOLTAGE), (-0.3, 9.36, False, Rule.WRONG_SIGN),
     (-9.3, 9.36, True, None), (0.3, 9.36, True, Rule.WRONG_SIGN), (-9.4, 9.36, True, Rule.OVER_VOLTAGE)],
)  # fmt: skip
def test_a_rail_stops_above_its_maximum_or_with_the_wrong_sign(
    volt: float, maximum: float, negative: bool, rule: Rule | None
) -> None:
    assert stopped(judge_rail("VSW", volt, maximum, negative=negative)) is rule


@pytest.mark.parametrize(
    ("said_on", "found", "state"),
    [
        (False, point(0.0, 0.1, 0.0), OffState.OFF),
        (False, point(0.0, 5.9, 0.001), OffState.CHARGED),
        (False, point(0.0, 5.9, 0.04), OffState.UNKNOWN),
        (False, None, OffState.UNKNOWN),
        (True, point(0.0, 0.0, 0.0), OffState.UNKNOWN),
        (None, None, OffState.UNKNOWN),
    ],
)
def test_off_has_three_states(said_on: bool | None, found: SupplyPoint | None, state: OffState) -> None:
    report = judge_off(said_on, found)
    assert report.state is state
    assert ("switch the supply off by hand" in report.line) is (state is OffState.UNKNOWN)
    assert ("discharge" in report.line) is (state is OffState.CHARGED)
