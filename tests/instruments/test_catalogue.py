"""Dialects are data: shipped ones build, a user's own adds one, an unknown supply is read and not driven."""

from __future__ import annotations

import subprocess
import sys

import pytest

from benchcheck.bench.functions import Function
from benchcheck.document import parse_document
from benchcheck.errors import BenchError
from benchcheck.instruments.catalogue import shipped_catalogue
from benchcheck.instruments.dialect import build_dialect

SHIPPED = shipped_catalogue()


@pytest.mark.parametrize(
    ("identity", "role", "name"),
    [
        ("Agilent Technologies,E3631A,0,1.4", "psu", "keysight_e3631_e364x"),
        ("Keysight Technologies,E36312A,MY1,2.0", "psu", "keysight_e36300"),
        ("HEWLETT-PACKARD,34401A,0,10-5-2", "dmm", "hp_34401"),
        ("KORADKA3005PV2.0", "psu", "korad_ka"),
        ("Siglent Technologies,SDL1020X,SDL,1", "load", "siglent_sdl"),
        ("ITECH Ltd,IT6833A,6,1.0", "psu", "itech_it68"),
    ],
)
def test_an_identity_chooses_its_family(identity: str, role: str, name: str) -> None:
    choice = SHIPPED.choose(identity, "", role)
    assert (choice.dialect.name, choice.known) == (name, True)


def test_an_unknown_identity_gets_generic_and_may_not_be_driven() -> None:
    choice = SHIPPED.choose("Fenwater Instruments,S3205,1,1", "", "psu")
    assert (choice.dialect.name, choice.known) == ("generic", False)


def test_naming_a_dialect_allows_driving() -> None:
    assert SHIPPED.choose("Fenwater Instruments,S3205,1,1", "generic", "psu").known


def test_a_meter_at_the_address_of_a_supply_is_refused() -> None:
    with pytest.raises(BenchError, match="which is a multimeter, not a supply"):
        SHIPPED.choose("OWON,XDM1041,1,1", "generic", "psu")


def test_somebody_elses_identity_is_refused_when_another_dialect_is_named() -> None:
    with pytest.raises(BenchError, match="speaks rigol_dp800, not keysight_e36300"):
        SHIPPED.choose("RIGOL TECHNOLOGIES,DP832,1,1", "keysight_e36300", "psu")


def test_an_unknown_name_gets_a_close_match() -> None:
    with pytest.raises(BenchError, match='no dialect "genric"; did you mean "generic"'):
        SHIPPED.named("genric")


def test_the_inverted_mode_bits_of_one_family_are_kept() -> None:
    """ITECH IT6800: 1 is constant voltage, 2 constant current, the other way round than most (its manual)."""
    psu = SHIPPED.named("itech_it68").psu
    assert (psu.mode_cv, psu.mode_cc) == ((1,), (2,))


def test_a_users_document_adds_a_dialect_over_generic() -> None:
    document = parse_document('[mine]\nmatch = "FENWATER"\n[mine.psu]\nset_v = "VSET {v}"\n', "mine.toml")
    mine = SHIPPED.with_document(document).named("mine")
    assert mine.psu.set_v == "VSET {v}"
    assert mine.psu.set_i == "CURR {v}"


def test_all_faults_of_a_users_document_are_told_with_their_lines() -> None:
    text = '[mine.psu]\nset_w = "VSET {v}"\nmode_kind = "bitz"\n[mine.link]\nmin_gap_ms = "20"\ndrop_lines = ["("]\n'
    with pytest.raises(BenchError) as caught:
        SHIPPED.with_document(parse_document(text, "mine.toml"))
    lines = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in lines] == ["5", "6", "2", "3"]
    assert 'did you mean "set_' in lines[2]
    assert 'did you mean "bits"' in lines[3]


def test_every_shipped_dialect_can_switch_off_what_it_can_switch_on() -> None:
    for dialect in SHIPPED.dialects:
        assert bool(dialect.psu.on) == bool(dialect.psu.off)
        assert bool(dialect.load.on) == bool(dialect.load.off)
        if "psu" in dialect.roles:
            assert dialect.psu.out, dialect.name


def test_a_meter_says_which_functions_it_has() -> None:
    assert Function.CAPACITANCE not in SHIPPED.named("hp_34401").dmm.functions()
    assert Function.CAPACITANCE in SHIPPED.named("generic").dmm.functions()


def test_an_empty_command_means_it_cannot() -> None:
    assert build_dialect("x", {"dmm": {"vdc": ""}}, SHIPPED.named("generic")).dmm.command(Function.DC_VOLTAGE) == ()


def test_pyvisa_is_loaded_only_when_a_resource_is_named() -> None:
    code = (
        "import sys, benchcheck.instruments.power_keeper, benchcheck.instruments.multimeter, "
        "benchcheck.instruments.from_bench, benchcheck.simulation.scpi_server; print('pyvisa' in sys.modules)"
    )
    assert (
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
    )
