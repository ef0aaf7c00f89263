"""The four demo boards: whole, powered within scope, and of a size to learn on."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.reading import solve_reading
from benchcheck.document import read_document
from benchcheck.kinds.check import Phase
from benchcheck.kinds.supply import inrush_s
from benchcheck.score.model_circuit import excitation_for, model_of
from benchcheck.session.which_bench import bench_from
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

ROOT = Path(__file__).parents[2]
SPECS = sorted((ROOT / "specs").glob("*.toml"))


@pytest.fixture(params=SPECS, ids=lambda path: path.stem)
def board(request: pytest.FixtureRequest) -> Board:
    return load_board(read_document(request.param))


def test_there_are_four_boards() -> None:
    assert [path.stem for path in SPECS] == ["halvorne-r52", "lumbry-qn4", "quillmere-kr6", "tarnholt-am6"]


def test_a_demo_board_leaves_nothing_to_remark(board: Board) -> None:
    assert board.notes == ()
    assert 25 <= len(board.parts) <= 60


def test_every_part_has_its_nets(board: Board) -> None:
    assert [name for name, part in board.parts.items() if not part.pins] == []


def test_power_may_be_applied(board: Board) -> None:
    assert board.power_refusals == ()
    for supply in board.supplies.values():
        first = inrush_s(supply, board.rails.values())
        assert first is not None
        assert first < 1.0


def test_a_good_board_is_above_its_own_limits_before_power(board: Board) -> None:
    """Rails, supplies and pairs that must be apart: what the circuit reads when all is well meets the limit."""
    excitation = excitation_for(bench_from(str(ROOT / "examples" / "quillmere-kr6" / "bench.toml")), Function.OHMS)
    assert excitation is not None
    netlist = model_of(board).netlist
    before = [check for check in board.checks if check.phase in (Phase.ISOLATION, Phase.TO_GROUND)]
    assert before
    for check in before:
        assert check.red is not None
        assert check.black is not None
        assert check.limits.lower is not None
        found = solve_reading(netlist, str(check.red.net), str(check.black.net), excitation)
        assert found.value is None or found.value > 1.5 * check.limits.lower, check.id
