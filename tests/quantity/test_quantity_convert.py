"""Conversion, and the promise that nothing else loads the unit library."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.errors import QuantityError
from benchcheck.quantity import convert

Check = Callable[[QuantityError], None]


@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "result"),
    [
        (73.4, "degF", "degC", 23.0),  # 73.4 = 23 * 9/5 + 32
        (296.15, "kelvin", "degC", 23.0),  # SI brochure: 0 degC is 273.15 K
        (4.7, "kohm", "ohm", 4700.0),
        (1.0, "inch", "mm", 25.4),  # exact by definition
        (12.0, "µF", "nF", 12000.0),
        (2.0, "mV/K", "V/K", 0.002),
        (36.0, "km/hour", "m/s", 10.0),
    ],
)
def test_units_of_one_quantity_convert(value: float, from_unit: str, to_unit: str, result: float) -> None:
    assert convert(value, from_unit, to_unit) == pytest.approx(result, rel=1e-12)


@pytest.mark.parametrize(
    ("from_unit", "to_unit", "message"),
    [
        ("V", "ohm", '"V" cannot be converted to "ohm": .*write two units of one quantity'),
        ("V", "bogus", '"V" cannot be converted to "bogus"'),
        ("", "ohm", '"" is not the name of a unit'),
        ("m^9^9^9^9", "m", "is not the name of a unit"),
        ("m**99999", "m", "is not the name of a unit"),
        ("__import__('os')", "m", "is not the name of a unit"),
    ],
)
def test_what_does_not_convert_is_refused(from_unit: str, to_unit: str, message: str) -> None:
    with pytest.raises(QuantityError, match=message):
        convert(1.0, from_unit, to_unit)


@settings(max_examples=50)
@given(st.text(max_size=8) | st.text(alphabet="mVAkgs*/^23%°C1", max_size=8))
def test_no_unit_name_raises_anything_but_quantity_error(check_message: Check, name: str) -> None:
    try:
        convert(1.0, name, name)
    except QuantityError as refused:
        check_message(refused)


def test_reading_quantities_loads_no_unit_library() -> None:
    code = (
        "import sys, benchcheck.quantity as q; q.parse_display('4.68k', 'ohm'); q.format_value(1.0, 'V');"
        "print(sorted({'pint', 'numpy', 'scipy'} & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
