"""A small invented board with its bench and readings, and the command line run on it in a process of its own."""

from __future__ import annotations

import os
import pathlib
import subprocess
import sys
from dataclasses import dataclass

SPEC = """\
benchcheck = 1
[board]
model = "Ellwick T-4 metronome"
revision = "B"
hazards = []
[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "9 V"
current_limit = "200 mA"
idle_current = { max = "20 mA" }
input_capacitance = "100 uF"
[part.R1]
kind = "resistor"
value = "4k7"
tolerance = "5 %"
nets = ["BASE", "GND"]
[part.R2]
kind = "resistor"
value = "100k"
tolerance = "5 %"
nets = ["BATT", "BASE"]
[part.D1]
kind = "diode"
technology = "silicon"
nets = { anode = "BATT", cathode = "VCC" }
[rail.VCC]
nets = { plus = "VCC", minus = "GND" }
voltage = "8.4 V"
tolerance = "5 %"
loads = ["0 A", "50 mA"]
load_regulation = { max = "5 %" }
to_ground = { min = "200 ohm" }
[[isolation]]
nets = ["BASE", "VCC"]
min = "1 kohm"
"""
BENCH = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "bench-6.5"\nleads = { nulled = true }\n'
GOOD = {
    "BATT.residual_voltage": "0.003",
    "VCC.residual_voltage": "0.004",
    "D1.forward_drop": "0.61",
    "D1.reverse": "OL",
    "isolation.resistance[BASE:VCC]": "48k",
    "BATT.to_ground[red:BATT]": "OL",
    "BATT.to_ground[red:GND]": "OL",
    "VCC.to_ground[red:GND]": "2.2k",
    "VCC.to_ground[red:VCC]": "2.3k",
    "BATT.idle_current": "0.0081",
    "VCC.voltage[0A]": "8.41",
    "VCC.voltage[50mA]": "8.35",
}
#: checks of GOOD that pass outright; resistors on a board are one-sided, so they are left out of it.
NAMES = ",".join((*GOOD, "VCC.load_regulation"))


@dataclass(frozen=True)
class Ran:
    """What a process came to."""

    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        """The complaint as one line, wherever it was wrapped."""
        return " ".join(self.err.split())


def card(readings: dict[str, str]) -> str:
    return "check,reading\n" + "".join(f"{check},{shown}\n" for check, shown in readings.items())


def lay_out(folder: pathlib.Path, readings: dict[str, str] | None = None) -> pathlib.Path:
    """Put spec, bench and a card of readings into a folder and return it."""
    (folder / "board.toml").write_text(SPEC, encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "card.csv").write_text(card(GOOD if readings is None else readings), encoding="utf-8")
    return folder


def clean_environment(**more: str) -> dict[str, str]:
    dropped = ("PYTEST_", "NO_COLOR", "COV_")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(dropped)}
    return {**kept, "COLUMNS": "80", **more}


def run(folder: pathlib.Path, *arguments: str, **environment: str) -> Ran:
    """Run benchcheck in the folder, with no terminal on any side."""
    command = [sys.executable, "-m", "benchcheck", *arguments]
    return process(folder, command, **environment)


def verify(folder: pathlib.Path, *more: str, **environment: str) -> Ran:
    return run(folder, "verify", "board.toml", "--unit", "T-4 no. 7", "--readings", "card.csv", *more, **environment)


def run_pytest(folder: pathlib.Path, *arguments: str, **environment: str) -> Ran:
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-c", "pytest.ini", *arguments]
    (folder / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    return process(folder, command, **environment)


def process(folder: pathlib.Path, command: list[str], **environment: str) -> Ran:
    ran = subprocess.run(
        command,
        cwd=folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=120,
        env=clean_environment(**environment),
    )
    return Ran(ran.returncode, ran.stdout, ran.stderr)


def records(folder: pathlib.Path) -> list[pathlib.Path]:
    """Return the record files under the folder, however they are named."""
    return sorted(path for path in (folder / "records").rglob("*") if path.is_file() and "sources" not in path.parts)
