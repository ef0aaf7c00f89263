"""A person at line-by-line prompts on a bench with linked instruments: asked, confirmed, powered, and off again."""

from __future__ import annotations

import re
import signal
from pathlib import Path

import pytest

from benchcheck.bench.functions import Function
from benchcheck.readings.reading import Origin
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from benchcheck.simulation.world import Excitation
from tests.session.powered import FOLLOWING
from tests.session.rig import Living, Served, served_bench
from tests.terminal.pseudo import Person

OHMS = 150.0
PROBED = {Function.OHMS: OHMS, Function.DIODE: 0.6, Function.AC_VOLTAGE: 0.002}
#: behind the first of them the meter goes on to be told of.
PROMPT = re.compile(r"Enter > |(yes or no > |\n> )$")


class Wandering(Living):
    """A unit whose volts wander once `wanders` is set, so that none counts by itself, however slow a person is."""

    wanders = False
    _looked = 0

    def probed(self, excitation: Excitation, now_s: float) -> float:
        found = super().probed(excitation, now_s)
        if not (self.wanders and self._source.on and excitation.function is Function.DC_VOLTAGE):
            return found
        self._looked += 1
        return found + 0.02 * abs(self._looked % 40 - 20)


def at_the_bench(folder: Path, served: Served, *more: str) -> Person:
    (folder / "bench.toml").write_text(served.text)
    (folder / "board.toml").write_text(FOLLOWING)
    verify = ["benchcheck", "verify", "board.toml", "--unit", "7", "--linear", *more]
    return Person(folder, *verify)


def waited(person: Person, came: int) -> str:
    """Read on until a prompt stands there, or the end; return what came since `came`."""
    while not PROMPT.search(person.screen[came:]):
        if not person._read():
            break
    person._let_slave_go()
    return person.screen[came:]


def answered(person: Person, stop_at: str = "", wishes: tuple[str, ...] = ()) -> str:
    """Answer as a patient person would until the visit ends or asks for `stop_at`; return what stood there then.

    `wishes` are what is wanted, one after the other, each time power was ended.
    """
    wanted = list(wishes)
    came = len(person.screen)  # what stood there before was answered
    while True:
        told = waited(person, came)
        came = len(person.screen)
        if not PROMPT.search(told) or (stop_at and stop_at in told):
            return told
        if "power is off: " in told and "--resume goes on" in told:
            person.type(wanted.pop(0) if wanted else "stop")
        elif "meter." in told and "or Enter > " in told:
            person.type("skip not at hand")
        else:
            person.type("yes" if told.endswith("yes or no > ") else "")


def is_on(served: Served) -> bool:
    return served.supply.output or served.load.input


def wander(served: Served, wanders: bool) -> None:
    assert isinstance(served.unit, Wandering)
    served.unit.wanders = wanders


def the_record(folder: Path) -> Record:
    (path,) = folder.glob("records/7/*.toml")
    return read_record(path)


def test_enter_has_the_meter_read_and_yes_has_the_unit_powered(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Living) as served, at_the_bench(tmp_path, served) as person:
        answered(person)
        code = person.end()
        assert not is_on(served)
    assert code == 3, person.screen[-1500:]
    assert "every cell out" in person.screen
    record = the_record(tmp_path)
    assert {one.origin for one in record.readings} == {Origin.METERED}
    read = {one.check: one.display.value for one in record.readings}
    assert read["V6.voltage[100mA]"] == pytest.approx(6.0, abs=0.01)
    assert any("off (nothing is left to ask): output off" in one.text for one in record.events)


def test_enter_while_nothing_is_asked_under_power_switches_off(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Wandering) as served, at_the_bench(tmp_path, served) as person:
        answered(person, stop_at="V6.voltage[0A]")
        assert is_on(served)
        wander(served, True)
        person.type("")
        person.type("")
        answered(person)
        code = person.end()
        assert not is_on(served)
    assert code == 130, person.screen[-1500:]
    assert any(one.text == "stopped: a key was pressed" for one in the_record(tmp_path).events)
    assert the_record(tmp_path).open


def test_after_enter_has_switched_off_power_comes_again_and_the_check_with_it(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Wandering) as served, at_the_bench(tmp_path, served) as person:
        answered(person, stop_at="V6.voltage[0A]")
        wander(served, True)
        person.type("")
        person.type("")
        answered(person, stop_at="power is off: ")
        assert not is_on(served)
        wander(served, False)
        person.type("undo")
        assert "taken back: BATT.inrush_time" in answered(person, stop_at="power is off: ")
        person.type("power")
        answered(person)
        code = person.end()
        assert not is_on(served)
    assert code == 3, person.screen[-1500:]
    texts = [one.text for one in the_record(tmp_path).events]
    stopped = texts.index("stopped: a key was pressed")
    again = texts.index("power may come up again: a key was pressed")
    assert stopped < again
    assert sum("every cell out" in one for one in texts[again:]) == 1, "confirmed anew"
    assert "V6.voltage[0A]" in {one.check for one in the_record(tmp_path).readings}


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_at_a_prompt_under_power_keeps_what_was_read_and_switches_off(
    tmp_path: Path, how: signal.Signals
) -> None:
    with served_bench(PROBED, OHMS, kind=Living) as served, at_the_bench(tmp_path, served) as person:
        answered(person, stop_at="V6.voltage[0A]")
        assert is_on(served)
        person.process.send_signal(how)
        code = person.end()
        assert not is_on(served)
    assert code == 130, person.screen[-1500:]
    assert "BATT.idle_current" in {one.check for one in the_record(tmp_path).readings}
