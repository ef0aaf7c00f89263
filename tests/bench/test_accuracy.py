"""Accuracy specifications against published examples: terms add linearly, a count is a whole digit."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.accuracy import Accuracy, TemperatureWindow
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import MeterRange
from benchcheck.errors import QuantityError

#: (accuracy, value, full scale, digit, limit of error), all in volt.
PUBLISHED = {
    # 34401A manual, "To Calculate Total Measurement Error": 100 uV + 50 uV = 150 uV
    "34401A, 5 V on 10 V": ("0.002 % + 0.0005 % range", 5.0, 10.0, 1e-5, 150e-6),
    # Keithley 2015 service manual p. A-9, 2701 p. A-6: 4.9998 V to 5.0002 V
    "2015, 5 V on 10 V": ("30 ppm + 5 ppm range", 5.0, 10.0, 1e-5, 200e-6),
    # Kwantlen Polytechnic University, physics 1102, DMM uncertainty: 0.8 V + 0.03 V
    "32.00 V": ("2.5 % + 3", 32.0, 60.0, 0.01, 0.83),
    # Sanwa PC510a, explanation of accuracy: 1.9964 V to 2.0036 V
    "2.000 V on 5 V": ("0.08 % + 2", 2.0, 5.0, 0.001, 0.0036),
    # gvda-instrument.com, multimeter error: 1.987 V to 2.013 V
    "2.000 V on 2 V": ("0.5 % + 3", 2.0, 2.0, 0.001, 0.013),
    # 3458A, one year, 1 V range: 8 ppm + 0.3 ppm of range, evaluated at full scale
    "1 V, 8 ppm": ("8 ppm + 0.3 ppm range", 1.0, 1.0, 1e-8, 8.3e-6),
    # JCGM 100:2008 4.3.7 example 2 (printed figures from memory, reproduced by the inputs): 15 uV
    "GUM 4.3.7 example 2": ("0.0014 % + 0.0002 % range", 0.928571, 1.0, 1e-6, 1.4999994e-05),
}


def dc_volts(accuracy: str, full_scale: float, resolution: float, **more: object) -> MeterRange:
    return MeterRange(Function.DC_VOLTAGE, full_scale, resolution, Accuracy.parse(accuracy), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("case", PUBLISHED.values(), ids=PUBLISHED.keys())
def test_the_terms_of_an_accuracy_add_linearly(case: tuple[str, float, float, float, float]) -> None:
    accuracy, value, full_scale, resolution, expected = case
    assert dc_volts(accuracy, full_scale, resolution).half_width(value) == pytest.approx(expected, rel=1e-9)


def test_temperature_excess_counts_from_the_edge_and_adds_linearly() -> None:
    """R&S HMC8012 FAQ, calculation of accuracy: 13.85 V, 40 V range, 30 degC gives 4.247 mV (computed there)."""
    window = TemperatureWindow(18.0, 28.0, *TemperatureWindow.parse_coefficient("0.001 % + 0.0005 % range /K"))
    hmc = dc_volts("0.02 % + 0.002 % range", 40.0, 1e-4, temperature=window)
    assert hmc.half_width(13.85, 30.0) == pytest.approx(4.247e-3, rel=1e-9)


@pytest.mark.parametrize(
    ("ambient_c", "factor"),
    # Agilent U3401A user guide p. 100: none within 18..28 degC, else 0.15 x accuracy per degree outside it.
    [(23.0, 1.0), (28.0, 1.0), (30.0, 1.3), (15.0, 1.45)],
)
def test_a_coefficient_in_spec_per_kelvin_multiplies_the_whole_accuracy(ambient_c: float, factor: float) -> None:
    window = TemperatureWindow(18.0, 28.0, *TemperatureWindow.parse_coefficient("0.15 spec/K"))
    volts = dc_volts("1 %", 10.0, 1e-3, temperature=window)
    assert volts.half_width(1.0, ambient_c) == pytest.approx(0.01 * factor, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.8 % + 3", Accuracy(0.008, 3.0, 0.0)),
        ("±(0.8% rdg + 3 counts)", Accuracy(0.008, 3.0, 0.0)),
        ("3 digits + 0.8 % of reading", Accuracy(0.008, 3.0, 0.0)),
        ("0.015 % + 0.004 % of range", Accuracy(0.00015, 0.0, 0.00004)),
        ("8 ppm + 0.3 ppm range", Accuracy(8e-6, 0.0, 0.3e-6)),
        (".5%+2", Accuracy(0.005, 2.0, 0.0)),
    ],
)
def test_accuracy_reads_the_forms_data_sheets_print(text: str, expected: Accuracy) -> None:
    read = Accuracy.parse(text)
    assert (read.of_reading, read.counts, read.of_range) == pytest.approx(
        (expected.of_reading, expected.counts, expected.of_range), rel=1e-12
    )


@pytest.mark.parametrize(
    "text", ["", "good", "0.8 percent", "-1 %", "1 % + 2 %", "3 + 3", "1 % +", "nan %", "1 %, 3"]
)
def test_what_is_no_accuracy_is_refused_with_the_forms_allowed(text: str) -> None:
    with pytest.raises(QuantityError, match=r'"0\.8 % \+ 3"'):
        Accuracy.parse(text)


@pytest.mark.parametrize("text", ["0.1", "0.1 spec", "spec/K", "-0.1 spec/K"])
def test_what_is_no_coefficient_is_refused(text: str) -> None:
    with pytest.raises(QuantityError, match=r"0\.1 spec/K|0\.8 % \+ 3"):
        TemperatureWindow.parse_coefficient(text)


@given(
    value=st.floats(-1e6, 1e6, allow_subnormal=False),
    of_reading=st.floats(0, 0.1, allow_subnormal=False),
    counts=st.floats(0, 100, allow_subnormal=False),
    of_range=st.floats(0, 0.1, allow_subnormal=False),
    scale=st.sampled_from([1e-9, 1e-3, 1e3, 1e6]),
)
def test_the_limit_of_error_follows_the_unit(
    value: float, of_reading: float, counts: float, of_range: float, scale: float
) -> None:
    accuracy = Accuracy(of_reading, counts, of_range)
    plain = accuracy.half_width(value, full_scale=1e6, resolution=1.0)
    scaled = accuracy.half_width(value * scale, full_scale=1e6 * scale, resolution=scale)
    assert math.isclose(scaled, plain * scale, rel_tol=1e-9, abs_tol=1e-300)
