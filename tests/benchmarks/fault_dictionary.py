"""The fault dictionary beside ngspice in one process: 60 parts, 40 nets, every fault, 120 probe pairs.

The peer at its best: one process; what changes the same circuit is an `alter`, what needs another device is a deck
read anew; faults that leave the same circuit for direct current are asked once; one current source stands ready
at each pair of nets, both ways round being its two signs. Both have the same junctions and the same leak at every
net. ngspice's source knows no compliance: what reads beyond full scale is OL for both. Seconds are of processor time,
a busy machine disturbing them least; no ratio is given where the readings do not agree.
"""

from __future__ import annotations

import itertools
import math
import os
import pathlib
import random
import re
import resource
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass

from benchcheck.circuit.devices import Bjt, Capacitor, Clamp, Device, Diode, Mosfet, Resistor, Zener
from benchcheck.circuit.dictionary import FaultDictionary, fault_dictionary
from benchcheck.circuit.excitation import DiodeTest, Ohms, OhmsRange
from benchcheck.circuit.faults import Edit, FaultSizes, PartFault, edit_of, possible_faults
from benchcheck.circuit.models import SCHOTTKY, SILICON
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.physics import BOARD_LEAK_S
from benchcheck.circuit.table import Probe
from tests.benchmarks.rows import row
from tests.circuit.boards import probe_pairs
from tests.circuit.ngspice import PROGRAM
from tests.circuit.random_networks import deck_lines

MINUTES = 3
PARTS, NETS, PAIRS, SEEDS = 60, 40, 120, (1, 2)
COMPLIANCE_V = 3.0
OHM_A, DIODE_A = 1e-4, 1e-3
FULL_SCALE_V = 2.0
OHMS = Ohms((OhmsRange(FULL_SCALE_V / OHM_A, OHM_A, COMPLIANCE_V),))
DIODE = DiodeTest(DIODE_A, COMPLIANCE_V, FULL_SCALE_V)
FAR_OHM = 1e12
EXACT = "reltol=1e-6 vntol=1e-8 abstol=1e-12"
OPTIONS = {"to our precision": EXACT, "with its default tolerances": ""}
AGREE_RELATIVE, AGREE_V, AGREE_SHARE = 1e-3, 1e-3, 0.99
#: of a board of 60, beside resistors
MIX = {"d": 7, "c": 6, "u": 4, "q": 2, "m": 1, "z": 1}


def sane_board(seed: int, parts: int = PARTS, nets: int = NETS) -> Netlist:
    """Return a board of which every net has a resistive way to ground; capacitors, junctions, transistors on it."""
    rng = random.Random(f"sane {seed}")
    names = ["GND", "VCC", *(f"N{i}" for i in range(1, nets - 1))]
    weights = [6.0, 4.0, *[1.0] * (nets - 2)]
    devices: list[Device] = []
    for at in range(1, nets):
        other = rng.choices(names[:at], weights[:at])[0]
        devices.append(Resistor(f"R{at}", names[at], other, float(f"{10 ** rng.uniform(1, 5):.2g}")))
    letters = list(
        itertools.islice(itertools.cycle("".join(k * n for k, n in MIX.items())), max(0, parts - nets + 1))
    )
    for number, letter in enumerate(letters):
        devices.append(_device(f"{letter.upper()}{number}", letter, rng.sample(names, 3), rng))
    return Netlist(devices)


def _device(name: str, letter: str, nets: list[str], rng: random.Random) -> Device:
    one, other, third = nets
    match letter:
        case "d":
            return Diode(name, one, other, rng.choice((SILICON, SCHOTTKY)))
        case "c":
            return Capacitor(name, one, other, 1e-6, 0.1, polarised=rng.random() < 0.5)
        case "z":
            return Zener(name, one, other, 5.1)
        case "q":
            return Bjt(name, one, other, third, rng.choice(("NPN", "PNP")))
        case "m":
            return Mosfet(name, one, other, third, rng.choice(("N", "P")))
        case _:
            pin = next(net for net in nets if net not in ("GND", "VCC"))
            return Clamp(name, pin, "GND", "VCC")


def probes(netlist: Netlist, count: int = PAIRS) -> list[Probe]:
    """Return pairs of nets, both ways round, by turns on ohms and in diode mode."""
    return [Probe(a, b, (OHMS, DIODE)[at // 2 % 2]) for at, (a, b) in enumerate(probe_pairs(netlist, count))]


# the peer -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Circuit:
    """What one or several faults make of the board for direct current."""

    edit: Edit
    rows: tuple[int, ...]


def circuits(netlist: Netlist, faults: tuple[PartFault, ...]) -> list[Circuit]:
    """Return the different circuits the faults make, a capacitor without leakage being none."""
    same: dict[Edit, list[int]] = {}
    for at, fault in enumerate(faults):
        edit = edit_of(netlist, fault, FaultSizes())
        removed = tuple(name for name in edit.removed if not isinstance(netlist.device(name), Capacitor))
        same.setdefault(Edit(removed, tuple(filter(_conducts, edit.added))), []).append(at)
    return [Circuit(edit, tuple(rows)) for edit, rows in same.items()]


def _conducts(device: Device) -> bool:
    return not isinstance(device, Capacitor) or device.leakage_ohm is not None


def _direct(devices: tuple[Device, ...]) -> list[Device]:
    """Return the devices as they are for direct current."""
    leaks = {c: Resistor(c.designator, c.plus, c.minus, c.leakage_ohm) for c in devices
             if isinstance(c, Capacitor) and c.leakage_ohm}  # fmt: skip
    return [leaks.get(device, device) if isinstance(device, Capacitor) else device
            for device in devices if _conducts(device)]  # fmt: skip


def deck(devices: list[Device], wanted: list[Probe], options: str) -> str:
    """Return a circuit with a source of no current at each pair of nets,."""
    lines = ["* board", *deck_lines(Netlist(devices))]
    pairs = dict.fromkeys(_source(probe)[:3] for probe in wanted)
    lines += [f"{name} {black} {red} 0" for name, red, black in pairs]
    lines += [f".options gmin=1e-15 rshunt={1 / BOARD_LEAK_S!r} {options}", ".temp 27", ".end", ""]
    text = "\n".join(re.sub(r"\bGND\b", "0", line) for line in lines)
    return text.replace(" pad", "_pad").replace(":", "_")  # a lifted pin is on a net called "Q1:base pad"


def _source(probe: Probe) -> tuple[str, str, str, float]:
    """Return the source of a probe pair, its nets in alphabetical order, and the current it drives."""
    ampere = OHM_A if probe.excitation is OHMS else DIODE_A
    red, black = sorted((probe.red, probe.black))
    return f"Ip_{red}_{black}", red, black, ampere if red == probe.red else -ampere


def commands(
    netlist: Netlist, made: list[Circuit], wanted: list[Probe], options: str, folder: pathlib.Path
) -> Iterator[str]:
    """Yield what ngspice is told; decks are written into the folder as they are needed."""
    good = _direct(netlist.devices)
    altered = [one for one in made if _values(one.edit, netlist)]
    for at, one in enumerate(one for one in made if not _values(one.edit, netlist)):
        kept = tuple(device for device in netlist.devices if device.designator not in one.edit.removed)
        text = deck(_direct((*kept, *one.edit.added)), wanted, options)
        (folder / f"{at}.cir").write_text(text, encoding="utf-8")
        yield f"source {at}.cir"
        yield from _readings(one, wanted)
        yield "remcirc"
    (folder / "good.cir").write_text(deck(good, wanted, options), encoding="utf-8")
    yield "source good.cir"
    for one in altered:
        name, ohm, before = _values(one.edit, netlist)  # type: ignore[misc]
        yield f"alter r_{name.lower()} {ohm!r}"
        yield from _readings(one, wanted)
        yield f"alter r_{name.lower()} {before!r}"


def _values(edit: Edit, netlist: Netlist) -> tuple[str, float, float] | None:
    """Return the resistor, its resistance and the good one, of a fault that is another value only."""
    if len(edit.removed) != 1:
        return None
    device = netlist.device(edit.removed[0])
    if not isinstance(device, Resistor):
        return None
    ohm = edit.added[0].resistance_ohm if edit.added else FAR_OHM  # type: ignore[union-attr]
    return device.designator, ohm, device.resistance_ohm


def _readings(one: Circuit, wanted: list[Probe]) -> Iterator[str]:
    for column, probe in enumerate(wanted):
        name, _, _, ampere = _source(probe)
        shown = "-".join(f"v({net.lower()})" for net in (probe.red, probe.black) if net != "GND")
        shown = f"0-{shown}" if probe.red == "GND" else shown
        yield from (f"alter {name.lower()} {ampere!r}", "op", f"echo at {one.rows[0]} {column}", f"print {shown}")
        yield from (f"alter {name.lower()} 0", "destroy all")


@dataclass(frozen=True, slots=True)
class Peer:
    """What ngspice took, in seconds of the processor and by the clock, and its readings in volt by fault and probe.

    `gave_up`: how often it reached no operating point, by gmin, by source stepping, or in time.
    """

    processor_s: float
    wall_s: float
    readings: dict[tuple[int, int], float]
    gave_up: int


def peer(steps: list[str], folder: pathlib.Path) -> Peer:
    """Return what ngspice makes of the steps."""
    control = ["* run", ".control", "set numdgt=12", *steps, "quit 0", ".endc", ".end", ""]
    (folder / "run.cir").write_text("\n".join(control), encoding="utf-8")
    before, started = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run([str(PROGRAM), "-b", "run.cir"], cwd=folder, capture_output=True, text=True, check=False)
    wall, after = time.perf_counter() - started, resource.getrusage(resource.RUSAGE_CHILDREN)
    readings: dict[tuple[int, int], float] = {}
    for line in re.finditer(r"^at (\d+) (\d+)\n(?:[^=\n]*\n)*?\S+ = (\S+)$", done.stdout, flags=re.MULTILINE):
        readings[int(line[1]), int(line[2])] = float(line[3])
    gave_up = done.stderr.count("doAnalyses: OP:")
    return Peer(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, wall, readings, gave_up)


# side by side ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Agreement:
    """How many readings both have alike, of how many; the worst gap in volt where both show a number.

    `missing` are the readings ngspice has none for: `gave_up` of them it said so, having found no operating point.
    """

    compared: int
    alike: int
    missing: int
    gave_up: int
    worst_v: float

    @property
    def enough(self) -> bool:
        """Whether the readings are those of the same circuits."""
        return self.missing <= 0.01 * self.compared and self.alike >= AGREE_SHARE * self.compared

    def __str__(self) -> str:
        """Return it in words."""
        apart = self.compared - self.alike
        found = f"{self.compared} readings compared, {apart} apart, worst {self.worst_v:.2g} V"
        return f"{found}; {self.missing} missing, ngspice having found no operating point {self.gave_up} times"


def agreement(ours: FaultDictionary, peers: Peer, asked: int) -> Agreement:
    """Compare every reading both have: OL with OL, numbers within 1e-3 or 1 mV."""
    theirs, alike, worst = peers.readings, 0, 0.0
    for (at, column), volt in theirs.items():
        per_volt = OHM_A if ours.probes[column].excitation is OHMS else 1.0
        mine, overload = float(ours.readings[at, column]) * per_volt, volt > FULL_SCALE_V
        if overload or math.isnan(mine):
            alike += overload and math.isnan(mine) and bool(ours.solved[at, column])
            continue
        worst = max(worst, abs(mine - volt))
        alike += math.isclose(mine, volt, rel_tol=AGREE_RELATIVE, abs_tol=AGREE_V)
    return Agreement(len(theirs), alike, asked - len(theirs), peers.gave_up, worst)


def our_run(netlist: Netlist, wanted: list[Probe], rounds: int = 5) -> tuple[float, FaultDictionary]:
    """Return the median of our processor seconds and the dictionary."""
    took = []
    for _ in range(rounds):
        started = time.process_time()
        found = fault_dictionary(netlist, wanted, possible_faults(netlist))
        took.append(time.process_time() - started)
    return statistics.median(took), found


def compare(seed: int) -> None:
    """Print one board's rows, one for each of the peer's tolerances."""
    netlist = sane_board(seed)
    wanted = probes(netlist)
    our_run(netlist, wanted[:4], 1)
    ours_s, ours = our_run(netlist, wanted)
    made = circuits(netlist, ours.faults)
    counted = ", ".join(f"{count} {how}" for how, count in ours.counts.items())
    size = f"{len(netlist.devices)} parts, {len(netlist.nets)} nets, {len(wanted)} pairs, {len(ours.faults)} faults"
    print(f"  board {seed}: {size} ({len(made)} different circuits to ngspice); ours: {counted}", flush=True)
    for how, options in OPTIONS.items():
        with tempfile.TemporaryDirectory() as name:
            folder = pathlib.Path(name)
            theirs = peer(list(commands(netlist, made, wanted, options, folder)), folder)
        agreed = agreement(ours, theirs, len(made) * len(wanted))
        print(f"  ngspice {how}: {theirs.wall_s:.1f} s by the clock, load {os.getloadavg()[0]:.1f}; {agreed}")
        if agreed.enough:
            row(f"fault dictionary, board {seed}", ours_s, f"ngspice {how}", theirs.processor_s, 10.0, faster=True)
        else:
            print("  no ratio: the readings do not agree")


def growth() -> None:
    """Print what a dictionary costs as parts, nets and probe pairs grow, each by itself."""
    sizes = {
        "parts": ((45, 40, 120), (60, 40, 120), (120, 40, 120)),
        "parts and nets": ((30, 20, 120), (60, 40, 120), (120, 80, 120)),
        "nets": ((60, 20, 120), (60, 40, 120), (60, 55, 120)),
        "pairs": ((60, 40, 30), (60, 40, 120), (60, 40, 480)),
    }
    for what, three in sizes.items():
        print(f"  growth with {what}:")
        for parts, nets, pairs in three:
            netlist = sane_board(1, parts, nets)
            seconds, found = our_run(netlist, probes(netlist, pairs), 3)
            size = f"{parts:4} parts, {nets:3} nets, {pairs:3} pairs, {len(found.faults):4} faults"
            print(
                f"    {size}: {seconds:6.2f} s, {1e6 * seconds / found.readings.size:5.1f} us a reading", flush=True
            )


def main() -> None:
    """Print the rows of every board, then the growth."""
    if PROGRAM is None:
        print("  left out: ngspice is not installed")
        return
    for seed in SEEDS:
        compare(seed)
    growth()


if __name__ == "__main__":
    main()
