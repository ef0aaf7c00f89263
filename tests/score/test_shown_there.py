"""No part passes on a reading that the board gives without it; what does so is compared in numbers and said."""

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

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-31"\nhazards = []\nambient = "23 degC"\n'
COMPLETE = "[net.A]\ncomplete = true\n[net.K]\ncomplete = true\n"
METER = bench("handheld-6000")
TEMPERATURE_K = 296.15
THERMAL_V = 8.617333e-5 * TEMPERATURE_K


def diode(name: str, technology: str = "silicon") -> str:
    return f'[part.{name}]\nkind = "diode"\ntechnology = "{technology}"\nnets = {{ anode = "A", cathode = "K" }}\n'


def resistor(name: str, value: str, tolerance: str = "5 %", nets: str = '"A", "K"') -> str:
    return f'[part.{name}]\nkind = "resistor"\nvalue = "{value}"\ntolerance = "{tolerance}"\nnets = [{nets}]\n'


def board(*parts: str, nets: str = COMPLETE) -> Board:
    return load_board(parse_document(HEAD + nets + "".join(parts), "x.toml"))


def score(on: Board, check_id: str, shown: str) -> Score:
    check = on.by_id[check_id]
    return judge(check, [reading(check, shown)], METER, Session(), surroundings=CircuitSolver(on, METER))


def drop_v(ampere: float) -> float:
    """Shockley's equation of the silicon card at 23 degC, IS moved as the SPICE3 manual's appendix has it."""
    slope = SILICON.ideality * THERMAL_V
    warmed = (TEMPERATURE_K / 300.15) ** (SILICON.temperature_exponent / SILICON.ideality)
    warmed *= exp((TEMPERATURE_K / 300.15 - 1.0) * SILICON.bandgap_ev / slope)
    return (
        slope * log(ampere / (SILICON.saturation_current_a * warmed) + 1.0) + ampere * SILICON.series_resistance_ohm
    )


def beside_v(ohm: float) -> float:
    """The drop of a milliampere shared by a diode and a resistor, by Newton's method on its voltage."""
    volt = 0.4
    for _ in range(100):
        through = max(1e-3 - volt / ohm, 1e-9)
        slope = (drop_v(through * 1.001) - drop_v(through)) / (0.001 * through) / ohm + 1.0
        volt -= (volt - drop_v(through)) / slope / 2.0
    return volt


@pytest.mark.parametrize("nets", [COMPLETE, ""], ids=["complete", "unknown paths"])
@pytest.mark.parametrize("shown_v", [drop_v(1e-3), drop_v(0.5e-3)], ids=["one open", "both good"])
@pytest.mark.parametrize("part", ["D1", "D2"])
def test_two_like_diodes_side_by_side_do_not_show_either(nets: str, shown_v: float, part: str) -> None:
    """With one open the other carries it all: 31 mV more (N VT ln 2, Shockley), and good ones stray by 30 mV."""
    found = score(board(diode("D1"), diode("D2"), nets=nets), f"{part}.forward_drop", f"{shown_v:.3f}")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "lift" in found.change
    assert found.conformance_probability is None or found.verdict is Verdict.UNDECIDED


@pytest.mark.parametrize("ohm", [470, 560, 620])
@pytest.mark.parametrize("nets", [COMPLETE, ""], ids=["complete", "unknown paths"])
def test_the_drop_of_the_resistor_alone_shows_no_diode(ohm: int, nets: str) -> None:
    """A milliampere through 560 ohm is 0.56 V (Ohm), what a good diode reads alone."""
    found = score(board(diode("D1"), resistor("R1", f"{ohm} ohm"), nets=nets), "D1.forward_drop", f"{ohm * 1e-3:.3f}")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "R1" in found.because


def test_the_readings_compared_stand_in_the_reason() -> None:
    found = score(board(diode("D1"), resistor("R1", "560 ohm"), nets=""), "D1.forward_drop", "0.560")
    assert "560 mV was read, and with D1 open the board would read 560 mV, with an uncertainty of" in found.because
    assert "this does not show D1; R1 beside it" in found.because


def test_a_schottky_that_is_not_there_does_not_pass_by_its_resistor() -> None:
    """A milliampere through 220 ohm is 0.22 V, what a Schottky reads."""
    found = score(board(diode("D1", "schottky"), resistor("R1", "220 ohm")), "D1.forward_drop", "0.220")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)


@pytest.mark.parametrize("ohm", [1000, 2200])
def test_a_good_diode_passes_where_its_resistor_alone_would_read_far_more(ohm: int) -> None:
    found = score(board(diode("D1"), resistor("R1", f"{ohm} ohm")), "D1.forward_drop", f"{beside_v(ohm):.3f}")
    assert found.verdict is Verdict.PASS
    assert found.value == pytest.approx(drop_v(1e-3), abs=2e-3)


def test_a_body_diode_and_a_diode_beside_it_hide_one_another() -> None:
    mosfet = '[part.Q1]\nkind = "mosfet"\nchannel = "N"\nnets = { gate = "G", drain = "K", source = "A" }\n'
    on = board(mosfet, diode("D1"), nets=COMPLETE + "[net.G]\ncomplete = true\n")
    for name in ("Q1.body_diode", "D1.forward_drop"):
        assert score(on, name, "0.560").verdict is Verdict.UNDECIDED


def test_a_transistor_whose_base_lies_beside_diodes_is_not_shown() -> None:
    transistor = '[part.Q1]\nkind = "bjt"\npolarity = "NPN"\nnets = { base = "A", collector = "C", emitter = "K" }\n'
    on = board(transistor, diode("D1"), resistor("R1", "2k2", nets='"C", "K"'), nets="")
    assert score(on, "Q1.be_drop", f"{drop_v(1e-3):.3f}").verdict is Verdict.UNDECIDED


def test_a_clamp_that_another_part_stands_in_for_is_not_shown() -> None:
    """A pin's check goes through its clamp; a clamp of another IC on the same pin reads the same without it."""
    ics = "".join(
        f'[part.{name}]\nkind = "ic"\nnets = {{ x = "A", ground = "K", supply = "V{name}" }}\n'
        for name in ("U1", "U2")
    )
    found = score(board(ics, nets=""), "U1.pin[x:ground]", "0.68")
    assert (found.verdict, found.code) == (Verdict.UNDECIDED, Reason.CIRCUIT)
    assert "U1 open" in found.because or "U1 x open" in found.because


def test_a_fuse_and_a_wire_beside_it_hide_one_another() -> None:
    fuses = "".join(
        f'[part.{name}]\nkind = "fuse"\nresistance = {{ max = "5 ohm" }}\nnets = ["A", "K"]\n'
        for name in ("F1", "F2")
    )
    assert score(board(fuses), "F1.resistance", "1.2").verdict is Verdict.UNDECIDED


def test_capacitors_side_by_side_pass_where_the_other_alone_reads_otherwise() -> None:
    """1 uF beside 100 nF reads 1.1 uF, and 100 nF without it (capacitances in parallel add, any textbook)."""

    def capacitor(name: str, value: str) -> str:
        return f'[part.{name}]\nkind = "capacitor"\nvalue = "{value}"\ntolerance = "10 %"\nnets = ["A", "K"]\n'

    on = board(capacitor("C1", "1 uF"), capacitor("C2", "100 nF"))
    assert score(on, "C1.capacitance", "1.100 uF").verdict is Verdict.PASS
    assert score(on, "C2.capacitance", "1.100 uF").verdict is Verdict.UNDECIDED
