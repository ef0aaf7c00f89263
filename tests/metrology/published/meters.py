"""Accuracy specifications of meters, as their makers compute with them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchcheck.bench.accuracy import Accuracy, TemperatureWindow
from benchcheck.metrology import Contribution
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]


def rectangular(half_width: float) -> float:
    return Contribution.from_limits("dmm", "accuracy", half_width).standard_uncertainty


@reproduces("DMM-34401A-5V")
def of_range_in_percent(inputs: Inputs) -> Mapping[str, Any]:
    value, full_scale = inputs["input_V"], inputs["range_V"]
    spec = Accuracy.parse(f"{inputs['spec_reading_percent']} % + {inputs['spec_range_percent']} % range")
    half_width = spec.half_width(value, full_scale=full_scale, resolution=0.0)
    return {
        "reading_term_V": spec.of_reading * value,
        "range_term_V": spec.of_range * full_scale,
        "total_V": half_width,
        "half_width_V": half_width,
        "percent_of_input": 100 * half_width / value,
        "ppm_of_input": 1e6 * half_width / value,
        "u_rect_V": rectangular(half_width),
    }


@reproduces("DMM-KEITHLEY2015-5V", "DMM-3458A-1V")
def of_range_in_ppm(inputs: Inputs) -> Mapping[str, Any]:
    value, full_scale = inputs.get("input_V", inputs.get("reading_V", 0.0)), inputs["range_V"]
    spec = Accuracy.parse(f"{inputs['spec_reading_ppm']} ppm + {inputs['spec_range_ppm']} ppm range")
    half_width = spec.half_width(value, full_scale=full_scale, resolution=0.0)
    return {
        "reading_term_V": spec.of_reading * value,
        "range_term_V": spec.of_range * full_scale,
        "total_V": half_width,
        "half_width_V": half_width,
        "lo_V": value - half_width,
        "hi_V": value + half_width,
        "u_rect_V": rectangular(half_width),
    }


@reproduces("DMM-HMC8012-TEMPCO")
def outside_the_window(inputs: Inputs) -> Mapping[str, Any]:
    value, full_scale = inputs["input_V"], inputs["range_V"]
    spec = Accuracy.parse(f"{inputs['spec_reading_percent']} % + {inputs['spec_range_percent']} % range")
    reading, of_range = inputs["tempco_reading_percent_per_K"], inputs["tempco_range_percent_per_K"]
    lower, upper = inputs["spec_window_degC"]
    window = TemperatureWindow(lower, upper, 0.0, Accuracy.parse(f"{reading} % + {of_range} % range"))
    plain = spec.half_width(value, full_scale=full_scale, resolution=0.0)
    half_width = window.widen(plain, value, inputs["ambient_degC"], full_scale=full_scale, resolution=0.0)
    return {
        "total_V": half_width,
        "lo_V": value - half_width,
        "hi_V": value + half_width,
        "half_width_V": half_width,
        "u_rect_V": rectangular(half_width),
    }


@reproduces("DMM-TEMPCO-RULE-0.15", "DMM-TEMPCO-RULE-0.1")
def share_per_kelvin(inputs: Inputs) -> Mapping[str, Any]:
    lower, upper = inputs.get("window_degC", (18.0, 28.0))
    window = TemperatureWindow(lower, upper, inputs["fraction_per_K"])
    half_width = inputs["example_half_width"]
    return {
        "half_width": [
            window.widen(half_width, 1.0, ambient, full_scale=1.0, resolution=0.0)
            for ambient in inputs["ambient_degC"]
        ]
    }


@reproduces("DMM-COUNTS-KPU-32V", "DMM-COUNTS-SANWA", "DMM-COUNTS-2V")
def counts(inputs: Inputs) -> Mapping[str, Any]:
    value, digit = inputs["reading_V"], inputs["digit_V"]
    spec = Accuracy.parse(f"{inputs['spec_reading_percent']} % + {inputs['counts']}")
    half_width = spec.half_width(value, full_scale=1e9, resolution=digit)
    return {
        "reading_term_V": spec.of_reading * value,
        "counts_term_V": spec.counts * digit,
        "total_V": half_width,
        "error_V": half_width,
        "lo_V": value - half_width,
        "hi_V": value + half_width,
        "half_width_V": half_width,
        "u_rect_V": rectangular(half_width),
    }
