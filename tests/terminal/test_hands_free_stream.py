"""A handheld that streams its readings takes those of a guided visit, hands-free, unplugged half way and back."""

from __future__ import annotations

import contextlib
import pathlib
import socket
import threading
from collections.abc import Callable, Iterator

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Link
from benchcheck.builtin import load_spec, plugins
from benchcheck.clock import SystemClock
from benchcheck.kinds.check import Phase
from benchcheck.readings.reading import Origin
from benchcheck.score.model import Outcome
from benchcheck.spec.board import Board
from tests.terminal.bench_hand import WatchingHand
from tests.terminal.test_hands_free import SPEC, Rig, conducted, rig, scores_of

UNITS = {Function.OHMS: "ohm", Function.CONTINUITY: "ohm", Function.DC_VOLTAGE: "V", Function.DIODE: "V"}
UNITS |= {Function.CAPACITANCE: "F"}
LINE_S = 0.04


class Talker:
    """A meter behind a serial-to-network converter: one client, a line again and again, a plug to pull."""

    def __init__(self, line: Callable[[], str]) -> None:
        self._line = line
        self._clock, self._going, self.plugged = SystemClock(), True, True
        self.connections = 0
        self._listening = socket.create_server(("127.0.0.1", 0))
        self._listening.settimeout(LINE_S)
        self.port = self._listening.getsockname()[1]
        self._thread = threading.Thread(target=self._talk)
        self._thread.start()

    def close(self) -> None:
        self._going = False
        self._thread.join()
        self._listening.close()

    def _speaks(self) -> bool:
        return self._going and self.plugged

    def _talk(self) -> None:
        while self._going:
            with contextlib.suppress(TimeoutError):
                client, _ = self._listening.accept()
                self.connections += 1
                with client, contextlib.suppress(OSError):
                    while self._speaks():
                        client.sendall(self._line().encode() + b"\r\n")
                        self._clock.sleep(LINE_S)


def said_by(made: Rig) -> str:
    """What the handheld says now, its switch turned to what is asked for."""
    asking = made.guided.desk.asking
    function = asking.check.function if asking is not None else Function.OHMS
    front = made.served.meter
    known = function if function in UNITS else Function.OHMS
    if front.function is not known:
        front.front_panel(known)
    text = front.handle("READ?", front.now_s + LINE_S)
    value = float(text or "9.9E37")
    return f"OL {UNITS[known]}" if abs(value) > 1e37 else f"{value:.6E} {UNITS[known]}"


@pytest.fixture(scope="module")
def board() -> Board:
    return load_spec(SPEC, plugins())


@contextlib.contextmanager
def streamed(board: Board) -> Iterator[tuple[Rig, Talker]]:
    with rig(board) as made:
        made.source.meters.close()
        talker = Talker(lambda: said_by(made))
        try:
            link = Link(f"TCPIP0::127.0.0.1::{talker.port}::SOCKET", "lines")
            made.served.bench = made.served.bench.linked({"dmm": link})
            made.source.meters.bench = made.served.bench
            made.source.meters.open()
            yield made, talker
        finally:
            made.source.meters.close()
            talker.close()


def test_a_guided_visit_is_taken_from_a_stream_that_is_unplugged_and_comes_back(
    board: Board, tmp_path: pathlib.Path
) -> None:
    checks = tuple(
        check for check in board.checks
        if check.function is Function.OHMS and check.phase is Phase.PARTS and check.measurand == "resistance"
    )[:6]  # fmt: skip
    with streamed(board) as (made, talker):
        hand = WatchingHand(made.served.hand, made.guided)
        pulled_s: list[float] = []

        def turn() -> list[object]:
            if hand.at == checks[3].id and not pulled_s:
                pulled_s.append(made.guided.clock.monotonic_s())
                talker.plugged = False
            if pulled_s and made.guided.clock.monotonic_s() - pulled_s[0] > 1.5:
                talker.plugged = True
            return hand.turn()  # type: ignore[return-value]

        made.keyboard.turn = turn  # type: ignore[assignment]
        result, record = conducted(made, board, checks, tmp_path)
        assert made.keyboard.pressed == []
        assert talker.connections >= 2
        assert pulled_s
    assert [score.outcome for score in scores_of(result, checks)] == [Outcome.MEASURED] * len(checks)
    assert [score.check for score in scores_of(result, checks) if score.verdict == "fail"] == []
    taken = [one for one in record.readings if one.check in {check.id for check in checks}]
    assert {one.origin for one in taken} == {Origin.METERED}
    assert {one.meter for one in taken} == {"dmm"}
