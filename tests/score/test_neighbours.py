"""No number of a part beside the one sought is taken for exact: the spec's limits, or what is usual."""

from __future__ import annotations

import pytest

from benchcheck.circuit.devices import Capacitor, Inductor, Mosfet, Resistor, Switch, Zener
from benchcheck.document import parse_document
from benchcheck.readings.reading import Session
from benchcheck.score.judge import judge
from benchcheck.score.model_circuit import model_of
from benchcheck.score.neighbours import spread_of
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.factories import bench, reading

HEAD = (
    'benchcheck = 1\n[board]\nmodel = "Ellwick T-30"\nhazards = []\n'
    "[net.A]\ncomplete = true\n[net.B]\ncomplete = true\n"
)
METER = bench("handheld-6000")


def board(entry: str) -> Board:
    return load_board(parse_document(f"{HEAD}[part.X1]\n{entry}\n", "x.toml"))


def spread(entry: str, field: str) -> tuple[float, str]:
    on = board(entry)
    device = model_of(on).netlist.device("X1")
    found = spread_of(on.parts["X1"], device, field)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("entry", "field", "half_width"),
    [
        ('kind = "zener"\nvalue = "5.1 V"\nnets = { anode = "A", cathode = "B" }', "breakdown_voltage_v", 0.255),
        ('kind = "inductor"\ndc_resistance = { max = "20 ohm" }\nnets = ["A", "B"]', "dc_resistance_ohm", 10.0),
        ('kind = "inductor"\nnets = ["A", "B"]', "dc_resistance_ohm", 0.05),
        ('kind = "winding"\nvalue = "8 ohm"\nnets = ["A", "B"]', "resistance_ohm", 0.8),
        ('kind = "winding"\nvalue = "8 ohm"\ntolerance = "5 %"\nnets = ["A", "B"]', "resistance_ohm", 0.4),
        ('kind = "fuse"\nresistance = { max = "10 ohm" }\nnets = ["A", "B"]', "resistance_ohm", 5.0),
        ('kind = "ferrite"\nnets = ["A", "B"]', "resistance_ohm", 0.05),
        ('kind = "capacitor"\nvalue = "100 nF"\ntolerance = "10 %"\nnets = ["A", "B"]', "capacitance_f", 10e-9),
        ('kind = "switch"\nrest = "closed"\nnets = ["A", "B"]', "closed_resistance_ohm", 0.05),
        (
            'kind = "mosfet"\nchannel = "N"\nnets = { gate = "G", drain = "A", source = "B" }',
            "threshold_shift_v",
            0.7,
        ),
    ],
)
def test_every_number_of_a_neighbour_strays(entry: str, field: str, half_width: float) -> None:
    """By hand from the entry: tolerance times value, half of "at most"; the rest is common practice, no source."""
    found, origin = spread(entry, field)
    assert found == pytest.approx(half_width)
    assert origin


@pytest.mark.parametrize(
    ("device", "field"),
    [
        (Resistor("X1", "A", "B", 10.0), "resistance_ohm"),
        (Inductor("X1", "A", "B", 1e-3, 2.0), "dc_resistance_ohm"),
        (Inductor("X1", "A", "B", 1e-3, 2.0), "inductance_h"),
        (Capacitor("X1", "A", "B", 1e-6, leakage_ohm=1e6), "leakage_ohm"),
        (Capacitor("X1", "A", "B", 1e-6), "series_resistance_ohm"),
        (Zener("X1", "A", "B", 5.1), "breakdown_voltage_v"),
        (Switch("X1", "A", "B", closed=True), "closed_resistance_ohm"),
        (Mosfet("X1", "G", "A", "B"), "drop_shift_v"),
    ],
)
def test_a_part_of_another_kind_strays_by_what_is_usual(device: object, field: str) -> None:
    """A plugin's part may stamp any device and state nothing of it: common practice, no source, and said to be so."""

    class Bare:
        kind = "thermistor"

    found = spread_of(Bare(), device, field)
    assert found is not None
    assert found[0] > 0.0
    assert "no source" in found[1]


def test_what_is_no_part_of_the_board_does_not_stray() -> None:
    assert spread_of(None, Resistor("meter:lead", "A", "B", 0.2), "resistance_ohm") is None


def test_a_choke_known_by_its_limit_alone_widens_what_lies_beside_it() -> None:
    """R = m P / (P - m), so dR/dP = -(R / P)^2: 10 ohm beside 0 to 20 ohm is good to 10 ohm (any textbook)."""
    parts = (
        '[part.R1]\nkind = "resistor"\nvalue = "10 ohm"\ntolerance = "5 %"\nnets = ["A", "B"]\n'
        '[part.L1]\nkind = "inductor"\ndc_resistance = { max = "20 ohm" }\nnets = ["A", "B"]\nneighbour = true\n'
    )
    on = load_board(parse_document(HEAD + parts, "x.toml"))
    check = on.by_id["R1.resistance"]
    found = judge(check, [reading(check, "5.0")], METER, Session(), surroundings=CircuitSolver(on, METER))
    assert found.budget is not None
    widths = {each.id: each.half_width for each in found.budget.contributions}
    assert widths["L1.dc"] == pytest.approx(10.0, rel=1e-2)
