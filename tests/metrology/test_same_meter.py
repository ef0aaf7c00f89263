"""Differences and ratios on one meter, against a simulated meter with a bent and uneven converter."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchcheck.errors import MetrologyError
from benchcheck.metrology import Budget, Contribution, difference, drift, linearity, ratio, rounding
from tests.metrology.simulated_meter import SimulatedMeter, Specification

SPEC = Specification()
CURVE_COUNTS = 2.0
METERS = 400


def reading(shown: float) -> Budget:
    """Return the budget of one reading: the range's accuracy is one error, whatever is read on it."""
    return Budget(shown, "V", (Contribution.from_limits("dmm.6V.accuracy", "accuracy", SPEC.half_width(shown)),))


def meters() -> list[SimulatedMeter]:
    generator = np.random.default_rng(34)
    return [SimulatedMeter(SPEC, generator, CURVE_COUNTS) for _ in range(METERS)]


def rest(separation: float) -> tuple[Contribution, ...]:
    """Return what does not cancel: the curve, bounded by the counts of the specification, and both displays."""
    stray = SPEC.counts * SPEC.resolution
    curve = linearity(
        "linearity",
        SPEC.resolution,
        separation=separation,
        full_scale=SPEC.full_scale,
        integral_nonlinearity=stray,
    )
    return (curve, rounding("rounding", SPEC.resolution))


ONE_COUNT = (linearity("linearity", SPEC.resolution), rounding("rounding", SPEC.resolution))


def difference_of(meter: SimulatedMeter, first: float, second: float, remaining: tuple[Contribution, ...]) -> Budget:
    return difference(reading(meter.read(first)), reading(meter.read(second)), remaining)


def covered(first: float, second: float, remaining: tuple[Contribution, ...]) -> float:
    """Return on how many meters the 95 % interval holds the true difference, wherever the digits fall."""
    generator, hits = np.random.default_rng(9), 0
    for meter in meters():
        a, b = (value + SPEC.resolution * generator.random() for value in (first, second))
        interval = difference_of(meter, a, b, remaining).coverage(0.95)
        hits += interval.lower <= a - b <= interval.upper
    return hits / METERS


def test_the_simulated_meter_keeps_its_own_specification() -> None:
    for meter in meters():
        for value in np.linspace(0.05, 5.9, 60):
            assert abs(meter.read(float(value)) - value) <= SPEC.half_width(value) + 1.2 * SPEC.resolution


NEAR = [(0.652, 0.648), (2.431, 2.405), (5.02, 4.98)]
FAR = [(2.6, 1.1), (5.5, 0.5), (3.0, 2.7)]


@pytest.mark.parametrize(("first", "second"), NEAR)
def test_near_readings_differ_far_less_than_the_specification_allows(first: float, second: float) -> None:
    # B-E against B-C, left against right: a count of linearity holds, and is several times better
    alone = math.hypot(SPEC.half_width(first), SPEC.half_width(second)) / math.sqrt(3)
    shared = difference_of(meters()[0], first, second, rest(first - second)).combined_standard_uncertainty
    assert shared < 0.2 * alone
    assert covered(first, second, ONE_COUNT) >= 0.95
    assert covered(first, second, rest(first - second)) >= 0.95


@pytest.mark.parametrize(("first", "second"), NEAR)
def test_digits_that_fall_on_whole_counts_are_covered_too(first: float, second: float) -> None:
    # the display then errs by whole counts only, the worst case of a bare count of linearity
    intervals = [difference_of(meter, first, second, rest(first - second)).coverage(0.95) for meter in meters()]
    assert float(np.mean([each.lower <= first - second <= each.upper for each in intervals])) >= 0.95


@pytest.mark.parametrize(("first", "second"), NEAR)
@pytest.mark.parametrize("left_out", ["all", "rounding"])
def test_what_does_not_cancel_must_not_be_left_out(first: float, second: float, left_out: str) -> None:
    remaining = () if left_out == "all" else ONE_COUNT[:1]
    assert covered(first, second, remaining) < 0.94


@pytest.mark.parametrize(("first", "second"), FAR)
def test_far_readings_are_covered_with_what_the_curve_can_stray(first: float, second: float) -> None:
    assert covered(first, second, rest(first - second)) >= 0.95


def test_one_count_is_not_enough_for_far_readings() -> None:
    # the gain that cancels nothing over a distance is in the budget; the curve over half the range is not
    strays = [abs(meter.curve(4.6) - meter.curve(1.4)) for meter in meters()]
    assert float(np.mean(np.array(strays) > 1.0)) > 0.2


@pytest.mark.parametrize(("first", "second"), [(4.7, 4.68), (2.2, 2.0)])
def test_a_ratio_to_a_reference_part_loses_the_gain(first: float, second: float) -> None:
    generator, hits, claimed = np.random.default_rng(9), 0, 0.0
    for meter in meters():
        true, known = (value + SPEC.resolution * generator.random() for value in (first, second))
        a, b = reading(meter.read(true)), reading(meter.read(known))
        found = ratio(a, b, [each.times(1.0 / b.value) for each in rest(first - second)])
        interval = found.coverage(0.95)
        hits += interval.lower <= true / known <= interval.upper
        claimed = interval.expanded_uncertainty
    assert hits / METERS >= 0.95
    assert claimed < 0.3 * 0.95 * SPEC.half_width(first) / second


def test_a_null_is_one_error_of_both_readings() -> None:
    # leads of 0.2 ohm, known to 0.05: both readings hold them, the difference does not
    null = Contribution.from_limits("dmm.leads", "leads", 0.05)
    first, second = Budget(1.2, "ohm", (null,)), Budget(0.9, "ohm", (null,))
    assert difference(first, second).combined_standard_uncertainty == 0.0
    # the null itself read on the same range: subtracting it leaves its repeatability, not its size
    shorted = Budget(0.2, "ohm", (null.times(1.0), Contribution.from_standard("noise", "noise", 0.01)))
    assert difference(first, shorted).combined_standard_uncertainty == pytest.approx(0.01, rel=1e-12)


def test_a_junction_drifts_between_two_readings() -> None:
    # 2 mV/K and half a kelvin (design figure, common practice)
    found = drift("Q1.drift", -2e-3, 0.5)
    assert found.half_width == 1e-3
    assert found.origin == "-0.002 x 0.5"
    assert drift("Q1.drift", 2e-3, 0.5, origin="warm hand").origin == "warm hand"


def test_linearity_grows_with_the_distance_up_to_twice_the_stray() -> None:
    widths = [rest(separation)[0].figure for separation in (0.0, 0.1, 1.0, 3.0, 6.0)]
    assert widths == sorted(widths)
    assert widths[0] == pytest.approx(SPEC.resolution, rel=1e-15)
    assert widths[-1] == pytest.approx(SPEC.resolution + 2 * SPEC.counts * SPEC.resolution, rel=1e-15)
    assert rest(-0.1) == rest(0.1)


REFUSED: dict[str, tuple[Callable[[], object], str]] = {
    "resolution": (lambda: linearity("x", -1.0), 'contribution "x": resolution -1.0'),
    "counts": (lambda: linearity("x", 1.0, counts=math.nan), 'contribution "x": counts nan'),
    "stray": (lambda: linearity("x", 1.0, integral_nonlinearity=math.inf), "integral non-linearity inf"),
    "scale": (lambda: linearity("x", 1.0, full_scale=0.0), 'contribution "x": full scale 0.0'),
    "separation": (lambda: linearity("x", 1.0, separation=math.nan), 'contribution "x": separation nan'),
}


@pytest.mark.parametrize("case", REFUSED)
def test_impossible_figures_are_refused(case: str) -> None:
    make, message = REFUSED[case]
    with pytest.raises(MetrologyError, match=message):
        make()
