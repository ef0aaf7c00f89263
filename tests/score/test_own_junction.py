"""A junction judged on the board: what it would show alone at the meter's current, where every net is complete."""

from __future__ import annotations

from math import exp, log

import pytest

from benchcheck.circuit.models import SILICON
from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model import Reason, Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-12"\nhazards = []\n'
COMPLETE = "[net.A]\ncomplete = true\n[net.K]\ncomplete = true\n"
METER = bench("handheld-6000")
TEST_CURRENT_A = 1e-3
TEMPERATURE_K = 296.15
#: k/q in volt per kelvin (SI 2019), times 23 degC
THERMAL_V = 8.617333e-5 * TEMPERATURE_K


def diode(name: str) -> str:
    return f'[part.{name}]\nkind = "diode"\nnets = {{ anode = "A", cathode = "K" }}\n'


def resistor(name: str, value: str, tolerance: str = "1 %") -> str:
    return f'[part.{name}]\nkind = "resistor"\nvalue = "{value}"\ntolerance = "{tolerance}"\nnets = ["A", "K"]\n'


def board(*parts: str, nets: str = COMPLETE) -> Board:
    return load_board(parse_document(HEAD + nets + "".join(parts), "x.toml"))


def score(on: Board, shown: str, check_id: str = "D1.forward_drop") -> Score:
    check = on.by_id[check_id]
    return judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))


def with_resistor_v(ohm: float, shift_v: float = 0.0) -> float:
    """Shockley's equation with series resistance beside a resistor, by bisection: no code of ours but the card.

    At the 23 degC of the spec: IS goes with (T/Tn)^(XTI/N) exp((T/Tn - 1) EG / (N VT)) (SPICE3 manual, appendix).
    """
    slope = SILICON.ideality * THERMAL_V
    warmed = (TEMPERATURE_K / 300.15) ** (SILICON.temperature_exponent / SILICON.ideality)
    warmed *= exp((TEMPERATURE_K / 300.15 - 1.0) * SILICON.bandgap_ev / slope)
    saturation = SILICON.saturation_current_a * warmed * exp(-shift_v / slope)
    low, high = 0.0, 2.0
    for _ in range(200):
        volt = (low + high) / 2
        through = TEST_CURRENT_A - volt / ohm
        own = slope * log(through / saturation + 1.0) + through * SILICON.series_resistance_ohm if through > 0 else 0
        low, high = (volt, high) if own > volt else (low, volt)
    return volt


def test_the_card_alone_is_what_the_meter_shows_alone() -> None:
    found = score(board(diode("D1")), "0.579")
    assert found.value == pytest.approx(0.579, abs=1e-6)
    assert found.verdict is Verdict.PASS


@pytest.mark.parametrize("shift_v", [-0.05, 0.0, 0.08])
def test_a_resistor_beside_it_is_taken_off(shift_v: float) -> None:
    """1 kohm takes half the milliampere; the drop is carried back to the whole of it (Shockley)."""
    shown, alone = with_resistor_v(1e3, shift_v), with_resistor_v(1e9, shift_v)
    found = score(board(diode("D1"), resistor("R1", "1 kohm")), f"{shown:.6f}")
    assert found.value == pytest.approx(alone, abs=2e-5)
    assert found.verdict is Verdict.PASS


def test_what_would_have_failed_beside_its_resistor_passes_as_its_own_value() -> None:
    """On 470 ohm a diode that shows 0.50 V alone shows 0.41 V, below the 0.45 V that junctions have."""
    shown, alone = with_resistor_v(470.0, -0.08), with_resistor_v(1e9, -0.08)
    assert shown < 0.42 < 0.5 < alone
    found = score(board(diode("D1"), resistor("R1", "470 ohm")), f"{shown:.4f}")
    assert found.verdict is Verdict.PASS


def test_a_low_drop_on_nets_with_unknown_paths_convicts_nobody() -> None:
    """What lies beside a junction takes current past it: Kirchhoff's current law leaves it less, and a lower drop."""
    shown = with_resistor_v(470.0, -0.08)
    unknown = score(board(diode("D1"), resistor("R1", "470 ohm"), nets=""), f"{shown:.4f}")
    assert unknown.verdict is Verdict.UNDECIDED
    assert unknown.code is Reason.ONE_SIDED
    assert "a low drop proves nothing" in unknown.because
    assert "lift" in unknown.change.lower()


def test_metal_across_a_junction_and_a_drop_too_high_convict_on_any_net() -> None:
    on_board = board(diode("D1"), resistor("R1", "470 ohm"), nets="")
    assert score(on_board, "0.004").verdict is Verdict.FAIL
    assert score(on_board, "1.35").verdict is Verdict.FAIL


def test_a_leaky_junction_still_fails_beside_its_resistor() -> None:
    found = score(board(diode("D1"), resistor("R1", "1 kohm")), "0.20")
    assert found.verdict is Verdict.FAIL


@pytest.mark.parametrize("shown", ["0.100", "0.102"])
def test_a_resistor_that_takes_the_whole_current_hides_it(shown: str) -> None:
    """100 ohm holds 0.1 V: whatever the junction is, the board reads this."""
    found = score(board(diode("D1"), resistor("R1", "100 ohm")), shown)
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "R1" in found.because
    assert "lift" in found.change.casefold()


def test_less_than_the_resistor_alone_would_hold_is_a_short() -> None:
    found = score(board(diode("D1"), resistor("R1", "100 ohm")), "0.001")
    assert found.verdict is Verdict.FAIL
    assert "D1 short" in found.because


def test_two_junctions_side_by_side_hide_one_another() -> None:
    """Either may be 30 mV lower than its card, and then carries most of the current."""
    found = score(board(diode("D1"), diode("D2")), "0.55")
    assert found.budget is not None
    shares = dict(zip((each.id for each in found.budget.contributions), found.budget.shares, strict=True))
    assert shares["D2.drop"] > 0.5
    assert found.expanded_uncertainty is not None
    assert found.expanded_uncertainty > 0.04


def test_base_and_emitter_are_seen_through_the_resistor_between_them() -> None:
    transistor = '[part.Q1]\nkind = "bjt"\npolarity = "NPN"\nnets = { base = "A", collector = "C", emitter = "K" }\n'
    on = board(transistor, resistor("R1", "1k5"), nets=COMPLETE + "[net.C]\ncomplete = true\n")
    plain = board(transistor, nets=COMPLETE + "[net.C]\ncomplete = true\n")
    alone = score(plain, "0.650", "Q1.be_drop")
    assert alone.value == pytest.approx(0.650, abs=1e-6)
    found = score(on, "0.640", "Q1.be_drop")
    # 0.64 V take 0.427 mA of the 1 mA: the rest carried back to 1 mA is VT ln(1 / 0.573) more
    carried = 0.640 + THERMAL_V * log(1.0 / (1.0 - 0.640 / 1.5))
    assert found.value == pytest.approx(carried, abs=1e-5)


def test_a_body_diode_beside_a_low_resistance_is_no_short() -> None:
    """A milliampere through 100 ohm is 0.1 V and turns no junction on (Ohm); alone the part would have failed so."""
    mosfet = '[part.Q1]\nkind = "mosfet"\nchannel = "N"\nnets = { gate = "G", drain = "K", source = "A" }\n'
    found = score(board(mosfet, resistor("R1", "100 ohm"), nets=COMPLETE), "0.1", "Q1.body_diode")
    assert found.verdict is Verdict.UNDECIDED
    assert score(board(mosfet), "0.1", "Q1.body_diode").verdict is Verdict.FAIL
    assert score(board(mosfet), "0.54", "Q1.body_diode").verdict is Verdict.PASS


def test_a_masked_junction_shows_no_number_that_no_junction_has() -> None:
    """100 ohm beside a body diode read 0.1 V at 1 mA: the drop that the diode alone had would be anything above."""
    text = """benchcheck = 1
[board]
model = "Ellwick T-14"
hazards = []
[net.D]
complete = true
[net.S]
complete = true
[net.G]
complete = true
[part.Q1]
kind = "mosfet"
channel = "N"
nets = { gate = "G", drain = "D", source = "S" }
[part.R1]
kind = "resistor"
value = "100 ohm"
tolerance = "1 %"
nets = ["D", "S"]
[part.R2]
kind = "resistor"
value = "10k"
tolerance = "1 %"
nets = ["G", "S"]
"""
    spec, meter = load_board(parse_document(text, "x.toml")), bench("bench-5.5")
    check = spec.by_id["Q1.body_diode"]
    for shown in ("0.1000", "0.1004", "0.0995"):
        score = judge(check, (reading(check, shown),), meter, Session(), surroundings=CircuitSolver(spec, meter))
        assert score.verdict is Verdict.UNDECIDED
        assert score.value is not None
        assert score.value < 1.0  # whatever it is, no tens of volts
