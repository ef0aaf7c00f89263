"""Power outlives no visit: the keeper switches off when the main process dies, hangs, is suspended or lets go."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from benchcheck.clock import FakeClock, SystemClock
from benchcheck.errors import BenchError, InstrumentError, OutputStateUnknown
from benchcheck.instruments.connection import LinkSettings
from benchcheck.instruments.keeper_loop import Instruments, Keeper, MainGone, Pipe
from benchcheck.instruments.keeper_wire import KeeperSettings, PoweredInstrument, decode, encode, revived
from benchcheck.instruments.power_keeper import PowerKeeper
from benchcheck.instruments.power_supply import SupplyPoint
from benchcheck.instruments.power_watch import OffState
from benchcheck.simulation.misbehaviour import Kind, Misbehaviour
from tests.instruments.powered_run import settings
from tests.instruments.rig import CEILING, DIALECTS, Rig, running_rig

CLOCK = SystemClock()


@pytest.fixture
def rig() -> Iterator[Rig]:
    with running_rig() as made:
        yield made


def keeper_for(rig: Rig) -> PowerKeeper:
    return PowerKeeper(
        KeeperSettings(
            PoweredInstrument("supply.psu", LinkSettings(rig.supply_server.resource, "brisk"), CEILING),
            PoweredInstrument("load.eload", LinkSettings(rig.load_server.resource, "brisk"), CEILING),
            DIALECTS,
        )
    )


def power(keeper: PowerKeeper) -> None:
    keeper.supply.set_over_voltage(7.0)
    keeper.supply.set_current_limit(0.3)
    keeper.supply.set_voltage(6.0)
    keeper.supply.on()
    keeper.load.set_current(0.05)
    keeper.load.on()


def until(condition: Callable[[], bool], limit_s: float) -> float:
    began_s = CLOCK.monotonic_s()
    while not condition() and CLOCK.monotonic_s() - began_s < limit_s:
        CLOCK.sleep(0.005)
    return CLOCK.monotonic_s() - began_s


def vanish(rig: Rig) -> None:
    """Have supply and load gone as with the process that simulates them: connections end, nobody listens."""
    rig.served.__exit__(None, None, None)


def is_off(rig: Rig) -> bool:
    return not rig.supply.output and not rig.load.input


def test_the_keeper_drives_and_lets_go_with_everything_off(rig: Rig) -> None:
    with keeper_for(rig) as keeper:
        power(keeper)
        assert keeper.supply.measure().voltage_volt > 0.0
        assert keeper.supply.settings().limit_ampere == 0.3
        assert keeper.supply.can("mode")
        assert keeper.load.settings() == pytest.approx(0.05)
        assert not is_off(rig)
    assert is_off(rig)
    assert [message for message in rig.load.log if message == "INP OFF"]


def test_a_refusal_leaves_power_as_it_is_and_keeps_its_kind(rig: Rig) -> None:
    with keeper_for(rig) as keeper:
        power(keeper)
        with pytest.raises(BenchError, match="ceiling of this bench") as caught:
            keeper.supply.set_voltage(20.0)
        assert caught.value.faults[0].key == "voltage"
        assert rig.supply.output
        with pytest.raises(InstrumentError, match="no operation"):
            keeper.request("supply.explode")


def test_a_failure_on_a_powered_board_switches_off_before_it_is_reported(rig: Rig) -> None:
    with keeper_for(rig) as keeper:
        power(keeper)
        rig.supply_server.faults.append(Misbehaviour(Kind.MISSING, times=1))
        with pytest.raises(InstrumentError, match="output off"):
            keeper.supply.measure()
        assert is_off(rig)


def test_an_output_that_cannot_be_seen_off_is_said_to_be_unknown(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    rig.supply_server.faults.append(Misbehaviour(Kind.OFF_IGNORED, times=-1))
    with pytest.raises(OutputStateUnknown, match="switch the supply off by hand"):
        keeper.close()


def test_what_nobody_knew_when_it_was_closed_is_not_off_when_it_is_closed_again(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    rig.supply_server.faults.append(Misbehaviour(Kind.OFF_IGNORED, times=-1))
    for _ in range(3):
        with pytest.raises(OutputStateUnknown, match="switch the supply off by hand"):
            keeper.close()


def test_a_keeper_that_ended_by_itself_without_knowing_never_says_off(rig: Rig) -> None:
    """Supply and load are gone when the main process falls silent: the keeper ends, and nobody knows."""
    keeper = keeper_for(rig)
    power(keeper)
    vanish(rig)
    CLOCK.sleep(2.2)  # the lease is not renewed
    with pytest.raises(OutputStateUnknown, match="switch the supply off by hand"):
        until(keeper.supply.is_on, 20.0)
    for _ in range(2):
        with pytest.raises(OutputStateUnknown, match="switch the supply off by hand"):
            keeper.close()
    keeper._process.kill()  # it would go on trying for a minute
    keeper._process.wait(5.0)


def test_a_lost_keeper_and_instruments_that_have_gone_stay_unknown(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    vanish(rig)
    os.kill(keeper.process_id, signal.SIGKILL)
    with pytest.raises(OutputStateUnknown, match=r"OUTPUT STATE UNKNOWN.*switch the supply off by hand"):
        keeper.supply.measure()
    with pytest.raises(OutputStateUnknown, match="switch the supply off by hand"):
        keeper.close()


def test_supply_and_load_that_have_gone_are_told_within_seconds_and_the_wait_is_heard_of(rig: Rig) -> None:
    """Two seconds of recovering for the question, for the load and for the supply; 14 s with three tries each."""
    waits: list[float] = []
    keeper = keeper_for(rig)
    power(keeper)
    vanish(rig)
    keeper.waiting = waits.append
    began_s = CLOCK.monotonic_s()
    with pytest.raises(OutputStateUnknown, match="OUTPUT STATE UNKNOWN"):
        keeper.supply.measure()
    assert CLOCK.monotonic_s() - began_s < 10.0
    assert waits == sorted(waits)
    assert len(waits) > 8
    with pytest.raises(OutputStateUnknown):
        keeper.close()


def test_silence_for_two_seconds_switches_off_within_three(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    assert until(lambda: is_off(rig), 5.0) < 3.0
    with pytest.raises(InstrumentError, match="no sign of life for 2 s"):
        until(keeper.supply.is_on, 3.0)


def test_renewing_keeps_power_on(rig: Rig) -> None:
    with keeper_for(rig) as keeper:
        power(keeper)
        for _ in range(26):
            keeper.renew()
            CLOCK.sleep(0.1)
        assert not is_off(rig)


def test_the_answer_of_a_keeper_that_has_ended_since_is_taken(rig: Rig) -> None:
    """It ends after its answer to `close`; a lease that is due between the two finds a pipe without a reader."""
    keeper = keeper_for(rig)
    power(keeper)
    keeper._counter += 1
    keeper._send({"id": keeper._counter, "do": "close", "args": {}})
    assert keeper._process.wait(10.0) == 0
    keeper._renewed_s -= 1.0
    assert keeper._answer(keeper._counter)["value"] is not None
    assert is_off(rig)
    keeper._end()


def test_when_the_keeper_is_killed_another_one_switches_off(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    os.kill(keeper.process_id, signal.SIGKILL)
    with pytest.raises(InstrumentError, match="another one was started to switch off: output off"):
        keeper.supply.measure()
    assert is_off(rig)


@pytest.mark.parametrize("by", ["request", "renewal"])
def test_when_the_keeper_hangs_another_one_switches_off_within_three_seconds(rig: Rig, by: str) -> None:
    """Asked for something, or only renewed: both notice."""
    keeper = keeper_for(rig)
    power(keeper)
    asking: dict[str, Callable[[], object]] = {"request": keeper.supply.measure, "renewal": keeper.renew}
    os.kill(keeper.process_id, signal.SIGSTOP)
    off_at_s: list[float] = []
    watcher = threading.Thread(target=lambda: off_at_s.append(until(lambda: is_off(rig), 8.0)))
    watcher.start()
    with pytest.raises(InstrumentError, match="another one was started to switch off: output off"):
        until(lambda: asking[by]() == "never", 8.0)
    watcher.join()
    assert off_at_s[0] < 3.0
    assert is_off(rig)


def test_a_hung_keeper_is_relieved_of_a_load_that_does_not_answer_too(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    rig.load_server.faults.append(Misbehaviour(Kind.MISSING, times=-1))
    os.kill(keeper.process_id, signal.SIGSTOP)
    off_at_s: list[float] = []
    watcher = threading.Thread(target=lambda: off_at_s.append(until(lambda: not rig.supply.output, 8.0)))
    watcher.start()
    with pytest.raises(InstrumentError, match="output off; the load may be on"):
        keeper.supply.measure()
    watcher.join()
    assert off_at_s[0] < 3.0


def test_when_the_one_that_stands_by_is_dead_as_well_a_new_one_is_started(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    assert keeper._standby is not None
    keeper._standby.kill()
    keeper._standby.wait()
    os.kill(keeper.process_id, signal.SIGKILL)
    with pytest.raises(InstrumentError, match="another one was started to switch off: output off"):
        keeper.supply.measure()
    assert is_off(rig)


def test_a_keeper_whose_words_nobody_reads_switches_off_and_ends(rig: Rig) -> None:
    """Its standard error is a pipe that is full: it must not wait there, neither before power is off nor after."""
    reads, writes = os.pipe()
    os.set_blocking(writes, False)
    with contextlib.suppress(BlockingIOError):
        while True:
            os.write(writes, bytes(65536))
    os.set_blocking(writes, True)
    kept = os.dup(2)
    os.dup2(writes, 2)
    try:
        keeper = keeper_for(rig)
    finally:
        os.dup2(kept, 2)
    power(keeper)
    assert keeper._process.stdin is not None
    keeper._process.stdin.close()  # as the death of the main process leaves it
    assert until(lambda: is_off(rig), 3.0) < 1.0
    assert keeper._process.wait(5.0) == 0
    keeper._end()
    for descriptor in (reads, writes, kept):
        os.close(descriptor)


def test_a_keeper_told_to_end_switches_off_first(rig: Rig) -> None:
    keeper = keeper_for(rig)
    power(keeper)
    os.kill(keeper.process_id, signal.SIGTERM)
    assert until(lambda: is_off(rig), 3.0) < 1.0
    with pytest.raises(InstrumentError, match="told to end"):
        keeper.supply.measure()


def test_a_keeper_that_cannot_reach_the_supply_says_so_and_ends() -> None:
    wrong = LinkSettings("TCPIP0::127.0.0.1::1::SOCKET", "generic")
    with pytest.raises(InstrumentError, match=r"supply.psu: does not answer"):
        PowerKeeper(KeeperSettings(PoweredInstrument("supply.psu", wrong, CEILING)))


@pytest.mark.parametrize(
    ("how", "allowed_s"), [(signal.SIGKILL, 1.0), (signal.SIGTERM, 1.0), (signal.SIGINT, 1.0), (signal.SIGSTOP, 3.0)]
)
def test_a_dying_main_process_takes_the_power_with_it(
    rig: Rig, how: signal.Signals, allowed_s: float, tmp_path: Path
) -> None:
    resources = [rig.supply_server.resource, rig.load_server.resource]
    command = [sys.executable, "-m", "tests.instruments.powered_run", *resources, str(tmp_path / "journal")]
    with subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    ) as main:
        until(lambda: rig.supply.output and rig.load.input, 20.0)
        assert rig.supply.output
        main.send_signal(how)
        assert until(lambda: is_off(rig), 6.0) < allowed_s
        main.kill()
    assert settings("a", "b").supply is not None


def test_switching_off_does_not_wait_for_an_answer_that_is_outstanding(rig: Rig) -> None:
    """Ctrl-C in the middle of a request: the keeper drops what it waits for and switches off."""
    keeper = keeper_for(rig)
    power(keeper)
    rig.supply_server.faults.append(Misbehaviour(Kind.LATE, match="MEAS", amount=0.1, times=-1))
    keeper._send({"id": 999, "do": "supply.steady", "args": {}})  # as an interrupted request leaves it
    CLOCK.sleep(0.05)
    began_s = CLOCK.monotonic_s()
    rig.supply_server.faults.clear()
    assert keeper.close().state is OffState.OFF
    assert is_off(rig)
    assert CLOCK.monotonic_s() - began_s < 2.0


def test_a_supply_that_is_only_read_ends_without_alarm(rig: Rig) -> None:
    link = LinkSettings(rig.supply_server.resource, "")
    keeper = PowerKeeper(KeeperSettings(PoweredInstrument("supply.psu", link, CEILING)))
    assert keeper.supply.measure().voltage_volt < 0.1
    assert "only read" in keeper.close().line


def fake_pipe() -> tuple[Pipe, FakeClock, int, int]:
    request_out, request_in = os.pipe()
    answer_out, answer_in = os.pipe()
    clock = FakeClock()
    return Pipe(clock, request_out, answer_in), clock, request_in, answer_out


def test_a_machine_that_was_suspended_counts_as_silence() -> None:
    """The monotonic clock stands still in suspend; the wall clock jumps."""
    pipe, clock, _, _ = fake_pipe()
    pipe.check()
    clock.set_wall(clock.now() + timedelta(seconds=30))
    with pytest.raises(MainGone, match="suspended"):
        pipe.check()


def test_the_end_of_the_pipe_and_silence_are_noticed() -> None:
    pipe, clock, request_in, _ = fake_pipe()
    clock.sleep(1.9)
    pipe.check()
    os.write(request_in, encode({"do": "lease"}))
    pipe.check()
    clock.sleep(1.9)
    pipe.check()
    os.close(request_in)
    with pytest.raises(MainGone, match="ended"):
        pipe.check()
    silent, clock, _, _ = fake_pipe()
    clock.sleep(2.1)
    with pytest.raises(MainGone, match="no sign of life for 2 s"):
        silent.check()


def test_a_keeper_without_instruments_ends_quietly() -> None:
    pipe, clock, request_in, answer_out = fake_pipe()
    said: list[str] = []
    keeper = Keeper(pipe, clock, lambda *_, **__: Instruments(), said.append)
    os.write(request_in, encode({"id": 1, "do": "supply.on", "args": {}}))
    os.close(request_in)
    assert keeper.run() == 0
    assert said == []
    assert answer_out > 0


def test_values_travel_as_they_are() -> None:
    message = decode(encode({"value": SupplyPoint(1.0, 6.000000001, -0.0, mode="off")}))  # type: ignore[arg-type]
    point = revived(message["value"])
    assert point == SupplyPoint(1.0, 6.000000001, -0.0, point.mode)
