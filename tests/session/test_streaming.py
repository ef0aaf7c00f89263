"""A handheld that streams lines over a serial line takes the readings of a visit."""

from __future__ import annotations

import os
import pty
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchcheck.bench.load import load_bench
from benchcheck.clock import SystemClock
from benchcheck.document import parse_document
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Origin
from benchcheck.record.store import read_record
from benchcheck.score.model import Outcome
from tests.factories import board, check
from tests.session.rig import ScriptedHand
from tests.session.test_metered import conduct

R14 = check("R14.resistance")
BENCH = """\
benchcheck_bench = 1
[meter.hand]
class = "handheld-6000"
leads = {{ nulled = true }}
link = {{ resource = "ASRL{line}::INSTR", dialect = "lines" }}
"""


@pytest.fixture
def talker() -> Iterator[tuple[str, list[bytes]]]:
    """A serial line on which the last of a list of lines is said over and over."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    going, clock, lines = threading.Event(), SystemClock(), [b"4.681 kOhm\r\n"]

    def talk() -> None:
        while not going.is_set():
            os.write(master, lines[-1])
            clock.sleep(0.05)

    thread = threading.Thread(target=talk)
    thread.start()
    yield os.ttyname(slave), lines
    going.set()
    thread.join()
    os.close(slave)
    os.close(master)


def test_its_lines_are_metered_readings(tmp_path: Path, talker: tuple[str, list[bytes]]) -> None:
    bench = load_bench(parse_document(BENCH.format(line=talker[0]), "bench.toml"))
    report = conduct(tmp_path, bench, board(R14), ScriptedHand())
    reading = next(one for one in read_record(report.record).readings if one.check == R14.id)
    assert (reading.origin, reading.meter, reading.display.text) == (Origin.METERED, "hand", "4.681 kohm")


def test_overload_is_kept_and_a_wrong_switch_position_is_an_error(
    tmp_path: Path, talker: tuple[str, list[bytes]]
) -> None:
    bench = load_bench(parse_document(BENCH.format(line=talker[0]), "bench.toml"))
    talker[1].append(b"OL MOhm\r\n")
    report = conduct(tmp_path, bench, board(R14), ScriptedHand())
    reading = next(one for one in read_record(report.record).readings if one.check == R14.id)
    assert reading.display.state is DisplayState.OVERLOAD
    talker[1].append(b"5.001 V\r\n")
    report = conduct(tmp_path, bench, board(R14), ScriptedHand())
    score = next(one for one in report.scores if one.check == R14.id)
    assert score.outcome is Outcome.ERROR
    assert "turn its switch" in score.because
    assert report.exit_code == 4
