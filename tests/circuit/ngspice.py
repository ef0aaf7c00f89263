"""ngspice as a second opinion: one deck, or many in one process, node voltages back as numbers."""

from __future__ import annotations

import pathlib
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence

from benchcheck.circuit.devices import VoltageSource, pins
from benchcheck.circuit.netlist import Netlist

from .random_networks import deck_lines

PROGRAM = shutil.which("ngspice")
OPTIONS = "gmin={gmin} reltol=1e-9 abstol=1e-15 vntol=1e-12 itl1=1000"
GMIN = "1e-15"

Voltages = dict[str, float]


def deck(netlist: Netlist, *, gmin: str = GMIN, start: Mapping[str, float] | None = None) -> str:
    """Return a netlist as a deck with one operating point to find, from start voltages if given."""
    nodeset = " ".join(f"v({net})={volt!r}" for net, volt in (start or {}).items() if net != "0")
    lines = ["* network", *deck_lines(netlist), f".options {OPTIONS.format(gmin=gmin)}", ".temp 27"]
    lines += [f".nodeset {nodeset}"] if nodeset else []
    return "\n".join([*lines, ".end", ""])


def operating_points(decks: Sequence[str], folder: pathlib.Path) -> list[Voltages | None]:
    """Return the node voltages of every deck, None where ngspice does not converge; one process for all."""
    assert PROGRAM is not None
    steps = []
    for number, text in enumerate(decks):
        (folder / f"{number}.cir").write_text(text, encoding="utf-8")
        steps += [f"source {number}.cir", "op", f"echo deck {number}", "print all", "remcirc", "destroy all"]
    control = ["* many", ".control", "set numdgt=15", "set width=200", *steps, "quit 0", ".endc", ".end", ""]
    (folder / "many.cir").write_text("\n".join(control), encoding="utf-8")
    done = subprocess.run(
        [PROGRAM, "-b", "many.cir"], cwd=folder, capture_output=True, text=True, check=False, timeout=300
    )
    blocks = re.split(r"^deck (\d+)$", done.stdout, flags=re.MULTILINE)[1:]
    printed = dict(zip(map(int, blocks[::2]), blocks[1::2], strict=True))
    return [_voltages(printed.get(number, "")) for number in range(len(decks))]


def _voltages(printed: str) -> Voltages | None:
    found = re.findall(r"^([a-z]\w*) = (\S+)$", printed, flags=re.MULTILINE)
    return {name: float(value) for name, value in found if "#" not in name} or None


def kirchhoff_residuals(netlist: Netlist, voltages: Mapping[str, float], folder: pathlib.Path) -> Voltages:
    """Return what ngspice's own device equations leave over at every net held at a given voltage, in ampere.

    Each net is held by an ideal source; what that source has to deliver is Kirchhoff's law not met.
    """
    assert PROGRAM is not None
    driven = {net for device in netlist.devices if isinstance(device, VoltageSource) for net in pins(device).values()}
    held = {net: volt for net, volt in voltages.items() if net not in driven | {"0"}}
    sources = "\n".join(f"V_held_{net} {net} 0 {volt!r}" for net, volt in held.items())
    (folder / "held.cir").write_text(deck(netlist).replace(".end\n", f"{sources}\n.end\n"), encoding="utf-8")
    control = "* held\n.control\nset numdgt=15\nsource held.cir\nop\nprint all\nquit 0\n.endc\n.end\n"
    (folder / "residuals.cir").write_text(control, encoding="utf-8")
    done = subprocess.run(
        [PROGRAM, "-b", "residuals.cir"], cwd=folder, capture_output=True, text=True, check=False, timeout=120
    )
    found = re.findall(r"^v_held_(\w+)#branch = (\S+)$", done.stdout, flags=re.MULTILINE)
    return {net: float(ampere) for net, ampere in found}
