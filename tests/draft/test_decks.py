"""The reference decks, written for a SPICE simulator, give drafts with the nodes and values that simulator reads.

The other reader is the one the circuit tests use, whose results are held to ngspice's.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchcheck.circuit.devices import Bjt, Diode, Mosfet, Resistor
from benchcheck.document import parse_document
from benchcheck.draft import draft_spec
from benchcheck.spec.load import load_board
from tests.circuit.spice_reader import read_file

DECKS = sorted((Path(__file__).parents[1] / "reference" / "circuits").glob("*.cir"))


def nodes(device: Any) -> dict[str, str]:
    """Return the pins of a device as a spec names them."""
    if isinstance(device, Resistor):
        return {"1": device.a, "2": device.b}
    if isinstance(device, Diode):
        return {"anode": device.anode, "cathode": device.cathode}
    if isinstance(device, Mosfet):
        return {"gate": device.gate, "drain": device.drain, "source": device.source}
    return {"base": device.base, "collector": device.collector, "emitter": device.emitter}


@pytest.mark.parametrize("deck", DECKS, ids=lambda path: path.stem)
def test_a_deck_is_read_as_the_simulator_reads_it(tmp_path: Path, deck: Path) -> None:
    listed = tmp_path / "parts.csv"
    devices = [one for one in read_file(deck).netlist.devices if isinstance(one, Resistor | Diode | Bjt | Mosfet)]
    said = {Resistor: "", Diode: "1N4148", Bjt: "NPN", Mosfet: "N-channel"}
    rows = [f"{one.designator},{said[type(one)]}" for one in devices if not isinstance(one, Resistor)]
    listed.write_text("\n".join(["Reference,Value", "C99,1n", *rows]), "utf-8")
    parts = load_board(parse_document(draft_spec(listed, deck).text, "draft.toml")).parts
    by_name = {name.casefold(): part for name, part in parts.items()}
    compared = 0
    for device in devices:
        part = by_name.get(device.designator.casefold())
        if part is None:  # a value SPICE and people read differently, left to be asked
            assert isinstance(device, Resistor)
            continue
        compared += 1
        ours = {pin: net.casefold() for pin, net in part.pins.items()}
        theirs = {pin: net.casefold() for pin, net in nodes(device).items()}
        assert ours == {pin: "gnd" if net in ("0", "gnd") else net for pin, net in theirs.items()}, device.designator
        if isinstance(device, Resistor):
            assert getattr(part, "value", None) == pytest.approx(device.resistance_ohm, rel=1e-9), device.designator
    assert compared >= 0.9 * len(devices)
