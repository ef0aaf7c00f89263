"""Parts nobody can say what they conduct: their nets convict no part, and that is said before a probe touches."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Clamp, Diode
from benchcheck.document import parse_document
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.between import between
from benchcheck.score.judge import judge
from benchcheck.score.model_circuit import model_of
from benchcheck.score.solver import CircuitSolver
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.cli.scratch import run
from tests.factories import bench, reading

HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-10"\nhazards = []\n'
NETS = "".join(f"[net.{net}]\ncomplete = true\n" for net in "AB")
PAIR = """[part.R1]
kind = "resistor"
value = "10k"
tolerance = "1 %"
nets = ["A", "B"]
[part.R2]
kind = "resistor"
value = "22k"
tolerance = "1 %"
nets = ["A", "B"]
"""


def ic(nets: str, clamps: str = "") -> str:
    return f'[part.U1]\nkind = "ic"\nnets = {{ {nets} }}\n{clamps}'


def board(chip: str) -> Board:
    return load_board(parse_document(HEAD + NETS + PAIR + chip, "x.toml"))


@pytest.mark.parametrize(
    ("chip", "incomplete"),
    [
        (ic('in = "A", out = "B"'), {"A", "B"}),
        (ic('in = "A", out = "B", supply = "V"'), {"A", "B", "V"}),
        (ic('in = "A", out = "B", ground = "C"'), {"C"}),  # no complete net of its own, as the spec says
        (ic('in = "A", out = "B"', "clamps = { in = [], out = [] }\n"), set()),
        (ic('in = "A", out = "B"', "clamps = { in = [] }\n"), {"B"}),
    ],
)
def test_pins_of_an_ic_without_a_ground_leave_their_nets_incomplete(chip: str, incomplete: set[str]) -> None:
    model = model_of(board(chip))
    assert model.incomplete == incomplete
    assert model.unmodelled == (("U1",) if "B" in incomplete else ())


def test_a_low_reading_beside_an_ic_without_a_ground_convicts_nobody() -> None:
    """10k beside 22k read 6.875k; 5k there are a fail where both nets are complete, and the IC's doing where not."""
    verdicts = []
    for chip in (ic('in = "A", out = "B", ground = "C"'), ic('in = "A", out = "B"')):
        spec, meter = board(chip), bench("bench-5.5")
        check = spec.by_id["R1.resistance"]
        verdicts.append(
            judge(
                check, (reading(check, "5.000k"),), meter, Session(), surroundings=CircuitSolver(spec, meter)
            ).verdict
        )
    assert verdicts == [Verdict.FAIL, Verdict.UNDECIDED]


def test_it_is_said_in_check_spec_capability_and_between(tmp_path: Path) -> None:
    (tmp_path / "x.toml").write_text(HEAD + NETS + PAIR + ic('in = "A", out = "B"'), "utf-8")
    (tmp_path / "bench.toml").write_text('benchcheck_bench = 1\n[meter.dmm]\nclass = "bench-5.5"\n', "utf-8")
    said = " ".join(run(tmp_path, "check-spec", "x.toml", "--brief").out.split())
    assert "part.U1.nets: names no ground pin, so nobody can say what A, B conduct there" in said
    assert "No model of U1: their nets count as not complete." in run(tmp_path, "capability", "x.toml").out
    told = between(board(ic('in = "A", out = "B"')), bench("bench-5.5"), "A", "B", Function.OHMS).remarks
    assert "not complete in the spec: A, B; other paths there can only lower a resistance" in told


def test_a_pin_that_clamps_to_the_supply_alone_is_a_junction_to_it() -> None:
    (device,) = (
        one
        for one in model_of(
            board(ic('in = "A", supply = "V", ground = "C"', 'clamps = { in = ["supply"] }\n'))
        ).netlist.devices
        if one.designator == "U1:in"
    )
    assert isinstance(device, Diode)
    assert (device.anode, device.cathode) == ("A", "V")
    both = model_of(board(ic('in = "A", supply = "V", ground = "C"'))).netlist.device("U1:in")
    assert isinstance(both, Clamp)
