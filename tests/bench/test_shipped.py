"""The shipped meter classes: sound, and as capable as the trade's class figures say (common practice, no source)."""

from __future__ import annotations

import pytest

from benchcheck.bench.entries import class_names
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import MeterRange
from benchcheck.bench.shipped import meter_class

V, R, C, DIODE, A = (
    Function.DC_VOLTAGE, Function.OHMS, Function.CAPACITANCE, Function.DIODE, Function.DC_CURRENT,
)  # fmt: skip
CLASSES = ("handheld-2000", "handheld-6000", "handheld-50000", "bench-5.5")
#: function, value, half-width of the limits, and half-width over limit of error per class as a bench notebook
#: prints it ("" where the class lacks the function). Smallest range that holds it; no leads, no temperature.
RATIOS = {
    "5 V 5 %": (V, 5.0, 0.25, ("5.6", "6.3", "139", "185")),
    "5 V 2 %": (V, 5.0, 0.10, ("2.2", "2.5", "56", "74")),
    "3.3 V 1 %": (V, 3.3, 0.033, ("0.9", "1.2", "26", "30")),
    "2.5 V 0.4 %": (V, 2.5, 0.01, ("0.3", "0.4", "9.5", "10")),
    "lithium cell": (V, 4.2, 0.05, ("1.2", "1.5", "32", "41")),
    "10 k 5 %": (R, 10e3, 500.0, ("5.0", "4.5", "36", "192")),
    "10 k 1 %": (R, 10e3, 100.0, ("1.0", "0.9", "7", "38")),
    "10 k 0.1 %": (R, 10e3, 10.0, ("0.1", "0.1", "0.7", "3.8")),
    "4.7 ohm 5 %": (R, 4.7, 0.235, ("0.7", "0.4", "3.6", "21")),
    "1 ohm 5 %": (R, 1.0, 0.05, ("0.2", "0.1", "0.8", "4.9")),
    "0.1 ohm 5 %": (R, 0.1, 0.005, ("0", "0", "0.1", "0.5")),
    "100 uF 20 %": (C, 100e-6, 20e-6, ("", "5.7", "8", "13")),
    "1000 uF 20 %": (C, 1e-3, 0.2e-3, ("", "3.3", "4.4", "8")),
    "100 nF 10 %": (C, 100e-9, 10e-9, ("", "2.9", "7.7", "6.7")),
    "1 nF 10 %": (C, 1e-9, 0.1e-9, ("", "2.0", "3.3", "2.5")),
    "100 pF 5 %": (C, 100e-12, 5e-12, ("", "0.4", "0.4", "0.4")),
    "22 pF 5 %": (C, 22e-12, 1.1e-12, ("", "0.1", "0.1", "0.1")),
    "junction": (DIODE, 0.60, 0.10, ("4.3", "7", "25", "77")),
    "B-E minus B-C, absolute": (DIODE, 0.65, 0.005, ("0.2", "0.3", "1.2", "3.8")),
    "drain 20 uA": (A, 20e-6, 5e-6, ("12", "10", "71", "250")),
}


def smallest(name: str, function: Function, value: float) -> MeterRange | None:
    ranges = sorted(
        (each for each in meter_class(name).ranges if each.function is function), key=lambda each: each.full_scale
    )
    return next((each for each in ranges if each.holds(value)), None)


@pytest.mark.parametrize("case", RATIOS, ids=list(RATIOS))
@pytest.mark.parametrize(("at", "name"), list(enumerate(CLASSES)), ids=CLASSES)
def test_a_class_can_tell_what_its_figures_say(case: str, at: int, name: str) -> None:
    function, value, half_width, printed = RATIOS[case]
    chosen = smallest(name, function, value)
    if not printed[at]:
        assert chosen is None
        return
    assert chosen is not None
    ratio = half_width / chosen.half_width(value)
    unit = 0.1 if "." in printed[at] else 1.0
    assert abs(ratio - float(printed[at])) <= unit / 2 * (1 + 1e-9)


@pytest.mark.parametrize("name", class_names())
def test_a_shipped_class_is_sound_and_says_where_its_figures_come_from(name: str) -> None:
    shipped = meter_class(name)
    assert shipped.origin == "common practice, no source"
    assert shipped.summary
    assert shipped.ranges
    for each in shipped.ranges:
        assert 0.0 < each.half_width(each.full_scale) < 0.5 * each.full_scale, each
        assert each.full_scale / each.resolution >= 99, each
        assert each.overload_proves() > 0.8 * each.full_scale, each


@pytest.mark.parametrize("name", class_names())
def test_what_drives_a_current_says_how_much_and_how_far(name: str) -> None:
    """Ohms, diode and ESR readings do not carry over between meters without test current and compliance."""
    driven = (Function.OHMS, Function.OHMS_4W, Function.LOW_POWER_OHMS, Function.DIODE, Function.CONTINUITY)
    for each in meter_class(name).ranges:
        if each.function in driven:
            assert each.test_current_a, each
            assert each.compliance_v, each


def test_low_power_ohms_stay_below_the_turn_on_of_a_junction() -> None:
    """Below 0.3 V silicon moves 10 kohm by less than 5 % (circuit simulation); the class keeps to 0.25 V."""
    lines = [each for each in meter_class("bench-5.5").ranges if each.function is Function.LOW_POWER_OHMS]
    assert lines
    assert all(each.compliance_v is not None and each.compliance_v <= 0.3 for each in lines)


def test_every_class_that_beeps_gives_the_interval_its_threshold_lies_in() -> None:
    for name in class_names():
        for each in meter_class(name).ranges:
            assert (each.beeps_ohm is not None) == (each.function is Function.CONTINUITY), each
