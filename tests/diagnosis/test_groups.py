"""Groups at the end of a meter's last range, where a number and overload are one reading."""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.groups import groups_of

from . import boards

#: the ESR meter's last range ends at 100 ohm, and nothing but this resistor leads to the gate.
AT_FULL_SCALE = """\
[part.R8]
kind = "resistor"
value = "100 ohm"
tolerance = "5 %"
nets = ["OUT", "GATE"]
"""


def test_a_reading_at_full_scale_splits_no_group() -> None:
    spec = boards.SPEC.replace("[rail.VCC]", f"{AT_FULL_SCALE}[rail.VCC]")
    engine = Engine(boards.board(spec), boards.bench())
    table = engine.predictions
    at = next(
        at for at, shot in enumerate(table.shots)
        if shot.function is Function.ESR and {shot.red, shot.black} == {"OUT", "GATE"}
    )  # fmt: skip
    place = {str(one): row for row, one in enumerate(engine.hypotheses)}
    assert engine.errors.overload_from(Function.ESR) < 101.0
    group = {name: engine.groups[row] for name, row in place.items()}
    for row in range(len(engine.hypotheses)):  # rounding decides between 99.99999 and overload
        table.mean[row, at] = 99.99999 if row % 2 else float("nan")
    split = groups_of(table, engine.hypotheses, engine.errors, engine.by_eye)
    for name, number in group.items():
        same = [other for other, found in group.items() if found == number]
        assert {split[place[other]] for other in same} == {split[place[name]]}
