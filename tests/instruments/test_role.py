"""Whoever answers must be what the bench file takes it for, whatever dialect it names."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.errors import BenchError
from benchcheck.instruments.connection import LinkSettings, connect
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from tests.instruments.rig import catalogue, running_rig

SERVED = ("dmm", "psu", "load")
SAID = {
    ("dmm", "psu"): "answers OUTP. as a supply does; here a multimeter should be",
    ("dmm", "load"): "answers INP. as an electronic load does; here a multimeter should be",
    ("psu", "dmm"): "does not answer OUTP., as a supply does",
    ("psu", "load"): "does not answer OUTP., as a supply does",
    ("load", "dmm"): "does not answer INP., as an electronic load does",
    ("load", "psu"): "does not answer INP., as an electronic load does",
}


@pytest.mark.parametrize("dialect", ["brisk", "one_by_one"])
@pytest.mark.parametrize(("role", "there"), SAID)
def test_another_kind_of_instrument_is_refused_and_nothing_is_set(role: str, there: str, dialect: str) -> None:
    with running_rig() as rig:
        server = rig.served.servers[SERVED.index(there)]
        with pytest.raises(BenchError, match=SAID[role, there]):
            connect(f"{role}.x", role, LinkSettings(server.resource, dialect), catalogue(), SystemClock())
        assert not rig.supply.output
        assert not rig.load.input


@pytest.mark.parametrize("role", SERVED)
def test_the_right_one_is_taken_also_when_an_answer_is_lost(role: str) -> None:
    with running_rig() as rig:
        server = rig.served.servers[SERVED.index(role)]
        question = {"dmm": "FUNC", "psu": "OUTP", "load": "INP"}[role]
        server.faults.append(Misbehaviour(Kind.MISSING, match=question, times=1))
        made = connect(f"{role}.x", role, LinkSettings(server.resource, "brisk"), catalogue(), SystemClock())
        assert made.errors == ()
        made.close()


def test_a_meter_left_measuring_current_is_a_meter() -> None:
    with running_rig() as rig:
        rig.meter.front_panel(Function.DC_CURRENT)
        made = connect("dmm.x", "dmm", LinkSettings(rig.meter_server.resource, "brisk"), catalogue(), SystemClock())
        assert made.errors == ()
        made.close()
