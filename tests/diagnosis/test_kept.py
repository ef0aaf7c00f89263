"""A dictionary that was kept: what comes back is what was worked out, and only for the board it is of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pytest
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.circuit.items import Outcome
from benchcheck.diagnosis import engine as engines
from benchcheck.diagnosis.ambient import engine_at
from benchcheck.diagnosis.diagnose import diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import evidence_of
from benchcheck.diagnosis.kept import called, packed, unpacked
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.kinds.resistor import Resistor
from benchcheck.readings.reading import Session
from benchcheck.shelf import FileShelf

from . import boards

SWITCHED = """\
[part.S1]
kind = "switch"
nets = { 1 = "VCC", 2 = "LOAD" }
[part.R8]
kind = "resistor"
value = "470 ohm"
tolerance = "5 %"
nets = ["LOAD", "GND"]
"""


class Memory:
    """A shelf of this process."""

    def __init__(self) -> None:
        self.kept: dict[str, dict[str, NDArray[Any]]] = {}

    def taken(self, name: str) -> dict[str, NDArray[Any]] | None:
        return self.kept.get(name)

    def put(self, name: str, arrays: Mapping[str, NDArray[Any]]) -> None:
        self.kept[name] = dict(arrays)


def without_working_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have whoever works a dictionary out fail."""

    def refused(*_: object) -> object:
        raise AssertionError("was worked out again")

    monkeypatch.setattr(engines, "predict", refused)


def fresh(shelf: Memory | None = None, text: str = boards.SPEC, *, across: bool = True) -> Engine:
    return Engine(boards.board(text), boards.bench(), across=across, shelf=shelf)


def name_of(engine: Engine) -> str:
    given = engine.board, engine.bench, engine.netlist, engine.hypotheses, engine.shots
    return called(*given, engine.errors.ambient_c, engine.by_eye)


@pytest.fixture(scope="module", params=["as it is", "with a switch"])
def whole(request: pytest.FixtureRequest, engine: Engine) -> Engine:
    return engine if request.param == "as it is" else fresh(text=boards.SPEC + SWITCHED)


@pytest.fixture
def shelf(engine: Engine) -> Memory:
    """A shelf on which the dictionary of the board is."""
    found = Memory()
    found.put(name_of(engine), packed(engine.predictions, engine.groups))
    return found


def through_a_file(engine: Engine, folder: Path) -> tuple[Predictions, tuple[int, ...]]:
    """Return what comes back of an engine's dictionary that was put into a file."""
    FileShelf(folder).put("it", packed(engine.predictions, engine.groups))
    arrays = FileShelf(folder).taken("it")
    assert arrays is not None
    return unpacked(arrays, engine.board, engine.netlist, engine.shots)


def assert_one_array(back: NDArray[Any], put: NDArray[Any], name: str) -> None:
    """Assert that an array is another one that nothing tells from the first, its layout and its bits included."""
    assert back is not put, name
    assert (back.dtype, back.shape, back.strides) == (put.dtype, put.shape, put.strides), name
    assert (back.flags.c_contiguous, back.flags.f_contiguous) == (put.flags.c_contiguous, put.flags.f_contiguous)
    assert back.flags.writeable == put.flags.writeable, name
    assert back.tobytes() == put.tobytes(), name


def test_what_comes_back_is_what_was_put_away_to_the_last_bit(whole: Engine, tmp_path: Path) -> None:
    back, groups = through_a_file(whole, tmp_path)
    assert groups == whole.groups
    assert back.shots == whole.predictions.shots
    for name in ("mean", "latent", "held", "known", "good", "slopes", "entry", "own", "bent", "by_lead"):
        assert_one_array(getattr(back, name), getattr(whole.predictions, name), name)
    assert back.strays.keys == whole.predictions.strays.keys
    assert back.common == whole.predictions.common


def test_where_the_board_settled_comes_back_with_it(whole: Engine, tmp_path: Path) -> None:
    back, _ = through_a_file(whole, tmp_path)
    assert list(back.settled) == list(whole.predictions.settled)
    for switches, settled in whole.predictions.settled.items():
        again = back.settled[switches]
        assert (again.places, again.row_of, again.layout) == (settled.places, settled.row_of, settled.layout)
        for name in Outcome.__slots__:
            assert_one_array(getattr(again.outcome, name), getattr(settled.outcome, name), name)


def test_an_answer_from_what_was_kept_is_the_same(
    engine: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    evidence = evidence_of(engine.board, boards.readings(engine, "R3 open"), Session(23.0, False, 0.2))
    before = engine.weigh(evidence)
    FileShelf(tmp_path).put(name_of(engine), packed(engine.predictions, engine.groups))
    without_working_out(monkeypatch)
    again = Engine(boards.board(), boards.bench(), shelf=FileShelf(tmp_path))
    np.testing.assert_array_equal(again.weigh(evidence).log_odds, before.log_odds)


def test_further_readings_have_a_dictionary_of_their_own(engine: Engine, shelf: Memory) -> None:
    narrow = fresh(shelf, across=False)
    assert narrow.predictions.mean.shape[1] < len(engine.shots)
    assert len(shelf.kept) == 2
    assert narrow.also_reading(engine.shots).predictions.mean.shape[1] == len(engine.shots)


def test_nothing_of_another_board_bench_or_ambient_is_taken(engine: Engine) -> None:
    board, bench, netlist, hypotheses, shots = (
        engine.board, engine.bench, engine.netlist, engine.hypotheses, engine.shots,
    )  # fmt: skip
    other = Engine(boards.board(boards.SPEC.replace('"4k7"', '"4k3"')), bench)
    likelier = (hypotheses[0], *(replace(each, odds=2.0 * each.odds) for each in hypotheses[1:]))
    eye, other_meter = engine.by_eye, replace(bench, use={**bench.use, Function.ESR: "another"})
    names = [
        called(board, bench, netlist, hypotheses, shots, 23.0, eye),
        called(other.board, bench, netlist, hypotheses, shots, 23.0, eye),
        called(board, replace(bench, meters={}), netlist, hypotheses, shots, 23.0, eye),
        called(board, other_meter, netlist, hypotheses, shots, 23.0, eye),
        called(board, bench, other.netlist, hypotheses, shots, 23.0, eye),
        called(board, bench, netlist, likelier, shots, 23.0, eye),
        called(board, bench, netlist, hypotheses, shots[:-1], 23.0, eye),
        called(board, bench, netlist, hypotheses, shots, 35.0, eye),
        called(board, bench, netlist, hypotheses, shots, 23.0, {*eye, "D77"}),
    ]
    assert len(set(names)) == len(names)
    assert name_of(fresh()) == names[0]


def test_a_bench_of_another_name_is_the_same_bench(engine: Engine) -> None:
    renamed = replace(engine.bench, name="/elsewhere/bench.toml", source="# a remark", digest="")
    assert name_of(Engine(engine.board, renamed)) == name_of(engine)


def test_a_board_with_a_part_that_a_plugin_brought_is_worked_out_each_time(engine: Engine) -> None:
    class Thermistor(Resistor):
        """A kind that is not ours."""

    brought = Thermistor(**attrs.asdict(engine.board.parts["R1"], recurse=False))
    board = replace(engine.board, parts={**engine.board.parts, "R1": brought})
    assert called(board, engine.bench, engine.netlist, engine.hypotheses, engine.shots, 23.0, engine.by_eye) == ""


def test_a_warm_bench_keeps_a_dictionary_of_its_own(shelf: Memory) -> None:
    warm = engine_at(boards.board(), boards.bench(), Session(40.0, True, 0.2), across=False, shelf=shelf)
    assert warm.predictions.mean.size
    near = fresh(shelf, across=False)
    assert near.predictions.mean.size
    assert len(shelf.kept) == 3


@pytest.mark.parametrize("missing", ["head", "mean", "settled0.volt"])
def test_what_is_no_dictionary_is_worked_out_anew_and_put_in_its_place(
    missing: str, engine: Engine, shelf: Memory
) -> None:
    (name,) = shelf.kept
    del shelf.kept[name][missing]
    np.testing.assert_array_equal(fresh(shelf).predictions.mean, engine.predictions.mean)
    assert missing in shelf.kept[name]


def test_readings_of_other_shots_are_no_dictionary_of_these(engine: Engine) -> None:
    arrays = packed(engine.predictions, engine.groups)
    with pytest.raises(ValueError, match="are not readings of"):
        unpacked(arrays, engine.board, engine.netlist, engine.shots[:-1])


def test_diagnose_hands_the_shelf_on(engine: Engine) -> None:
    shelf, board = Memory(), boards.board(boards.SPEC.replace("T-5", "T-7"))
    diagnose(board, boards.bench(), boards.readings(engine, "R3 open"), across=False, shelf=shelf)
    assert len(shelf.kept) == 1
