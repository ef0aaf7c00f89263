"""What a bench can decide, against the ratios the trade's class figures give (common practice, no source)."""

from __future__ import annotations

from typing import Any

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Evidence, Formula, Limits
from benchcheck.metrology import Verdict
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.capability import Decides, capabilities, capability, capability_json
from benchcheck.score.judge import judge
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


def own(text: str) -> Bench:
    return load_bench(parse_document("benchcheck_bench = 1\n" + text, "bench.toml"))


def test_the_window_is_what_the_display_shows_leads_included() -> None:
    on = own('[meter.dmm]\nclass = "handheld-6000"\nleads = { resistance = "0.3 ohm", limits = "0.1 ohm" }\n')
    joint = check("R1.joint[1]", limits=Limits(None, 1.0))
    assert capability(joint, on, Session()).window_upper == pytest.approx(1.3)
    assert capability(joint, on, Session(leads_ohm=0.5)).window_upper == pytest.approx(1.5)
    assert capability(joint, bench(), Session()).window_upper == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("limits", "on", "decides", "overload"),
    [
        (Limits(2.3, 2.9), "handheld-2000", Decides.NO, True),  # a white LED on a 2 V diode mode
        (Limits(2.3, 2.9), "bench-6.5", Decides.YES, False),
        (Limits(1.0, None), "handheld-2000", Decides.YES, True),  # blocks: OL is more than 1 V
        (Limits(2.5, None), "handheld-2000", Decides.NO, True),  # OL is not surely more than 2.5 V
    ],
)
def test_what_lies_beyond_the_source_of_diode_mode_cannot_be_told(
    limits: Limits, on: str, decides: Decides, overload: bool
) -> None:
    found = capability(check("D1.forward_drop", Function.DIODE, limits=limits), bench(on), Session())
    assert (found.decides, found.overload) == (decides, overload)
    assert bool(found.workaround) == (decides is Decides.NO)


def test_another_instrument_of_the_bench_is_named_before_anything_else() -> None:
    on = own('[meter.dmm]\nclass = "handheld-6000"\n[meter.big]\nclass = "bench-6.5"\n')
    found = capability(window(Function.OHMS, 10e3, 100.0), on, Session())
    assert found.decides is Decides.NO
    assert found.workaround.startswith("Read it on big")
    assert "with four wires" not in found.workaround


def test_four_wires_are_advised_where_the_leads_spoil_two() -> None:
    on = own('[meter.big]\nclass = "bench-5.5"\nleads = { resistance = "0.1 ohm", limits = "0.05 ohm" }\n')
    found = capability(window(Function.OHMS, 0.2, 0.05), on, Session())
    assert found.workaround.startswith("Read it on big with four wires instead")
    assert "null the leads" in found.workaround
    assert "Force a known current" in found.workaround


def test_a_reference_resistor_on_the_same_range_beats_one_percent_with_a_one_percent_meter() -> None:
    found = capability(window(Function.OHMS, 10e3, 100.0), B, Session())
    assert "reference resistor" in found.workaround
    assert found.reason == "U = 105 ohm against 100 ohm of room"


def test_a_picofarad_is_read_by_difference() -> None:
    found = capability(window(Function.CAPACITANCE, 100e-12, 5e-12), bench(), Session())
    assert found.decides is Decides.NO
    assert "empty jig" in found.workaround


def test_a_difference_on_one_meter_is_decided_where_two_readings_apart_are_not() -> None:
    """B-E minus B-C of 5 mV: 0.3 to 1 by the meter's accuracy, better than 2 to 1 by what remains."""
    be, bc = (check(f"Q1.{name}", Function.DIODE, limits=Limits(0.45, 0.80)) for name in ("be_drop", "bc_drop"))
    difference = check(
        "Q1.drop_difference", Function.DERIVED, limits=Limits(0.0, 0.010), quantity_unit="V",
        sources=(be.id, bc.id), formula=Formula.DIFFERENCE,
    )  # fmt: skip
    *_, found = capabilities((be, bc, difference), bench(), Session())
    assert found.ratio is not None
    assert found.ratio > 2.0
    assert found.decides is Decides.GUARDED


@pytest.mark.parametrize(
    ("limits", "evidence", "decides"),
    [
        (Limits(1e6, None), Evidence.LOWERED, Decides.YES),  # above it the part is proven
        (Limits(None, 1e3), Evidence.LOWERED, Decides.ONE_SIDED),  # above it convicts, below proves nothing
        (Limits(None, 1e-6), Evidence.RAISED, Decides.YES),
        (Limits(1e-6, None), Evidence.RAISED, Decides.ONE_SIDED),
    ],
)
def test_evidence_that_can_only_err_one_way_proves_one_limit(
    limits: Limits, evidence: Evidence, decides: Decides
) -> None:
    function = Function.OHMS if evidence is Evidence.LOWERED else Function.CAPACITANCE
    found = capability(check("X1.thing", function, limits=limits, evidence=evidence), bench(), Session())
    assert found.decides is decides


def test_a_check_without_limits_cannot_be_decided_and_the_remedy_is_in_the_spec() -> None:
    found = capability(check("R1.resistance", limits=Limits(), expected=47.0), bench(), Session())
    assert found.decides is Decides.NO
    assert "spec" in found.workaround


@pytest.mark.parametrize(
    "meter_class", ["handheld-2000", "handheld-6000", "handheld-50000", "bench-5.5", "bench-6.5"]
)
@pytest.mark.parametrize("width", [0.0005, 0.005, 0.02, 0.2])
def test_a_check_said_to_be_decided_passes_when_it_reads_as_expected_and_one_said_not_to_be_never_does(
    meter_class: str, width: float
) -> None:
    for function, nominal in ((Function.DC_VOLTAGE, 5.0), (Function.OHMS, 4.7e3), (Function.DC_CURRENT, 20e-6)):
        of = window(function, nominal, nominal * width)
        said = capability(of, bench(meter_class), Session())
        display = Display(f"{nominal}", DisplayState.VALUE, nominal, 0.0)
        taken = Reading(of.id, display, of.quantity_unit, Origin.TYPED)
        verdict = judge(of, [taken], bench(meter_class), Session()).verdict
        assert (verdict is Verdict.PASS) == (said.decides is not Decides.NO)
