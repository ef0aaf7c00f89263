"""What benchcheck brings along keeps to the rules it sets plugin authors."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchcheck.builtin import plugins
from benchcheck.conformance import DialectKit, FileSourceKit, KindKit, ReportKit, SourceKit
from benchcheck.conformance.sample import sample_bench
from benchcheck.session.sources import Setting
from tests.conformance.running import rules_of, run_rule

MANAGER = plugins(installed=False)
KINDS = {one.name: one for one in MANAGER.handed("benchcheck_kinds")}
DIALECTS = {one.name: one for one in MANAGER.handed("benchcheck_dialects")}
SOURCES = {one.name: one for one in MANAGER.handed("benchcheck_sources")}
REPORTS = {one.name: one for one in MANAGER.handed("benchcheck_reports")}

TWO = {"nets": ["OUT", "LMP"]}
POLES = {"nets": {"plus": "OUT", "minus": "GND"}}
DIODE = {"nets": {"anode": "OUT", "cathode": "LMP"}}
ENTRIES: dict[str, dict[str, Any]] = {
    "resistor": {"value": "10k", **TWO},
    "fuse": {"rated_current": "1 A", **TWO},
    "ptc": {"hold_current": "350 mA", **TWO},
    "ferrite": TWO,
    "winding": {"value": "8 ohm", **TWO},
    "capacitor": {"value": "100 nF", "technology": "ceramic", **TWO},
    "electrolytic": {"value": "470 uF", "rated_voltage": "16 V", **POLES},
    "tantalum": {"value": "10 uF", "rated_voltage": "16 V", **POLES},
    "inductor": {"value": "22 uH", "dc_resistance": {"max": "0.4 ohm"}, **TWO},
    "diode": {"technology": "schottky", **DIODE},
    "led": {"colour": "red", **DIODE},
    "zener": {"value": "5V6", **DIODE},
    "bjt": {"polarity": "NPN", "nets": {"base": "OUT", "collector": "LMP", "emitter": "GND"}},
    "mosfet": {"channel": "N", "nets": {"gate": "OUT", "drain": "LMP", "source": "GND"}},
    "regulator": {"voltage": "5 V", "nets": {"input": "VIN", "output": "OUT", "ground": "GND"}},
    "switch": TWO,
    "connector": TWO,
    "crystal": TWO,
    "ic": {"nets": {"fb": "OUT", "supply": "VIN", "ground": "GND"}, "clamps": {"fb": ["ground"]}},
    "battery": {"cell": "alkaline", "cells": 4, **POLES},
}
#: one invented serial number after each family's own pattern (the families are those of `dialects.toml`).
IDENTITIES = {
    "keysight_e36300": "Keysight Technologies,E36312A,1,1.0",
    "keysight_e363x_single": "Agilent Technologies,E3633A,0,1.0",
    "keysight_e3631_e364x": "HEWLETT-PACKARD,E3631A,0,1.0",
    "hp_66xxb": "HEWLETT-PACKARD,6632B,0,1.0",
    "keysight_n6700": "Agilent Technologies,N6705,1,1.0",
    "tdk_genesys_plus": "TDK-LAMBDA,G30-56,1,1.0",
    "rigol_dp800": "RIGOL TECHNOLOGIES,DP832,1,1.0",
    "siglent_spd": "Siglent Technologies,SPD3303X,1,1.0",
    "rs_hmc_nge": "HAMEG,HMC8043,1,1.0",
    "rs_hmp": "HAMEG,HMP4040,1,1.0",
    "gw_gpd": "GW INSTEK,GPD-3303S,1,1.0",
    "korad_ka": "KORADKA3005PV2.0",
    "tti_pl": "THURLBY THANDAR,PL303QMD,1,1.0",
    "owon": "OWON,SP3051,1,1.0",
    "chroma_62000": "CHROMA,62012P-80-60,1,1.0",
    "itech_it68": "ITECH Ltd.,IT6833,1,1.0",
    "hp_34401": "HEWLETT-PACKARD,34401A,0,1.0",
    "owon_xdm": "OWON,XDM1041,1,1.0",
    "gw_gdm82": "GW INSTEK,GDM8261,1,1.0",
    "keithley_dmm6500": "KEITHLEY INSTRUMENTS,MODEL DMM6500,1,1.0",
    "siglent_sdl": "Siglent Technologies,SDL1020X,1,1.0",
    "chroma_63x": "CHROMA,63610,1,1.0",
    "hp_60x0": "HEWLETT-PACKARD,6060A,0,1.0",
    "tti_ld400": "THURLBY THANDAR,LD400P,1,1.0",
}


def test_the_tables_below_leave_out_nothing() -> None:
    assert sorted(ENTRIES) == sorted(KINDS)
    assert sorted(IDENTITIES) == sorted(name for name, one in DIALECTS.items() if one.table.get("match"))


@pytest.mark.parametrize("rule", rules_of(KindKit))
@pytest.mark.parametrize("name", KINDS)
def test_kinds(name: str, rule: str, tmp_path: Path) -> None:
    run_rule(KindKit, {"kind": KINDS[name], "entry": ENTRIES[name]}, rule, tmp_path)


@pytest.mark.parametrize("rule", rules_of(DialectKit))
@pytest.mark.parametrize("name", DIALECTS)
def test_dialects(name: str, rule: str, tmp_path: Path) -> None:
    run_rule(DialectKit, {"dialect": DIALECTS[name], "identity": IDENTITIES.get(name, "")}, rule, tmp_path)


@pytest.mark.parametrize("rule", rules_of(ReportKit))
@pytest.mark.parametrize("name", REPORTS)
def test_reports(name: str, rule: str, tmp_path: Path) -> None:
    run_rule(ReportKit, {"report": REPORTS[name]}, rule, tmp_path)


def _person(self: object) -> Setting:
    said = iter(["4.68k", "y"] * 50)
    return Setting(sample_bench(), ask=lambda prompt: next(said))


@pytest.mark.parametrize("rule", rules_of(SourceKit))
def test_the_keyboard(rule: str, tmp_path: Path) -> None:
    asked = ("R1.resistance",)
    run_rule(SourceKit, {"source": SOURCES["typed"], "setting": _person, "asked": asked}, rule, tmp_path)


@pytest.mark.parametrize("rule", rules_of(FileSourceKit))
def test_the_csv_file(rule: str, tmp_path: Path) -> None:
    given = {
        "source": SOURCES["csv"],
        "example": b"check,reading\nR1.resistance,4.68k\nD1.reverse,OL\n",
        "expected": {"R1.resistance": "4.68k", "D1.reverse": "OL"},
        "unknown": b"check,reading\nR77.resistance,4.68k\n",
    }
    run_rule(FileSourceKit, given, rule, tmp_path)


def test_every_built_in_source_is_run_through_a_kit() -> None:
    assert sorted(SOURCES) == ["csv", "typed"]
