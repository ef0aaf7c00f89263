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
NPN = ".model n npn(is=3e-15 bf=180 br=2 nf=1.01 vaf=70 var=12 ikf=0.04 ikr=0.01 ise=2e-14 ne=1.6 isc=1e-13 nc=1.9 \
rb=25 rc=1.5 re=0.4 xtb=1.4 xti=3 eg=1.11)"
PNP = ".model p pnp(is=5e-15 bf=110 br=3 vaf=45 ikf=0.06 ise=1e-14 ne=1.5 rb=18 rc=0.8 re=0.2 xtb=1.2)"
DIODE = ".model d d(is=3e-9 n=1.8 rs=0.6 eg=1.11 xti=3)"
SCHOTTKY = ".model s d(is=2e-7 n=1.04 rs=0.3 eg=0.69 xti=2)"
ZENER = ".model z d(is=1e-14 n=1.1 rs=4 bv=12 ibv=5m nbv=1.6)"
NMOS = ".model mn nmos(level=1 vto=1.1 kp=0.4 lambda=0.03 gamma=0 phi=0.6 rd=0.2 rs=0.1 is=1e-14)"
PMOS = ".model mp pmos(level=1 vto=-0.9 kp=0.25 lambda=0.02 gamma=0 phi=0.6 rd=0.3 rs=0.2 is=1e-14)"

DECKS = {
    "darlington with a shunt": f"V1 a 0 12\nR1 a b 470k\nR2 a c 1.2k\nQ1 c b e n\nQ2 c e f n\nR3 e f 15k\nR4 f 0 47\n{NPN}",
    "mirror of PNP with degeneration": f"V1 a 0 9\nR1 a x 330\nR2 a y 330\nQ1 r r x p\nQ2 o r y p\nR3 r 0 6.8k\nR4 o 0 2.2k\n{PNP}",
    "long-tailed pair with a mirror load": f"V1 a 0 10\nV2 0 v 10\nR1 v t 8.2k\nQ1 x i t n\nQ2 o j t n\nQ3 x x a p\nQ4 o x a p\n\
R2 i 0 10k\nV3 j 0 1m\nR3 o 0 100k\n{NPN}\n{PNP}",
    "push-pull output biased by two diodes": f"V1 a 0 15\nV2 0 v 15\nR1 a b 4.7k\nD1 b m d\nD2 m c d\nR2 c v 4.7k\nV3 m 0 3\n\
Q1 a b o n\nQ2 v c o p\nR3 o 0 100\n{NPN}\n{PNP}\n{DIODE}",
    "saturated and inverse transistors": f"V1 a 0 5\nR1 a b 1k\nR2 a c 10k\nQ1 c b 0 n\nR3 a d 2.2k\nR4 a e 10k\nQ2 0 d e n\n{NPN}",
    "zener with an emitter follower": f"V1 a 0 18\nR1 a z 680\nD1 0 z z\nQ1 a z o n\nR2 o 0 220\n{NPN}\n{ZENER}",
    "two zeners in series both ways": f"V1 a 0 40\nR1 a b 1.5k\nD1 m b z\nD2 m 0 z\nD3 n m z\nR2 n 0 3.3k\n{ZENER}",
    "inverters in a row, one driven halfway": f"V1 a 0 5\nV2 i 0 1.9\nM1 x i 0 0 mn w=100u l=100u\nM2 x i a a mp w=100u l=100u\n\
M3 y x 0 0 mn w=100u l=100u\nM4 y x a a mp w=100u l=100u\nR1 x 0 1meg\nR2 y 0 1meg\n{NMOS}\n{PMOS}",
    "a channel used backwards, its body conducting": f"V1 a 0 3.3\nR1 a s 47\nM1 0 g s s mn w=100u l=100u\nR2 g s 10k\nR3 g 0 100k\n{NMOS}",
    "reverse battery through a P channel": f"V1 0 a 9\nM1 a 0 o o mp w=100u l=100u\nR1 o 0 150\nR2 a 0 1meg\n{PMOS}",
    "bridge fed the wrong way with one leg open": f"I1 0 a 2m\nD1 a p d\nD2 b p d\nD3 n a s\nD4 n b s\nR1 p n 220\nR2 b 0 33\nR3 n 0 1meg\n\
{DIODE}\n{SCHOTTKY}",
    "ladder of junctions from microvolts to volts": "V1 a 0 2\n" + "\n".join(
        f"R{i} {'a' if i == 0 else f'n{i - 1}'} n{i} {10 ** (i % 5 + 2)}\nD{i} n{i} 0 {'s' if i % 2 else 'd'}" for i in range(12)
    ) + f"\n{DIODE}\n{SCHOTTKY}",
    "hundreds of volts beside microamperes": f"V1 a 0 350\nR1 a b 2.2meg\nR2 b c 470k\nD1 c 0 d\nQ1 b c e n\nR3 e 0 10\nR4 c 0 1meg\n{NPN}\n{DIODE}",
    "milliohms beside megohms": "I1 0 a 10\nR1 a b 2m\nR2 b 0 5m\nR3 a c 10meg\nR4 c 0 4.7meg\nR5 c b 1meg\nL1 b d 1u\nR6 d 0 33m",
    "supply crossing of three sources": f"V1 a 0 5\nV2 b 0 4.8\nV3 c 0 3\nR1 a x 1\nR2 b y 1\nR3 c w 1\nD1 x o s\nD2 y o s\nD3 w o d\nR4 o 0 12\n\
{SCHOTTKY}\n{DIODE}",
}  # fmt: skip
TEMPERATURES_C = (27.0, -10.0, 75.0)

pytestmark = pytest.mark.skipif(ngspice.PROGRAM is None, reason="ngspice is not installed")


def deck(name: str, celsius: float) -> str:
    options = ngspice.OPTIONS.format(gmin=ngspice.GMIN)
    return f"* {name}\n{DECKS[name]}\n.options {options}\n.temp {celsius}\n.end\n".lower()


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
