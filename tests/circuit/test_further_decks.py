"""Further decks, unlike the reference ones: every node within 1e-6 V of ngspice, run live.

Temperatures away from 27 degC, high injection, Early effect both ways, inverse operation, breakdown, a channel used
backwards, feedback, a supply of hundreds of volts beside microamperes. Invented; source: ngspice (Debian package).
"""

from __future__ import annotations

import pathlib
import re

import pytest

from benchcheck.circuit.physics import Conditions
from benchcheck.circuit.solution import operating_point

from . import ngspice
from .spice_reader import read

WITHIN_V = 1e-6
FOLDER = pathlib.Path(__file__).parent / "further_decks"
DECKS = {path.stem: path.read_text("utf-8") for path in sorted(FOLDER.glob("*.cir"))}
TEMPERATURES_C = (27.0, -10.0, 75.0)

pytestmark = pytest.mark.skipif(ngspice.PROGRAM is None, reason="ngspice is not installed")


def deck(name: str, celsius: float) -> str:
    options = ngspice.OPTIONS.format(gmin=ngspice.GMIN)
    return DECKS[name].replace(".end\n", f".options {options}\n.temp {celsius}\n.end\n").lower()


def test_further_decks_agree_with_ngspice_at_every_temperature(tmp_path: pathlib.Path) -> None:
    wanted = [(name, celsius) for name in DECKS for celsius in TEMPERATURES_C]
    theirs = ngspice.operating_points([deck(name, celsius) for name, celsius in wanted], tmp_path)
    wrong: dict[object, object] = {}
    for (name, celsius), found in zip(wanted, theirs, strict=True):
        assert found is not None, f"ngspice does not settle: {name} at {celsius}"
        ours = operating_point(read(deck(name, celsius)).netlist, "0", Conditions(celsius + 273.15)).voltages
        apart = {
            net: (volt, found[net]) for net, volt in ours.items() if net != "0" and abs(volt - found[net]) > WITHIN_V
        }
        if apart:
            wrong[name, celsius] = apart
    assert wrong == {}


def test_the_decks_are_read_whole() -> None:
    """No line of a deck is lost on the way: as many devices as lines that name one."""
    for name in DECKS:
        lines = [line for line in deck(name, 27.0).splitlines()[1:] if re.match(r"[rvidqml]", line)]
        assert len(read(deck(name, 27.0)).netlist.devices) == len(lines)
