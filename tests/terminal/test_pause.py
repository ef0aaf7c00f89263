"""Ctrl-Z and fg at the guided screen, with a small shell that does what shells do about jobs."""

from __future__ import annotations

import os
import pathlib
import signal
import termios

import pytest

from tests.cli.scratch import lay_out
from tests.terminal.desk_person import DeskPerson
from tests.terminal.test_bench_side import record_of
from tests.terminal.test_desk import TYPED, VERIFY, answer, begin

#: runs a command in the foreground; when it stops, sets the terminal as it was, and has it go on after a line.
SHELL = """
import os, signal, sys, termios
modes = termios.tcgetattr(0)
signal.signal(signal.SIGTTOU, signal.SIG_IGN)
child = os.fork()
if child == 0:
    os.setpgid(0, 0)
    os.tcsetpgrp(0, os.getpid())
    signal.signal(signal.SIGTTOU, signal.SIG_DFL)
    os.execv(sys.executable, [sys.executable, "-m", *sys.argv[1:]])
open("pid", "w").write(str(child))
times = 0
while True:
    _, status = os.waitpid(child, os.WUNTRACED)
    left = termios.tcgetattr(0)[3]
    os.tcsetpgrp(0, os.getpgrp())
    if not os.WIFSTOPPED(status):
        sys.exit(os.waitstatus_to_exitcode(status))
    termios.tcsetattr(0, termios.TCSADRAIN, modes)
    times += 1
    print("\\rit stands still, echo", bool(left & termios.ECHO), "stop", times, flush=True)
    input()
    os.tcsetpgrp(0, child)
    os.kill(-child, signal.SIGCONT)
"""


def in_a_shell(folder: pathlib.Path) -> DeskPerson:
    (lay_out(folder) / "small_shell.py").write_text(SHELL)
    return DeskPerson(folder, "small_shell", *VERIFY, "--only", "D1")


def alive(person: DeskPerson) -> None:
    """Go on with the job, and see that screen and keys are there again."""
    person.press(b"fg\r")
    answer(person, TYPED[1:2])
    person.at("D1.forward_drop")
    assert not person.modes() & (termios.ECHO | termios.ICANON)


@pytest.mark.parametrize("how", ["key", "signal", "stop"])
def test_after_it_stood_still_the_screen_is_there_again_and_keys_serve(tmp_path: pathlib.Path, how: str) -> None:
    with in_a_shell(tmp_path) as person:
        begin(person)
        answer(person, TYPED[:1])
        person.at("VCC.residual_voltage")
        job = int((tmp_path / "pid").read_text())
        if how == "key":
            person.press(b"\x1a")
        else:
            os.kill(job, signal.SIGTSTP if how == "signal" else signal.SIGSTOP)
        if how == "stop":  # a program cannot give the terminal back before SIGSTOP
            person.sees("it stands still, echo")
        else:
            person.sees("it stands still, echo True")
            assert not person.glass.alternate
        alive(person)
        answer(person, TYPED[2:])
        assert person.finish() == 0
    assert [one.check for one in record_of(tmp_path).readings] == TYPED


def test_standing_still_again_and_again_loses_nothing(tmp_path: pathlib.Path) -> None:
    with in_a_shell(tmp_path) as person:
        begin(person)
        answer(person, TYPED[:1])
        for stop in (1, 2, 3):
            person.at("VCC.residual_voltage")
            person.press(b"\x1a")
            person.sees(f"stop {stop}")  # the words of the stop before stand on the screen still
            person.press(b"fg\r")
            person._until(lambda: not person.modes() & termios.ICANON, "keys")
        answer(person, TYPED[1:])
        assert person.finish() == 0
