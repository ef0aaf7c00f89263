"""What a bench can decide, against the ratios the trade's class figures give (common practice, no source)."""

from __future__ import annotations

from typing import Any

import pytest

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence, Limits
from benchcheck.readings.reading import Session
from benchcheck.report.card import WIDTH, probe_card
from benchcheck.score.capability import Decides, capability, capability_json
from tests.factories import bench, check
from tests.score.test_worked_cases import B


def window(function: Function, nominal: float, width: float, **more: Any) -> Check:
    return check("X1.thing", function, limits=Limits(nominal - width, nominal + width), expected=nominal, **more)


@pytest.mark.parametrize(
    ("function", "nominal", "width", "limit_of_error"),
    [
        (Function.DC_VOLTAGE, 5.0, 0.25, 0.040),  # 5 V +-5 %: ratio 6.3 at 0.7 % + 5 counts
        (Function.DC_VOLTAGE, 3.3, 0.033, 0.0281),  # 3.3 V +-1 %: ratio 1.2
        (Function.DC_VOLTAGE, 4.2, 0.05, 0.0344),  # lithium cell: ratio 1.5
        (Function.OHMS, 10e3, 500.0, 110.0),  # 10 k 5 %: ratio 4.5
        (Function.OHMS, 10e3, 100.0, 110.0),  # 10 k 1 %: ratio 0.9
        (Function.DIODE, 0.60, 0.10, 0.014),  # junction: ratio 7
        (Function.CAPACITANCE, 100e-6, 20e-6, 3.5e-6),  # 100 uF +-20 %: ratio 5.7
    ],
)
def test_the_ratio_is_the_trades_but_for_the_exact_coverage(
    function: Function, nominal: float, width: float, limit_of_error: float
) -> None:
    """The trade divides by the limit of error; U at 95.45 % of one rectangular term is a little less than that."""
    found = capability(window(function, nominal, width), B, Session())
    assert found.ratio is not None
    trade = width / limit_of_error
    assert trade <= found.ratio <= trade * 1.06


@pytest.mark.parametrize(
    ("nominal", "width", "decides"),
    [(10e3, 500.0, Decides.YES), (10e3, 100.0, Decides.NO), (10e3, 10.0, Decides.NO)],
)
def test_five_percent_can_be_decided_one_percent_cannot(nominal: float, width: float, decides: Decides) -> None:
    found = capability(window(Function.OHMS, nominal, width), B, Session())
    assert found.decides is decides
    assert bool(found.workaround) == (decides is not Decides.YES)


def test_a_better_meter_decides_one_percent() -> None:
    assert capability(window(Function.OHMS, 10e3, 100.0), bench("bench-6.5"), Session()).decides is Decides.YES


def test_one_sided_screens_and_looks_say_so() -> None:
    lowered = capability(window(Function.OHMS, 10e3, 500.0, evidence=Evidence.LOWERED), B, Session())
    assert lowered.decides is Decides.ONE_SIDED
    assert "lift one leg" in lowered.workaround.casefold()
    screen = check("C1.leakage_screen", limits=Limits(1e3, None), evidence=Evidence.SCREEN)
    assert capability(screen, B, Session()).decides is Decides.REJECTS
    seen = check("C1.orientation", Function.VISUAL, limits=Limits(), answers=("yes", "no"))
    assert capability(seen, B, Session()).decides is Decides.BY_EYE


def test_a_function_the_bench_lacks_is_said_and_a_remedy_given() -> None:
    found = capability(window(Function.INDUCTANCE, 22e-6, 4e-6), B, Session())
    assert found.decides is Decides.NO
    assert found.workaround


def test_results_for_programs_have_the_documented_keys() -> None:
    (one,) = capability_json([capability(window(Function.OHMS, 10e3, 500.0), B, Session())])["checks"]
    documented = {
        "check", "function", "expected", "expanded_uncertainty", "lower", "upper", "ratio", "decides", "workaround",
    }  # fmt: skip
    assert documented <= set(one)


def test_a_card_fits_the_page_and_every_check_has_room_to_write() -> None:
    seen = check("C1.orientation", Function.VISUAL, limits=Limits(), answers=("yes", "no"), why="Does it face GND?")
    found = [capability(each, B, Session()) for each in (window(Function.OHMS, 10e3, 500.0), seen)]
    lines = probe_card("Ellwick T-1 \u2126", found)
    assert all(len(line) <= WIDTH and line.isascii() for line in lines)
    assert sum("______________" in line for line in lines if line[:4].strip().isdigit()) == 2
    assert any("Does it face GND?" in line for line in lines)
    assert any("9.5" in line or "9.50" in line for line in lines) or any("kohm" in line for line in lines)
