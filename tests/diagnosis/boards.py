"""A small invented board for the tests of the diagnosis, and readings of it as a person would type them."""

from __future__ import annotations

from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.builtin import load_spec
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.shots import Shot
from benchcheck.document import parse_document
from benchcheck.quantity import parse_display
from benchcheck.readings.reading import Origin, Reading
from benchcheck.spec.board import Board

SPEC = """\
benchcheck = 1
[board]
model = "Ellwick T-5 metronome"
revision = "A"
hazards = []
[net.OUT]
complete = true
[net.BASE]
complete = true
[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "9 V"
current_limit = "200 mA"
idle_current = { max = "20 mA" }
input_capacitance = "100 uF"
[part.R1]
kind = "resistor"
value = "4k7"
tolerance = "1 %"
nets = ["OUT", "GND"]
priors = { decade = 0.05 }
[part.R2]
kind = "resistor"
value = "10k"
tolerance = "5 %"
nets = ["VCC", "BASE"]
[part.R3]
kind = "resistor"
value = "22k"
tolerance = "5 %"
nets = ["VCC", "OUT"]
[part.D1]
kind = "diode"
technology = "silicon"
nets = { anode = "BATT", cathode = "VCC" }
fitted = { maker = "Dovre Semi" }
[part.Q1]
kind = "bjt"
polarity = "NPN"
nets = { base = "BASE", collector = "OUT", emitter = "GND" }
[part.C1]
kind = "electrolytic"
value = "100 uF"
tolerance = "20 %"
rated_voltage = "16 V"
nets = { plus = "VCC", minus = "GND" }
fitted = { maker = "Arlen" }
[part.C2]
kind = "capacitor"
value = "100 nF"
tolerance = "10 %"
nets = ["VCC", "GND"]
[part.M1]
kind = "mosfet"
channel = "N"
nets = { gate = "GATE", drain = "OUT", source = "GND" }
[part.U2]
kind = "regulator"
voltage = "5 V"
topology = "linear"
nets = { input = "VCC", output = "V5", ground = "GND" }
[part.R9]
kind = "resistor"
value = "1k"
tolerance = "5 %"
nets = ["V5", "GND"]
[rail.VCC]
nets = { plus = "VCC", minus = "GND" }
voltage = "8.4 V"
tolerance = "5 %"
loads = ["0 A"]
to_ground = { min = "200 ohm" }
[[isolation]]
nets = ["BASE", "VCC"]
min = "1 kohm"
"""
BENCH = """\
benchcheck_bench = 1
[meter.dmm]
class = "handheld-6000"
leads = { resistance = "0.2 ohm", limits = "0.1 ohm" }
[meter.esrmeter]
class = "esr-meter"
[use]
esr = "esrmeter"
"""


def board(text: str = SPEC) -> Board:
    return load_spec(parse_document(text, "board.toml"))  # type: ignore[arg-type]  # a document will do


def bench() -> Bench:
    return load_bench(parse_document(BENCH, "bench.toml"))


def shown(shot: Shot, value: float, leads_ohm: float = 0.2) -> str:
    """Return a true value as somebody types what the meter shows, "OL" for overload."""
    if value != value:
        return "OL"
    return f"{value + (leads_ohm if str(shot.function) == 'ohms' else 0.0):.4g}"


def readings(engine: Engine, fault: str, changed: dict[str, str] | None = None) -> list[Reading]:
    """Return what every check between nets reads on a nominal unit with a fault ("good" for none)."""
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == fault)
    chosen = [engine.hypotheses[0], engine.hypotheses[row]]
    by_shot = read_under(engine.board, engine.bench, engine.netlist, chosen, engine.checks)[1]
    texts = {"meter.leads_shorted": ("0.2", "ohm")}
    for check in engine.board.checks:
        shot = engine.shot_of(check)
        if shot is not None:
            texts[check.id] = shown(shot, by_shot[engine.checks.index(shot)]), check.quantity_unit
        elif check.measurand == "orientation":
            turned = engine.hypotheses[row].code == "reversed" and engine.hypotheses[row].designator == check.subject
            texts[check.id] = "no" if turned else "yes", "text"
    for check_id, text in (changed or {}).items():
        unit = engine.board.by_id[check_id].quantity_unit if check_id in engine.board.by_id else "ohm"
        texts[check_id] = text, unit
    return [typed(check_id, text, unit) for check_id, (text, unit) in texts.items()]


def typed(check_id: str, text: str, unit: str) -> Reading:
    return Reading(check_id, parse_display(text, unit), unit, Origin.TYPED)
