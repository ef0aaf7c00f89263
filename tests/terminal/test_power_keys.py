"""Keys while a unit is under power at the guided screen: any of them switches off, and what can be done then."""

from __future__ import annotations

import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.clock import FakeClock, SystemClock
from benchcheck.kinds.check import Check, Phase, Probe
from benchcheck.readings.reading import Session
from benchcheck.session.answers import Again, Exchange, Hindered, LeavePower, Remark, Skip, Step, Stop, Taken, Undo
from benchcheck.simulation.world import Excitation
from benchcheck.terminal.asking import Asking, asking_of
from benchcheck.terminal.canvas import Canvas
from benchcheck.terminal.desk import Desk
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.keyboard import Key, keys_in
from benchcheck.terminal.picture import Picture
from benchcheck.terminal.prompt import PromptSource
from benchcheck.terminal.sound import Sound
from tests.factories import bench, check
from tests.session.powered import FOLLOWING
from tests.session.rig import Living, Served, served_bench
from tests.terminal.bench_hand import ScriptedKeyboard
from tests.terminal.desk_person import PATIENCE_S, DeskPerson
from tests.terminal.glass import Glass
from tests.terminal.test_powered_prompts import OHMS, PROBED, Wandering, is_on, the_record, wander

R14 = check("R14.resistance")
#: what a hand may hit: Enter, a cursor key, Ctrl-D, Ctrl-S, Ctrl-Z, Ctrl-\\
KEYS = (b"\r", b"\x1b[A", b"\x04", b"\x13", b"\x1a", b"\x1c")


class Bursts(ScriptedKeyboard):
    """Types bursts of text, then the terminal closes."""

    def __init__(self, *bursts: str) -> None:
        super().__init__()
        self._bursts = iter(bursts)

    def keys(self, timeout_s: float) -> list[Key]:
        burst = next(self._bursts, None)
        if burst is None:
            raise EOFError
        return keys_in(burst)


def guided(keyboard: ScriptedKeyboard, power: str = "POWER ON  6.000 V") -> tuple[Guided, list[str]]:
    off: list[str] = []
    glass, owned = Glass(), bench()
    prompts = PromptSource(str, print, lambda one: "dmm", lambda one, session: "")
    desk = Desk(Picture("unit 7", owned), Canvas(glass.write), keyboard, clock=FakeClock())  # type: ignore[arg-type]
    made = Guided(desk, prompts, Sound(lambda: None, on=False), FakeClock(), owned)
    prompts.ask, prompts.tell = made.ask, made.tell
    made.keys.switch_off = lambda: off.append("off")
    desk.power_line = lambda: power if not off else ""
    return made, off


def asking(*, metered: bool) -> Asking:
    meter = bench().meter_for(R14.function)
    return Asking(Step(R14, 1, 9, Session()), meter if metered else None)


@pytest.mark.parametrize("byte", range(128))
def test_every_single_key_stops_where_a_linked_meter_reads(byte: int) -> None:
    made, off = guided(Bursts())
    (key,) = keys_in(chr(byte))
    assert made.keys.answer(asking(metered=True), key) is None
    assert off == ["off"]


@settings(max_examples=200, deadline=None)
@given(st.text(min_size=1, max_size=40))
def test_random_keys_stop_and_answer_nothing(burst: str) -> None:
    made, off = guided(Bursts())
    for key in keys_in(burst)[:1]:
        assert made.keys.answer(asking(metered=True), key) is None
        assert off == ["off"]


def test_without_a_link_digits_type_the_reading_and_any_other_key_stops() -> None:
    made, off = guided(Bursts("4.6", "8k", "\r"))
    made.desk.enter()
    answer = made.keys.answer(asking(metered=False), Key("sign", "1"))
    assert isinstance(answer, Taken)
    assert (answer.readings[0].display.text, off) == ("14.68k", [])
    for keys in ("u", "q", "\r", " ", "\x1b[A", "\t"):
        made, off = guided(Bursts())
        assert made.keys.answer(asking(metered=False), keys_in(keys)[0]) is None
        assert off == ["off"]
    for amid in ("\x1b", "\x1b[A", "\t", "\x1a", "one pasted line that is far longer than typed"):
        made, off = guided(Bursts("6", amid))
        made.desk.enter()
        assert made.keys.answer(asking(metered=False), Key("sign", "1")) is None
        assert off == ["off"]


@pytest.mark.parametrize(
    ("bursts", "answer"),
    [
        (("b", " "), Again()),
        (("b", "q"), Stop()),
        (("l",), LeavePower("power was left for later: a key was pressed")),
        (("u",), Undo()),
        (("q",), Stop()),
        (("s", "too hot", "\r"), Skip("too hot")),
        (("n", "smelt of flux", "\r"), Remark("smelt of flux")),
        (("a", "\r", " ", "p", "x", "7", "\x1b[A", "b", "\r"), Again()),
        ((), Stop()),
    ],
)
def test_after_a_stop_each_key_does_what_the_screen_says_and_enter_never_powers(
    bursts: tuple[str, ...], answer: object
) -> None:
    made, _ = guided(Bursts(*bursts), power="")
    made.cautions = ("- Extra-low voltage only.",)
    other = check("R2.resistance")
    made.desk.clock.sleep(0.0)
    step = Step(R14, 1, 9, Session(), left=(other,))
    clock = made.desk.clock
    assert isinstance(clock, FakeClock)
    made.desk.meanwhile = lambda: clock.sleep(1.0)
    assert made.power_stopped(step, "a key was pressed") == answer


@pytest.mark.parametrize(
    ("bursts", "answer"),
    [
        (("b", "U2 was short, replaced", "\r", " "), Again("U2 was short, replaced")),
        (("b", "\r", "b", "  ", "\r", "q"), Stop()),
        (("b", "\x1b", "k"), Hindered("power was switched off: V6 is 9.000 V")),
        (("b", "found it", "\r", "q"), Stop()),
        (("\r", " ", "u"), Undo()),
        (("l",), LeavePower("power was left for later: V6 is 9.000 V")),
        (("s", "too hot", "\r"), Skip("too hot")),
        ((), Stop()),
    ],
)
def test_after_a_stop_rule_power_comes_only_with_words_on_what_was_found(
    bursts: tuple[str, ...], answer: object
) -> None:
    made, _ = guided(Bursts(*bursts), power="")
    made.cautions = ("- Extra-low voltage only.",)
    clock = made.desk.clock
    assert isinstance(clock, FakeClock)
    made.desk.meanwhile = lambda: clock.sleep(1.0)
    step = Step(R14, 1, 9, Session(), left=(check("R2.resistance"),))
    assert made.power_ruled(step, "V6 is 9.000 V") == answer


def test_keys_hit_together_with_the_one_that_stopped_do_nothing() -> None:
    made, _ = guided(Bursts("qul", "b", "u"), power="")
    clock = made.desk.clock
    assert isinstance(clock, FakeClock)
    made.desk.meanwhile = lambda: clock.sleep(0.1)
    step = Step(R14, 1, 9, Session(), left=(check("R2.resistance"),))
    assert made.power_stopped(step, "a key was pressed") == Stop(), "all came within 0.7 s, then the terminal closed"


class Watched:
    """Meters of which only the reading over and over is played, and counted."""

    def __init__(self) -> None:
        self.bench, self.live = bench(), 0
        self.begun: list[str] = []

    def watch(self, check: Check, meter: object, wake: object) -> Watched:
        self.live += 1
        self.begun.append(check.id)
        return self

    def watched(self, meter: object) -> None: ...

    def news(self) -> list[object]:
        return []

    def stop(self) -> None:
        self.live -= 1


def test_a_key_after_which_the_check_is_asked_again_does_not_wait_for_the_meter() -> None:
    """Leads exchanged, a note: the meter is read on meanwhile, and is let go once another check or an end comes."""
    made, _ = guided(Bursts("x", "n", "hot", "\r", "q"), power="")
    made.desk.clock = SystemClock()  # a letter alone is a key once nothing followed for a while
    watched = Watched()
    made.meters = watched  # type: ignore[assignment]
    meter = bench().meter_for(R14.function)
    step = Step(R14, 1, 9, Session())
    assert made._asked(step, meter) == Exchange()
    assert (watched.live, watched.begun) == (1, [R14.id])
    assert made._asked(step, meter) == Remark("hot")
    assert (watched.live, watched.begun) == (1, [R14.id])
    other = Step(check("R2.resistance"), 2, 9, Session())
    assert made._asked(other, meter) == Stop()
    assert (watched.live, watched.begun) == (0, [R14.id, "R2.resistance"])


def at_the_bench(folder: Path, served: Served, *more: str, spec: str = FOLLOWING) -> DeskPerson:
    (folder / "bench.toml").write_text(served.text)
    (folder / "board.toml").write_text(spec)
    return DeskPerson(folder, "benchcheck", "verify", "board.toml", "--unit", "7", "--silent", *more)


def on_screen(person: DeskPerson) -> str:
    person.look(0.1)
    return " ".join(person.glass.text.split())


def once(person: DeskPerson, keys: bytes) -> None:
    """Press keys and wait until the screen is another one, so that nothing is pressed into what comes next."""
    before = person.glass.text
    person.press(keys)
    for _ in range(50):
        person.look(0.1)
        if person.glass.text != before and not person.glass.text.rstrip().endswith("_"):
            break
    person.look(0.3)


def screens(person: DeskPerson, wanted: str) -> Iterator[str]:
    """Give the screen as it is, over and over, for as long as a visit up to there takes on the slowest machine."""
    until_s = time.monotonic() + 3.0 * PATIENCE_S
    while time.monotonic() < until_s:
        yield on_screen(person)
    raise AssertionError(f"{wanted} did not come:\n{person.glass.text}")


def press_on(person: DeskPerson, text: str) -> None:
    """Do what a screen asks for."""
    if "any key goes on" in text:
        once(person, b" ")
    elif "yes or no" in text:
        once(person, b"yes\r")
    elif "POWER ON" in text or "switches the power off" in text:
        pass
    elif "meter." in text and "l later" in text:
        person.press(b"l")
    elif "accept" in text:
        person.press(b"\r")
    person.look(0.3)


def to_check(person: DeskPerson, wanted: str) -> None:
    """Press on, patiently, until a check is on the screen under power."""
    for text in screens(person, wanted):
        if "POWER ON" in text and wanted in "\n".join(person.glass.lines[:5]) and "any key power off" in text:
            return
        press_on(person, text)


def pressed_to(person: DeskPerson, wanted: str) -> str:
    """Press on, patiently, until words are on the screen, and return it."""
    for text in screens(person, wanted):
        if wanted in text:
            return text
        press_on(person, text)
    raise AssertionError("never")


def stopped(person: DeskPerson, served: Served, key: bytes) -> str:
    """Press a key under power and return the screen that follows, power being off."""
    person.press(key)
    text = person.sees("b begin power again")
    assert not is_on(served), key
    assert "off: a key was pressed" in " ".join(text.split())
    person.look(0.9)
    return text


def test_any_key_stops_undo_brings_the_check_back_and_quit_is_gone_on_with_at_it(tmp_path: Path) -> None:
    chance = random.Random(20261128)
    keys = [*KEYS, *(bytes([chance.randrange(32, 127)]) for _ in range(2))]
    with served_bench(PROBED, OHMS, kind=Wandering) as served:
        wander(served, True)  # so that no reading counts before the key
        with at_the_bench(tmp_path, served) as person:
            to_check(person, "V6.voltage[0A]")
            for key in keys:
                assert "V6.voltage[0A]" in stopped(person, served, key)
                person.press(b"b")
                to_check(person, "V6.voltage[0A]")
            stopped(person, served, b"x")
            person.press(b"u")
            person.sees("taken back: BATT.inrush_time")
            assert "BATT.inrush_time" in person.sees("b begin power again")
            person.look(0.9)
            person.press(b"q")
            assert person.finish() == 130
        record = the_record(tmp_path)
        assert record.open
        texts = [one.text for one in record.events]
        assert texts.count("stopped: a key was pressed") == len(keys) + 1
        assert texts.count("power may come up again: a key was pressed") == len(keys)
        with at_the_bench(tmp_path, served, "--resume") as person:
            to_check(person, "V6.voltage[0A]")
            person.process.send_signal(signal.SIGTERM)
            assert person.finish() == 130
        assert not is_on(served)
        read = [one.check for one in the_record(tmp_path).readings]
        assert read.count("BATT.idle_current") == read.count("BATT.inrush_time") == 1
        assert len([one for one in the_record(tmp_path).all_readings if one.value.check == "BATT.inrush_time"]) == 2


RIPPLE = 'ripple = { max = "60 mV", as = "peak-to-peak", bandwidth = "20 MHz" }\n'
RIPPLING = FOLLOWING.replace('loads = ["0 A", "100 mA"]\n', RIPPLE)


def to_clips(person: DeskPerson) -> str:
    """Press on until clips are asked for, and return the screen."""
    return pressed_to(person, "clip both tips on")


def test_what_no_meter_sees_touch_is_clipped_on_with_the_power_off_and_then_counts_without_a_key(
    tmp_path: Path,
) -> None:
    with (
        served_bench(PROBED, OHMS, kind=Living) as served,
        at_the_bench(tmp_path, served, "--only", "V6.ripple", spec=RIPPLING) as person,
    ):
        text = to_clips(person)
        assert "V6.ripple" in text, person.glass.text
        assert not is_on(served)
        person.press(b"x1\x1b[A")  # nothing that is no wish does anything here
        person.press(b"\r")
        person.sees("yes or no")
        pressed_to(person, "That was the last check")
        assert not is_on(served)
        person.press(b"\r")
        assert person.finish() == 3, "this bench has no range to judge it by"
    record = the_record(tmp_path)
    (taken,) = (one for one in record.readings if one.check == "V6.ripple")
    assert taken.display.value == pytest.approx(0.002, rel=0.1)
    assert "by hand" not in taken.note


def test_clips_left_in_the_air_are_found_out_by_the_rail_that_does_not_show_and_power_goes_off(
    tmp_path: Path,
) -> None:
    """The unit is fed, the supply shows its current, and the meter on the clips shows no rail."""
    with (
        served_bench({**PROBED, Function.DC_VOLTAGE: 0.01}, OHMS) as served,  # no rail shows, whatever is fed
        at_the_bench(tmp_path, served, "--only", "V6.ripple", spec=RIPPLING) as person,
    ):
        to_clips(person)
        person.press(b"\r")
        person.sees("yes or no")
        for _ in range(60):
            text = on_screen(person)
            if "b begin power again" in text:
                break
            press_on(person, text)
        assert "direct between the clips, and V6 has 6 V: the clips are off their points, or V6 is dead" in text
        assert not is_on(served)
        person.look(0.9)
        person.press(b"q")
        assert person.finish() == 130
    record = the_record(tmp_path)
    assert "V6.ripple" not in [one.check for one in record.readings]
    assert any("something was not confirmed" in one.text for one in record.events)


def test_while_clips_go_on_nothing_says_lift_and_beside_power_nothing_says_it_is_off(tmp_path: Path) -> None:
    with (
        served_bench(PROBED, OHMS, kind=Living) as served,
        at_the_bench(tmp_path, served, "--only", "V6.ripple", spec=RIPPLING) as person,
    ):
        served.meter.reading_time_s = 0.3
        text = to_clips(person)
        assert "lift the tips" not in text
        assert "Enter the tips are on" in text
        assert "x exchange" not in text, "a key that does nothing here is not named"
        person.press(b"\r")
        seen = 0
        for text in screens(person, "the last check"):
            if "POWER ON" in text:
                seen += 1
                assert "power is off" not in text.casefold(), text
                assert "clip both tips on" not in text, text
            elif "That was the last check" in text:
                break
            press_on(person, text)
        assert seen
        person.press(b"\r")
        assert person.finish() == 3
    (taken,) = (one for one in the_record(tmp_path).readings if one.check == "V6.ripple")
    assert taken.note.startswith("clips seen on: ")


class Runaway(Living):
    """A unit whose rail stands far above its maximum for as long as its fault is there; tips go on after a while."""

    faulty = True
    looks = 0

    def probed(self, excitation: Excitation, now_s: float) -> float:
        found = super().probed(excitation, now_s)
        if excitation.function is not Function.DC_VOLTAGE or not self._source.on:
            self.looks = 0
            return found
        self.looks += 1
        return 0.0 if self.looks < 8 else 1.5 * found if self.faulty else found


def sent_on(served: Served) -> int:
    return sum("OUTP ON" in str(entry) or "OUTP:STAT ON" in str(entry) for entry in served.supply.log)


def test_after_a_stop_rule_the_fault_is_removed_said_and_measured_and_power_comes_again(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Runaway) as served:
        served.meter.reading_time_s = 0.2
        with at_the_bench(tmp_path, served) as person:
            text = pressed_to(person, "k keep power off for this visit")
            assert "V6 is 9.0" in text
            assert not is_on(served)
            ons = sent_on(served)
            assert isinstance(served.unit, Runaway)
            served.unit.faulty = False
            person.look(0.9)
            person.press(b"u")
            person.sees("taken back: V6.voltage[0A]")
            person.sees("k keep power off")
            person.look(0.9)
            person.press(b"b")
            person.sees("what was found, and what was done about it?")
            person.press(b"U2 short, replaced\r")
            person.sees("any key goes on")
            person.press(b" ")
            person.at("BATT.residual_voltage")
            assert sent_on(served) == ons, "nothing is powered before charge and shorts were measured"
            to_check(person, "V6.voltage[0A]")
            person.press(b"x")
            person.sees("b begin power again")
            person.look(0.9)
            person.press(b"q")
            assert person.finish() == 130
        record = the_record(tmp_path)
    assert any(
        "power may come up again: V6 is 9.0" in one.text and one.text.endswith("found and done: U2 short, replaced")
        for one in record.events
    )
    again = [one.value.check for one in record.all_readings]
    for name in ("BATT.residual_voltage", "V6.residual_voltage", "V6.to_ground[red:VX]", "BATT.to_ground[red:BATT]"):
        assert again.count(name) == 2, name
    text = " ".join(one.text for one in record.events)
    assert text.count("confirmed: Is every cell out") == 2


class Climbing(Runaway):
    """A unit whose rail climbs and climbs, and never stands still, once tips are on it."""

    def probed(self, excitation: Excitation, now_s: float) -> float:
        found = super().probed(excitation, now_s)
        return found + 0.03 * (self.looks - 8) if self.looks >= 8 else found

    faulty = False


def test_a_rail_that_climbs_above_its_maximum_is_switched_off_before_it_stands_still(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Climbing) as served:
        served.meter.reading_time_s = 0.05
        with at_the_bench(tmp_path, served) as person:
            text = pressed_to(person, "k keep power off for this visit")
            assert "at most 7.200 V are allowed" in text
            assert not is_on(served)
            person.look(0.9)
            person.press(b"q")
            person.finish()
        record = the_record(tmp_path)
    (stop,) = (one.text for one in record.events if one.text.startswith("stopped: "))
    assert stop.startswith("stopped: V6 is 7.")
    (read,) = (one for one in record.readings if one.check == "V6.voltage[0A]")
    assert read.note.endswith("above its maximum before it stood still")
    assert read.display.value is not None
    assert 7.2 < read.display.value < 8.0


def test_power_kept_off_after_a_stop_rule_is_asked_for_once_and_blocks_the_rest(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Runaway) as served, at_the_bench(tmp_path, served) as person:
        pressed_to(person, "k keep power off for this visit")
        person.look(0.9)
        person.press(b"k")
        person.sees("That was the last check")
        person.press(b"\r")
        assert person.finish() == 1
        assert not is_on(served)


def test_clips_are_seen_on_and_noted_under_load_as_well(tmp_path: Path) -> None:
    spec = FOLLOWING.replace('loads = ["0 A", "100 mA"]\n', 'loads = ["0 A", "100 mA"]\n' + RIPPLE)
    with (
        served_bench(PROBED, OHMS, kind=Living) as served,
        at_the_bench(tmp_path, served, "--only", "V6.ripple", spec=spec) as person,
    ):
        to_clips(person)
        person.press(b"\r")
        pressed_to(person, "That was the last check")
        person.press(b"\r")
        assert person.finish() == 3
    (taken,) = (one for one in the_record(tmp_path).readings if one.check == "V6.ripple")
    assert taken.note.startswith("clips seen on: ")


def test_told_to_pause_under_power_it_is_off_and_the_visit_goes_on(tmp_path: Path) -> None:
    with served_bench(PROBED, OHMS, kind=Living) as served:
        served.meter.reading_time_s = 0.5
        with at_the_bench(tmp_path, served) as person:
            to_check(person, "V6.voltage[0A]")
            os.kill(person.process.pid, signal.SIGTSTP)
            text = person.sees("b begin power again")
            assert "told to pause" in text
            assert not is_on(served)
            person.look(0.9)
            person.press(b"q")
            assert person.finish() == 130


def test_clips_that_stay_need_not_leave_under_power_but_touching_is_seen_all_the_same() -> None:
    made, _ = guided(Bursts())
    owned = bench()
    rail, loaded, other = (
        check(name, Function.DC_VOLTAGE, Phase.RAILS, red=Probe(at, at))
        for name, at in (("VX.voltage[0A]", "VX"), ("VX.voltage[1A]", "VX"), ("VY.voltage[0A]", "VY"))
    )

    def begun(one: Check) -> Asking:
        found = asking_of(Step(one, 1, 9, Session()), owned.meter_for(one.function), owned)
        made._contact_known(found)
        return found

    for one, known in ((rail, False), (loaded, True), (other, False), (rail, False), (rail, True)):
        found = begun(one)
        assert found.capture is not None
        assert found.capture.lifted is known, one.id
        assert not found.tips_down, "what open leads show is no reading"
    made.desk.power_line = lambda: ""
    found = begun(rail)
    assert found.capture is not None
    assert not found.capture.lifted


@contextlib.contextmanager
def served_apart(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Serve the bench from a process of its own that writes its bench file and can be killed."""
    program = (
        "import sys, pathlib\n"
        "from tests.session.rig import Living, served_bench\n"
        "from tests.terminal.test_powered_prompts import OHMS, PROBED\n"
        "with served_bench(PROBED, OHMS, kind=Living) as served:\n"
        "    served.meter.reading_time_s = 0.5\n"
        "    pathlib.Path(sys.argv[1]).write_text(served.text)\n"
        "    print('served', flush=True)\n"
        "    sys.stdin.read()\n"
    )
    command = [sys.executable, "-c", program, str(folder / "bench.toml")]
    root = Path(__file__).parents[2]
    with subprocess.Popen(command, cwd=root, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "served\n"
        try:
            yield process
        finally:
            process.kill()


def test_a_bench_killed_under_power_is_an_alarm_on_the_screen_and_exit_code_five(tmp_path: Path) -> None:
    (tmp_path / "board.toml").write_text(FOLLOWING)
    verify = ("benchcheck", "verify", "board.toml", "--unit", "7", "--silent")
    with served_apart(tmp_path) as bench_process, DeskPerson(tmp_path, *verify) as person:
        to_check(person, "V6.voltage[0A]")
        bench_process.kill()
        person.sees("no answer from the supply or the load")
        person.press(b"x")
        person.sees("switching off")
        person.sees("output state unknown: switch the supply off by hand")
        assert person.finish() == 5
    assert "power off, stopped" not in person.screen
    assert "OUTPUT STATE UNKNOWN: switch the supply off by hand" in " ".join(person.screen.split())
    record = the_record(tmp_path)
    assert record.result is not None
    assert record.result.exit_code == 5
