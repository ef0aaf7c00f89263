"""Where a junction beside a part hardly conducts its slope says nothing: the value is found at both its ends."""

from __future__ import annotations

from math import exp, log

import pytest
from scipy.special import lambertw

from benchcheck.bench.functions import Function
from benchcheck.circuit.models import SILICON
from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.between import between
from benchcheck.score.judge import judge
from benchcheck.score.model import Score
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-33"\nhazards = []\n'
NETS = "[net.A]\ncomplete = true\n[net.K]\ncomplete = true\n"
METER = bench("handheld-6000")
DIODE = '[part.D1]\nkind = "diode"\nnets = { anode = "A", cathode = "K" }\n'
#: half the width of a good junction's forward voltage, in volt: 30 mV as a standard uncertainty
STRAYS_V = 0.03 * 3**0.5


def board(value: str, beside: str = DIODE) -> Board:
    text = f'[part.R1]\nkind = "resistor"\nvalue = "{value}"\ntolerance = "5 %"\nnets = ["A", "K"]\n'
    return load_board(parse_document(HEAD + NETS + text + beside, "x.toml"))


def score(on: Board, shown: str, session: Session | None = None) -> Score:
    check, at = on.by_id["R1.resistance"], session or Session()
    return judge(check, [reading(check, shown)], METER, at, surroundings=CircuitSolver(on, METER, at))


def leak_a(volt: float, shift_v: float = 0.0, ambient_c: float = 23.0) -> float:
    """Shockley's equation of the silicon card; IS goes with temperature as the SPICE3 manual's appendix has it."""
    kelvin = ambient_c + 273.15
    slope = SILICON.ideality * 8.617333e-5 * kelvin
    warmed = (kelvin / 300.15) ** (SILICON.temperature_exponent / SILICON.ideality)
    warmed *= exp((kelvin / 300.15 - 1.0) * SILICON.bandgap_ev / slope)
    return float(SILICON.saturation_current_a * warmed * (exp((volt - shift_v) / slope) - exp(-shift_v / slope)))


def own_ohm(shown_ohm: float, ampere: float, shift_v: float = 0.0, ambient_c: float = 23.0) -> float:
    """What is left for the resistor at the voltage read, by Kirchhoff's current law."""
    volt = shown_ohm * ampere
    return float(volt / (ampere - leak_a(volt, shift_v, ambient_c)))


@pytest.mark.parametrize(("shown_ohm", "ampere"), [(150e3, 1e-6), (200e3, 1e-6), (22e3, 10e-6)])
def test_the_own_value_and_its_width_are_those_of_the_diode_at_both_ends(shown_ohm: float, ampere: float) -> None:
    """At 0.15 to 0.22 V a good diode takes 4 % or 30 % of the current, by where in its spread it lies."""
    found = score(board(f"{own_ohm(shown_ohm, ampere):.6g}"), f"{shown_ohm / 1e3:.2f}k")
    assert found.value == pytest.approx(own_ohm(shown_ohm, ampere), rel=2e-3)
    assert found.budget is not None
    assert found.value is not None
    ends = [own_ohm(shown_ohm, ampere, shift) for shift in (-STRAYS_V, STRAYS_V)]
    widths = {each.id: each.half_width for each in found.budget.contributions}
    assert widths["D1.drop"] == pytest.approx(max(abs(end - found.value) for end in ends), rel=5e-2)


def test_a_slope_would_have_made_it_far_too_narrow() -> None:
    """dR/dV from the exponential is a third of what the low end is worth: a good part failed by that."""
    shown_ohm, ampere = 200e3, 1e-6
    value = own_ohm(shown_ohm, ampere)
    slope = SILICON.ideality * 8.617333e-5 * 296.15
    leak = leak_a(shown_ohm * ampere)
    by_slope = value * leak / (ampere - leak) * STRAYS_V / slope
    low_end = abs(own_ohm(shown_ohm, ampere, -STRAYS_V) - value)
    found = score(board(f"{value:.6g}"), "200.0k")
    assert low_end > 1.5 * by_slope
    assert found.expanded_uncertainty is not None
    assert found.expanded_uncertainty > 1.5 * by_slope


@pytest.mark.parametrize("shift_v", [-0.04, -0.02, 0.0, 0.03])
def test_a_good_resistor_does_not_fail_whatever_good_diode_lies_beside_it(shift_v: float) -> None:
    """The diode's voltage at 1 uA with 220k beside it, in closed form (Lambert W)."""
    ampere, ohm = 1e-6, 220e3
    slope = SILICON.ideality * 8.617333e-5 * 296.15
    saturation = leak_a(10.0 * slope, shift_v) / (exp(10.0) - 1.0)
    driven = (ampere + saturation) * ohm
    volt = driven - slope * float(lambertw(saturation * ohm / slope * exp(driven / slope)).real)
    assert log(1.0 + (ampere - volt / ohm) / saturation) * slope == pytest.approx(volt, rel=1e-6)
    found = score(board("220k"), f"{volt / ampere / 1e3:.1f}k")
    assert found.verdict is not Verdict.FAIL


def test_the_ambient_moves_what_the_diode_takes() -> None:
    """A diode carries twice as much ten to fifteen kelvin warmer (data sheets); the visit says how warm it is."""
    cold, warm = (
        score(board("220k"), "180.0k", Session(ambient_c=celsius, ambient_read=True)).value
        for celsius in (10.0, 35.0)
    )
    assert cold == pytest.approx(own_ohm(180e3, 1e-6, ambient_c=10.0), rel=2e-3)
    assert warm == pytest.approx(own_ohm(180e3, 1e-6, ambient_c=35.0), rel=2e-3)


@pytest.mark.parametrize("celsius", [10.0, 23.0, 35.0])
def test_between_reads_a_junction_at_the_ambient_of_the_spec(celsius: float) -> None:
    """A milliampere through the diode alone, by Shockley's equation and IS at that temperature."""
    head = HEAD.replace("hazards = []", f'hazards = []\nambient = "{celsius:g} degC"')
    (one, _) = between(
        load_board(parse_document(head + NETS + DIODE, "x.toml")), METER, "A", "K", Function.DIODE
    ).readings
    slope = SILICON.ideality * 8.617333e-5 * (celsius + 273.15)
    saturation = leak_a(10.0 * slope, 0.0, celsius) / (exp(10.0) - 1.0)
    alone = slope * log(1e-3 / saturation + 1.0) + 1e-3 * SILICON.series_resistance_ohm
    assert one.value == pytest.approx(alone, rel=1e-5)


def test_an_ambient_nobody_read_is_less_sure() -> None:
    def half_width(*, read: bool) -> float:
        found = score(board("220k"), "180.0k", Session(ambient_c=23.0, ambient_read=read))
        assert found.budget is not None
        return next(each.half_width or 0.0 for each in found.budget.contributions if each.id == "ambient.beside")

    assert half_width(read=False) > 1.8 * half_width(read=True) > 0.0
    warmer = abs(own_ohm(180e3, 1e-6, ambient_c=28.0) - own_ohm(180e3, 1e-6))
    assert half_width(read=False) == pytest.approx(warmer, rel=5e-2)


def test_a_zener_near_its_knee_widens_what_lies_beside_it() -> None:
    """Soft below 5.6 V: half the current through a 2.4 V zener already at 2 V (BZX84C: 600 ohm at 1 mA)."""
    zener = '[part.Z1]\nkind = "zener"\nvalue = "3.3 V"\nnets = { anode = "K", cathode = "A" }\n'
    found = score(board("22k", zener), "20.00k")
    assert found.budget is not None
    ids = {each.id: each.output_uncertainty for each in found.budget.contributions}
    assert "Z1.tolerance" in ids


def test_a_diode_that_blocks_costs_nothing_and_adds_nothing() -> None:
    turned = DIODE.replace('anode = "A", cathode = "K"', 'anode = "K", cathode = "A"')
    found = score(board("4k7", turned), "4.700k")
    assert found.verdict is Verdict.PASS
    assert found.budget is not None
    assert not any(each.id == "ambient.beside" for each in found.budget.contributions)
