"""Limits the kinds supply, against series, data sheets and manuals."""

from __future__ import annotations

import eseries
import pytest

from benchcheck.quantity import Tolerance
from tests.kinds.boards import checks_of, entry


@pytest.mark.parametrize("series", ["E6", "E12", "E24", "E48", "E96", "E192"])
def test_every_preferred_value_gets_its_series_tolerance_as_limits(series: str) -> None:
    """IEC 60063 through the eseries package: values and the tolerance that goes with the series."""
    key = eseries.ESeries[series]
    fraction = eseries.tolerance(key)
    for figure in eseries.series(key):
        value = figure * 10.0
        part = entry("resistor", "R1", value=value, tolerance=Tolerance(fraction, fraction))
        limits = checks_of(part)["R1.resistance"].limits
        assert limits.lower == pytest.approx(value * (1 - fraction), rel=1e-12)
        assert limits.upper == pytest.approx(value * (1 + fraction), rel=1e-12)


@pytest.mark.parametrize(
    ("volts", "microfarads", "loss_tangent"),
    [(25, 47, 0.14), (16, 220, 0.16), (50, 10, 0.10), (10, 100, 0.20), (6.3, 100, 0.23)],
)
def test_esr_is_no_more_than_the_loss_tangent_of_the_data_sheets_allows(
    volts: float, microfarads: float, loss_tangent: float
) -> None:
    """Lelon RGA (general purpose, 105 degC) dissipation table; ESR = tan delta / (2 pi f C), Vishay 013 RLC."""
    part = entry(
        "electrolytic",
        "C1",
        {"plus": "A", "minus": "GND"},
        value=microfarads * 1e-6,
        rated_voltage=volts,
        technology="general-purpose",
    )
    limits = checks_of(part)["C1.esr"].limits
    at_120_hz = loss_tangent / (2 * 3.141592653589793 * 120 * microfarads * 1e-6)
    assert limits.upper == pytest.approx(at_120_hz, rel=0.05)


def test_a_ceramic_insulates_at_least_as_the_data_sheets_say_or_as_a_meter_can_show() -> None:
    """Kyocera and Multicomp: 10 Gohm or 500 ohm farad; what a multimeter can show of it is far less."""
    lower = checks_of(entry("capacitor", "C1", ["A", "B"], value=1e-7))["C1.insulation"].limits.lower
    assert lower is not None
    assert 1e6 <= lower <= 500 / 1e-7


@pytest.mark.parametrize(
    ("kind", "keys", "reading"),
    [
        ("diode", {"technology": "silicon"}, 0.638),  # 1N914, troubleshooting guide p. 124
        ("diode", {"technology": "germanium"}, 0.233),  # 1N34, same page
        ("diode", {"technology": "schottky"}, 0.346),  # small part, same page
        ("diode", {"technology": "schottky"}, 0.152),  # 3 A part, same page
        ("led", {"colour": "red"}, 1.8),  # common practice at 1 mA, from memory
        ("led", {"colour": "blue"}, 2.6),  # common practice at 1 mA, from memory
    ],
)
def test_measured_good_junctions_lie_inside_the_windows(kind: str, keys: dict[str, str], reading: float) -> None:
    """Readings of good parts in diode mode as published in electronics troubleshooting guides."""
    part = entry(kind, "D1", {"anode": "A", "cathode": "B"}, **keys)
    limits = checks_of(part)["D1.forward_drop"].limits
    assert limits.lower is not None
    assert limits.upper is not None
    assert limits.lower < reading < limits.upper


def test_silicon_is_told_from_schottky_at_the_published_windows() -> None:
    """Meter manuals: silicon 0.5 to 0.8 V, or 0.400 to 0.900 V."""
    silicon = checks_of(entry("diode", "D1", {"anode": "A", "cathode": "B"}))["D1.forward_drop"].limits
    assert silicon.lower is not None
    assert silicon.upper is not None
    assert 0.4 <= silicon.lower <= 0.5
    assert 0.75 <= silicon.upper <= 0.9


@pytest.mark.parametrize(("value", "lower", "upper"), [(5.6, 5.2, 6.0), (12.0, 11.4, 12.7)])
def test_a_zener_of_five_percent_lies_in_its_data_sheet_window_at_the_rated_current(
    value: float, lower: float, upper: float
) -> None:
    """BZX84C table (YJ): 5V6 5.2..6.0 V, 12 V 11.4..12.7 V at 5 mA; a meter's smaller current reads lower."""
    limits = checks_of(entry("zener", "D1", {"anode": "A", "cathode": "B"}, value=value))["D1.zener_voltage"].limits
    assert limits.upper is not None
    assert limits.lower is not None
    assert limits.upper <= upper * 1.001
    assert limits.lower < value


@pytest.mark.parametrize(("rated", "cold"), [(1.0, 0.225), (0.5, 0.7), (2.0, 0.0625)])
def test_a_good_fuse_of_the_data_sheet_passes_its_limit(rated: float, cold: float) -> None:
    """Littelfuse 452/454 nominal cold resistance."""
    upper = checks_of(entry("fuse", "F1", ["A", "B"], rated_current=rated))["F1.resistance"].limits.upper
    assert upper is not None
    assert cold < upper < 10 * cold


def test_be_reads_above_bc_as_measured() -> None:
    """Measured: 649/642 and 614/611 mV (trade), BC557 733/728 mV; 5.6 to 62 mV by Ebers-Moll."""
    nets = {"base": "A", "collector": "B", "emitter": "C"}
    limits = checks_of(entry("bjt", "Q1", nets, polarity="NPN"))["Q1.drop_difference"].limits
    assert limits.lower is not None
    assert limits.upper is not None
    for difference in (0.007, 0.003, 0.005, 0.0056426, 0.017799):
        assert limits.lower < difference < limits.upper
