"""ngspice as a second opinion: many decks in one batch run each, node voltages back as numbers."""

from __future__ import annotations

import pathlib
import shutil
import subprocess

from benchcheck.circuit.netlist import Netlist

from .random_networks import deck_lines

PROGRAM = shutil.which("ngspice")
OPTIONS = "gmin={gmin} reltol=1e-9 abstol=1e-15 vntol=1e-12 itl1=1000"


def operating_point(
    netlist: Netlist, folder: pathlib.Path, *, gmin: str = "1e-15", start: dict[str, float] | None = None
) -> dict[str, float] | None:
    """Return ngspice's node voltages, or None when it does not converge."""
    assert PROGRAM is not None
    nodeset = " ".join(f"v({net})={volt!r}" for net, volt in (start or {}).items() if net != "0")
    lines = ["* network", *deck_lines(netlist), f".options {OPTIONS.format(gmin=gmin)}", ".temp 27", ".op"]
    if nodeset:
        lines.append(f".nodeset {nodeset}")
    deck, raw = folder / "deck.cir", folder / "out.raw"
    (folder / ".spiceinit").write_text("set filetype=ascii\n")
    deck.write_text("\n".join([*lines, ".end", ""]), encoding="utf-8")
    raw.unlink(missing_ok=True)
    subprocess.run(
        [PROGRAM, "-b", "-r", raw.name, deck.name], cwd=folder, capture_output=True, check=False, timeout=120
    )
    return read_raw(raw) if raw.exists() else None


def read_raw(path: pathlib.Path) -> dict[str, float] | None:
    """Return the voltages of an ASCII raw file with one point."""
    text = path.read_text(encoding="utf-8", errors="replace")
    if "Values:" not in text:
        return None
    head, values = text.split("Values:", 1)
    names = [line.split()[1] for line in head.split("\nVariables:", 1)[1].strip().splitlines()]
    numbers = [float(word) for word in values.split()[1:]]
    return {name[2:-1]: value for name, value in zip(names, numbers, strict=False) if name.startswith("v(")}
