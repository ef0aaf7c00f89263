"""Slopes by the adjoint network against the circuit solved again with one device changed a little."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import pytest

from benchcheck.circuit.devices import Bjt, Clamp, Device, Diode, Mosfet, Resistor, Zener, reconnect
from benchcheck.circuit.dictionary import edited_readings
from benchcheck.circuit.edited import EditedReadings
from benchcheck.circuit.excitation import DiodeTest, Ohms, OhmsRange
from benchcheck.circuit.faults import Edit, FaultSizes, PartFault, edit_of
from benchcheck.circuit.models import BjtModel, JunctionModel
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.table import Probe

BOARD: tuple[Device, ...] = (
    Resistor("R1", "A", "B", 4700.0),
    Resistor("R2", "B", "C", 0.4),
    Diode("D1", "C", "GND"),
    Resistor("R3", "B", "D", 33e3),
    Bjt("Q1", "A", "D", "GND"),
    Resistor("R4", "D", "GND", 100e3),
)
OHMS = Ohms((OhmsRange(6e3, 1e-4, 2.7), OhmsRange(6e5, 1e-6, 2.7), OhmsRange(6e7, 1e-8, 2.7)))
PROBES = [Probe(a, b, how) for a, b in (("A", "GND"), ("D", "GND"), ("GND", "A"), ("B", "D"))
          for how in (OHMS, DiodeTest(1e-3, 3.0, 3.0))]  # fmt: skip
REVERSED = Edit(("D1",), (Diode("D1", "GND", "C"),))
STEP = 1e-4


def read(devices: tuple[Device, ...], edit: Edit, *, leanings: bool = False) -> EditedReadings:
    return edited_readings(Netlist(devices), PROBES, [edit], leanings=leanings)


def moved(device: Device) -> Device:
    match device:
        case Resistor():
            return replace(device, resistance_ohm=device.resistance_ohm * np.exp(STEP))
        case Diode() | Bjt():
            return replace(device, drop_shift_v=device.drop_shift_v + STEP)
        case _:
            return device


@pytest.mark.parametrize("name", [device.designator for device in BOARD])
def test_slopes_are_those_of_the_circuit_solved_again(name: str) -> None:
    before = read(BOARD, REVERSED, leanings=True)
    other = tuple(moved(device) if device.designator == name else device for device in BOARD)
    edit = Edit(("D1",), (moved(REVERSED.added[0]),)) if name == "D1" else REVERSED
    after = read(other, edit)
    slot = next(at for at, each in enumerate(before.slots) if each.designator == name)
    for row in (0, 1):
        for at, probe in enumerate(PROBES):
            if np.isnan(before.value[row, at]) or before.value[row, at] < 1e-6:
                continue
            entry = before.entry[row, at]
            slope = before.good[slot, at] if entry < 0 else before.moved[entry, slot]
            new, old = after.value[row, at], before.value[row, at]
            seen = (new - old) / STEP if probe.excitation is not OHMS else np.log(new / old) / STEP
            assert slope == pytest.approx(seen, rel=0.01, abs=2e-3)


def less_ideal(device: Device, by: float) -> Device:
    """Return a device of another ideality that drops the same at 1 mA (worked out here, from Shockley's equation)."""
    match device:
        case Diode(model=model):
            saturation = 1e-3 * (model.saturation_current_a / 1e-3) ** (model.ideality / (model.ideality + by))
            changed = replace(model, saturation_current_a=saturation, ideality=model.ideality + by)
            return replace(device, model=changed)
        case Bjt(model=model):
            ratio = (model.forward_ideality + by) / model.forward_ideality
            saturation = 1e-3 * (model.saturation_current_a / 1e-3) ** (1.0 / ratio)
            both = {name: getattr(model, name) * ratio for name in ("forward_ideality", "reverse_ideality")}
            return replace(device, model=replace(model, saturation_current_a=saturation, **both))
        case _:
            return device


LEAKING = JunctionModel(saturation_current_a=1e-7, ideality=1.05)


@pytest.mark.parametrize("name", ["D1", "D2", "Q1"])
@pytest.mark.parametrize("volts", [0.0, 0.02])
def test_slopes_to_idealities_are_those_of_the_circuit_solved_again(name: str, volts: float) -> None:
    """Forwards a junction drops less the smaller the current; backwards it leaks what ideality makes of it."""
    board = (*BOARD, Diode("D2", "GND", "D", LEAKING, drop_shift_v=volts))
    before = read(board, REVERSED, leanings=True)
    slot = next(at for at, each in enumerate(before.slots) if (each.designator, each.of) == (name, "ideality"))
    ways = []
    for by in (STEP, -STEP):
        other = tuple(less_ideal(device, by) if device.designator == name else device for device in board)
        edit = Edit(("D1",), (less_ideal(REVERSED.added[0], by),)) if name == "D1" else REVERSED
        ways.append(read(other, edit).value)
    known = 0
    for row in (0, 1):
        for at, probe in enumerate(PROBES):
            if np.isnan([ways[0][row, at], ways[1][row, at]]).any() or ways[0][row, at] < 1e-6:
                continue
            entry = before.entry[row, at]
            slope = before.good[slot, at] if entry < 0 else before.moved[entry, slot]
            up, down = ways[0][row, at], ways[1][row, at]
            seen = (up - down) / (2.0 * STEP) if probe.excitation is not OHMS else np.log(up / down) / (2.0 * STEP)
            assert slope == pytest.approx(seen, rel=0.03, abs=5e-3)
            known += abs(seen) > 0.03
    assert known


def test_ideality_of_a_transistor_with_a_lifted_collector() -> None:
    """A lifted pin carries nothing, whatever the idealities are: beside the circuit solved again."""
    probe = Probe("D", "GND", DiodeTest(1e-5, 3.0, 3.0))
    transistor = next(device for device in BOARD if device.designator == "Q1")

    def reading(by: float) -> EditedReadings:
        lifted = reconnect(less_ideal(transistor, by), collector="nowhere")
        return edited_readings(Netlist(BOARD), [probe], [Edit(("Q1",), (lifted,))], leanings=by == 0.0)

    found, up, down = reading(0.0), reading(STEP).value[1, 0], reading(-STEP).value[1, 0]
    slot = next(at for at, each in enumerate(found.slots) if (each.designator, each.of) == ("Q1", "ideality"))
    seen = (up - down) / (2.0 * STEP)
    assert abs(seen) > 0.01
    assert found.moved[found.entry[1, 0], slot] == pytest.approx(seen, rel=0.02)


def test_breakdown_leans_on_its_voltage() -> None:
    board = (Zener("D1", "GND", "A", 1.8), Resistor("R1", "A", "GND", 1e6))
    probe = Probe("A", "GND", DiodeTest(1e-3, 3.0, 3.0))
    found = edited_readings(Netlist(board), [probe], [], leanings=True)
    slot = next(at for at, each in enumerate(found.slots) if each.of == "breakdown")
    assert found.good[slot, 0] == pytest.approx(1.8, rel=0.05)  # volts of reading by ln of breakdown volts


@pytest.mark.parametrize("channel", ["N", "P"])
def test_a_channel_near_its_threshold_leans_on_it(channel: Literal["N", "P"]) -> None:
    """A gate tied to the drain conducts from its threshold on: the reading moves as the circuit solved again does."""
    drain, source = ("A", "GND") if channel == "N" else ("GND", "A")
    probe = Probe("A", "GND", DiodeTest(1e-3, 3.0, 3.0))

    def board(volts: float) -> Netlist:
        fet = Mosfet("Q1", "G", drain, source, channel=channel, threshold_shift_v=volts)
        return Netlist((fet, Resistor("R1", "G", drain, 1e3), Resistor("R2", "A", "GND", 47e3)))

    found = edited_readings(board(0.0), [probe], [], leanings=True)
    slot = next(at for at, each in enumerate(found.slots) if each.of == "threshold")
    up, down = (edited_readings(board(volts), [probe], []).value[0, 0] for volts in (STEP, -STEP))
    assert found.good[slot, 0] == pytest.approx((up - down) / (2.0 * STEP), rel=0.01)
    assert found.good[slot, 0] > 0.5


def test_a_changed_junction_among_many_leans_on_its_own_drop() -> None:
    """A junction that carries all of the current between the probes moves the reading by as much as its own drop.

    It is a clamp's that has lost its way to ground, among light emitting diodes and transistors that no current
    reaches: from rest it takes them many steps to be back where they were.
    """
    light = JunctionModel(saturation_current_a=1e-18, ideality=2.0, series_resistance_ohm=5.0, bandgap_ev=1.9)
    columns = (("COL1", "CB1"), ("COL2", "CB2"), ("COL3", "CB3"))
    board: tuple[Device, ...] = (
        Clamp("U1", "RST", "GND", "VDD"), Clamp("U2", "ROW1", "GND", "VDD"), Resistor("R3", "VDD", "RST", 10e3),
        Resistor("R10", "ROW1", "LR1", 180.0), Diode("D12", "LR1", "COL3", light),
        *(Diode(f"D{at}", "LR4", column, light) for at, (column, _) in enumerate(columns, 19)),
        *(Resistor(f"R{at}", base, "GND", 47e3) for at, (_, base) in enumerate(columns, 17)),
        *(
            Bjt(f"Q{at}", column, base, "GND", "NPN", BjtModel(1e-14, 200.0, 4.0))
            for at, (column, base) in enumerate(columns, 1)
        ),
    )  # fmt: skip
    probe = Probe("ROW1", "VDD", DiodeTest(1e-3, 4.0, 2.5))
    lost = edit_of(Netlist(board), PartFault("missing-joint", "U2", ("ground",)), FaultSizes())
    found = edited_readings(Netlist(board), [probe], [lost], leanings=True)
    own = [at for at, one in enumerate(found.slots) if (one.designator, one.of) == ("U2", "drop")]
    assert found.moved[found.entry[1, 0], own].sum() == pytest.approx(1.0, abs=1e-3)
