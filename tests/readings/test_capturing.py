"""How checks are captured on a meter of the bench: digits, open leads, what metal reads."""

from __future__ import annotations

import math

import pytest

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Limits, Phase
from benchcheck.readings.capture_rule import Opens
from benchcheck.readings.capturing import capture_rule, of_contacts, shown_value
from benchcheck.readings.reading import Session
from tests.factories import bench, check, reading

DMM = bench("handheld-6000").meters["dmm"]
R1 = check("R1.resistance")


def test_a_digit_is_that_of_the_range_the_value_is_shown_on() -> None:
    """Of a 6000-count meter: 0.1 ohm up to 600 ohm, 1 ohm up to 6 kohm (trade table of meter classes)."""
    rule = capture_rule(R1, DMM, open_is_good=False)
    assert [rule.count_at(value) for value in (500.0, 5000.0)] == pytest.approx([0.1, 1.0])
    assert rule.count_at(1e12) > 0.0


def test_open_leads_overload_where_a_current_is_driven_and_show_zero_elsewhere() -> None:
    for function, opens in (
        (Function.OHMS, Opens.OVERLOAD), (Function.DIODE, Opens.OVERLOAD), (Function.DC_VOLTAGE, Opens.ZERO),
        (Function.CAPACITANCE, Opens.ZERO),
    ):  # fmt: skip
        one = check("X1.thing", function, limits=Limits(0.0, 1.0))
        rule = capture_rule(one, DMM, open_is_good=False)
        assert rule.opens is opens
        assert rule.never_negative is (opens is Opens.OVERLOAD)


def test_metal_reads_the_leads_and_half_an_ohm() -> None:
    assert capture_rule(R1, DMM, Session(leads_ohm=0.3), open_is_good=False).short_below == pytest.approx(0.8)


def test_a_reading_of_shorted_tips_that_none_can_have_says_nothing_of_metal() -> None:
    broken, unread = (capture_rule(R1, DMM, Session(leads_ohm=one), open_is_good=True) for one in (150.0, None))
    assert broken.short_below == unread.short_below < 1.5


def test_volts_near_zero_are_open_leads_over_the_whole_of_what_is_right() -> None:
    residual = check("C9.residual_voltage", Function.DC_VOLTAGE, Phase.RESIDUAL_VOLTAGE, limits=Limits(-0.05, 0.05))
    rule = capture_rule(residual, DMM, Session(cell_volt=1.55), open_is_good=False)
    assert (rule.open_is_good, rule.open_below, rule.cell_volt, rule.markable) == (True, 0.05, 1.55, True)
    assert not capture_rule(residual, DMM, open_is_good=False).markable, "no cell was read"
    wide = check("C9.residual_voltage", Function.DC_VOLTAGE, Phase.RESIDUAL_VOLTAGE, limits=Limits(-1.0, 1.0))
    assert not capture_rule(wide, DMM, Session(cell_volt=1.55), open_is_good=False).markable, "too like the cell"
    ripple = check("VSW.ripple", Function.AC_VOLTAGE, Phase.RAILS, limits=Limits(None, 0.06))
    assert not capture_rule(ripple, DMM, Session(cell_volt=1.55), open_is_good=False).markable


def test_what_charges_is_waited_for_longer() -> None:
    slow = check("isolation.resistance[A:B]", phase=Phase.ISOLATION)
    quick, patient = (capture_rule(one, DMM, open_is_good=False) for one in (R1, slow))
    assert patient.hold_s > quick.hold_s
    assert patient.share > quick.share


def test_overload_is_infinite_and_words_are_no_number() -> None:
    assert shown_value(reading(R1, "OL")) == math.inf
    assert shown_value(reading(R1, "4.68k")) == 4680.0
    assert math.isnan(shown_value(reading(R1, "jumps")))


def test_contacts_are_numbered_as_repeats() -> None:
    assert [one.repeat for one in of_contacts([reading(R1, "4.68k"), reading(R1, "4.69k")])] == [1, 2]
