"""On-resistance counts with its gate driven, steady and far enough; the value is computed elsewhere."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchcheck.checklist.order import Checklist
from benchcheck.clock import FakeClock
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading
from benchcheck.record.journal import Journal
from benchcheck.record.model import Head, Stage
from benchcheck.session.kept import Kept
from benchcheck.session.visit import Visit
from tests.factories import bench
from tests.session.powered import spec_board

SPEC = """\
benchcheck = 1
[board]
model = "Ellwick T-3 test board"
hazards = []
[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "6 V"
[part.Q5]
kind = "mosfet"
channel = "N"
nets = { gate = "LMP", drain = "LAMP", source = "GND" }
on_resistance = { max = "60 mohm", gate_drive = "4.5 V", currents = ["200 mA", "500 mA"] }
"""
#: 40 mohm between 0.2 A and 0.5 A: (20 mV - 8 mV) / 0.3 A, worked by hand
VOLTS = {"Q5.on_voltage[200mA]": 0.008, "Q5.on_voltage[500mA]": 0.020}


def verdict(folder: Path, gate: Display | None) -> tuple[str, str]:
    unit = spec_board(folder, SPEC)
    shown = {name: Display(f"{value:g}", DisplayState.VALUE, value, 1e-6) for name, value in VOLTS.items()}
    if gate is not None:
        shown["Q5.gate_drive"] = gate
    kept = {name: (Reading(name, one, "V", Origin.FILE),) for name, one in shown.items()}
    checks = tuple(one for one in unit.checks if one.powered and one.subject == "Q5")
    head = Head(unit="7", board=unit.model, stage=Stage.AS_LEFT, spec_digest="0" * 64)
    with Journal.create(folder / "records", head, FakeClock()) as journal:
        visit = Visit(Checklist(unit, checks), bench("bench-6.5"), journal, Nobody(), None, Kept(kept))
        (score,) = (one for one in visit.conduct().scores if one.check == "Q5.on_resistance")
    return str(score.verdict), score.because


class Nobody:
    def scored(self, *_: object) -> None: ...

    def undone(self, *_: object) -> None: ...


def volts(value: float) -> Display:
    return Display(f"{value:g}", DisplayState.VALUE, value, 1e-3)


def test_with_the_gate_driven_the_value_decides(tmp_path: Path) -> None:
    assert verdict(tmp_path, volts(4.9))[0] == "pass"


@pytest.mark.parametrize(
    ("gate", "words"),
    [
        (None, "was not read"),
        (volts(3.1), "is fail"),
        (Display("jumps", DisplayState.JUMPS), "wanders: the gate is being switched"),
    ],
)
def test_without_a_steady_gate_drive_nothing_is_decided(tmp_path: Path, gate: Display | None, words: str) -> None:
    found, because = verdict(tmp_path, gate)
    assert found == "undecided"
    assert because == f"it counts only at a steady gate drive, and Q5.gate_drive {words}"
