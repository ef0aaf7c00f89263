"""Ranges and what they show: autorange, over-range, overload as a bound, leads and their null."""

from __future__ import annotations

import pytest

from benchcheck.bench.accuracy import Accuracy, Coverage, TemperatureWindow
from benchcheck.bench.contributions import accuracy_contributions, lead_correction
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Leads, Meter, MeterRange, short_value
from benchcheck.metrology import Distribution


def ohms(full_scale: float, resolution: float, accuracy: str = "0.8 % + 3", **more: object) -> MeterRange:
    return MeterRange(Function.OHMS, full_scale, resolution, Accuracy.parse(accuracy), **more)  # type: ignore[arg-type]


SIX_K = ohms(6e3, 1.0)
METER = Meter("dmm", "own", (ohms(600.0, 0.1), SIX_K, ohms(60e3, 10.0)))


@pytest.mark.parametrize(
    ("value", "text"),
    [(6000.0, "6k"), (0.6, "600m"), (6e-9, "6n"), (1.0, "1"), (60e6, "60M"), (1e-12, "1p"), (2e-15, "2e-15")],
)
def test_a_range_is_called_by_its_full_scale(value: float, text: str) -> None:
    assert short_value(value) == text


@pytest.mark.parametrize("name", ["6k", "6 kohm", "6000", "6k0"])
def test_a_range_picked_by_hand_goes_by_full_scale_however_it_is_written(name: str) -> None:
    assert METER.range_for(Function.OHMS, 47.0, name) is SIX_K


@pytest.mark.parametrize("name", ["7k", "good", "6 V"])
def test_a_range_the_meter_lacks_is_none(name: str) -> None:
    assert METER.range_for(Function.OHMS, 47.0, name) is None


def test_a_range_picked_by_hand_must_hold_the_value() -> None:
    assert METER.range_for(Function.OHMS, 9090.0, "6k") is None


def test_over_range_is_shown_and_overload_begins_beyond_it() -> None:
    volts = MeterRange(Function.DC_VOLTAGE, 10.0, 1e-5, Accuracy.parse("0.0035 % + 0.0005 % range"), over_range=0.2)
    assert volts.holds(11.9)
    assert not volts.holds(12.1)
    assert volts.overload_from == pytest.approx(12.0)
    assert volts.overload_proves() == pytest.approx(12.0 - 12.0 * 35e-6 - 50e-6)


def test_overload_means_compliance_where_the_source_gives_out_before_full_scale() -> None:
    """1 mA into at most 2 V shows nothing above 2 kohm on a 6 kohm range, and is sure of nine tenths of that."""
    weak = ohms(6e3, 1.0, test_current_a=1e-3, compliance_v=2.0)
    assert weak.overload_from == pytest.approx(2000.0)
    assert weak.overload_proves() == pytest.approx(1800.0 - (0.008 * 1800.0 + 3.0))


def test_overload_of_diode_mode_is_full_scale_or_compliance() -> None:
    two_volts = MeterRange(Function.DIODE, 2.0, 1e-3, Accuracy.parse("3 % + 5"), compliance_v=2.8)
    three_volts = MeterRange(Function.DIODE, 3.0, 1e-3, Accuracy.parse("1.5 % + 5"), compliance_v=3.0)
    assert two_volts.overload_proves() == pytest.approx(2.0 - 0.065)
    assert three_volts.overload_proves() == pytest.approx(2.7 - (0.015 * 2.7 + 0.005))


def test_limits_make_one_rectangular_contribution_with_a_stable_id() -> None:
    (found,) = accuracy_contributions(METER, SIX_K, 4700.0, reading="R1.resistance", recorded_resolution=1.0)
    assert (found.id, found.distribution) == ("dmm.ohms.6k.accuracy", Distribution.RECTANGULAR)
    assert found.half_width == pytest.approx(40.6)
    assert found.standard_uncertainty == pytest.approx(40.6 / 3**0.5)


@pytest.mark.parametrize(("coverage", "divisor"), [(Coverage.K2, 2.0), (Coverage.P95, 1.959963984540054)])
def test_an_accuracy_given_with_its_coverage_is_normal(coverage: Coverage, divisor: float) -> None:
    (found,) = accuracy_contributions(METER, ohms(6e3, 1.0, coverage=coverage), 4700.0, reading="R1.resistance")
    assert found.distribution is Distribution.NORMAL
    assert found.standard_uncertainty == pytest.approx(40.6 / divisor, rel=1e-9)


def test_the_temperature_excess_is_inside_the_one_contribution_and_said() -> None:
    warm = ohms(6e3, 1.0, temperature=TemperatureWindow(18.0, 28.0, 0.1))
    (found,) = accuracy_contributions(METER, warm, 4700.0, reading="R1.resistance", ambient_c=33.0)
    assert found.half_width == pytest.approx(40.6 * 1.5)
    assert "5 K outside 18 to 28 degC" in found.origin


@pytest.mark.parametrize(("recorded", "terms"), [(None, 1), (1.0, 1), (0.1, 1), (10.0, 2), (100.0, 2)])
def test_digits_count_only_when_fewer_were_recorded_than_shown(recorded: float | None, terms: int) -> None:
    found = accuracy_contributions(METER, SIX_K, 4700.0, reading="R1.resistance", recorded_resolution=recorded)
    assert len(found) == terms
    if terms == 2 and recorded is not None:
        assert found[1].id == "R1.resistance.digits"
        assert found[1].half_width == pytest.approx(recorded / 2)


def with_leads(**more: object) -> Meter:
    return Meter("dmm", "own", (ohms(600.0, 0.1),), Leads(**more))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("leads", "measured", "taken_off", "half_width"),
    [
        ({"resistance_ohm": 0.2, "limits_ohm": 0.1}, None, 0.2, 0.1),
        ({"resistance_ohm": 0.2, "limits_ohm": 0.1}, 0.3, 0.3, 0.05),  # half a digit of the 0.1 ohm range
        ({"nulled": True}, None, 0.0, 0.05),
        ({"nulled": True}, 0.0, 0.0, 0.05),
        ({"nulled": True}, 0.3, 0.0, 0.3),  # the null did not hold, or was set afterwards: nobody knows
        ({"nulled": True, "residual_ohm": 0.01}, None, 0.0, 0.01),
    ],
)
def test_leads_are_taken_off_once_and_what_remains_is_in_the_budget(
    leads: dict[str, object], measured: float | None, taken_off: float, half_width: float
) -> None:
    found = lead_correction(with_leads(**leads), Function.OHMS, measured)
    assert found.resistance_ohm == taken_off
    (own,) = found.contributions
    assert own.id == "dmm.leads"
    assert own.half_width == pytest.approx(half_width)


def test_four_wires_and_volts_have_no_leads_in_them() -> None:
    for function in (Function.OHMS_4W, Function.DC_VOLTAGE, Function.CAPACITANCE):
        assert lead_correction(with_leads(), function).contributions == ()


def test_leads_known_exactly_add_nothing_to_the_budget() -> None:
    found = lead_correction(with_leads(resistance_ohm=0.2, limits_ohm=0.0), Function.OHMS)
    assert (found.resistance_ohm, found.contributions) == (0.2, ())


def test_tips_read_on_the_same_range_share_its_errors_and_on_another_bring_their_own() -> None:
    """By hand: 0.8 % of 0.2 ohm + 3 digits of 0.1 ohm is 0.3016 ohm; half a digit of contacts is 0.05 ohm."""
    leads = Leads(resistance_ohm=0.2, limits_ohm=0.1)
    meter = Meter("dmm", "own", (ohms(600.0, 0.1), SIX_K), leads)
    small, large = meter.ranges
    shared = lead_correction(meter, Function.OHMS, 0.2, chosen=small, reading="R1.resistance", value_ohm=4.9)
    by_id = {each.id: each for each in shared.contributions}
    assert set(by_id) == {"dmm.ohms.600.accuracy", "R1.resistance.linearity", "R1.resistance.rounding", "dmm.leads"}
    assert by_id["dmm.ohms.600.accuracy"].half_width == pytest.approx(0.3016)
    assert by_id["dmm.ohms.600.accuracy"].sensitivity == -1.0
    (alone,) = lead_correction(meter, Function.OHMS, 0.2, chosen=large, reading="R1.resistance").contributions
    assert alone.half_width == pytest.approx(0.05 + 0.3016)
