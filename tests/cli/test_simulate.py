"""`benchcheck simulate`: what is served, what moves the hand, and what is wrong said."""

from __future__ import annotations

import os
import pathlib
import re
import signal
import subprocess
import sys

import pyvisa

from tests.cli.scratch import lay_out

ROOT = pathlib.Path(__file__).parents[2]
SPEC = str(ROOT / "specs" / "quillmere-kr6.toml")


def simulate(*arguments: str, lines: str = "quit\n", spec: str = SPEC) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "benchcheck", "simulate", spec, *arguments]
    return subprocess.run(command, input=lines, capture_output=True, text=True, timeout=60, check=False)


def test_it_names_three_resources_and_what_unit_it_is_but_not_its_fault() -> None:
    done = simulate("--fault", "D3 reversed", "--seed", "7")
    assert done.returncode == 0
    assert len(set(re.findall(r"TCPIP0::127\.0\.0\.1::\d+::SOCKET", done.stdout))) == 3
    assert "virtual unit 7" in done.stdout
    assert "reversed" not in done.stdout
    assert "benchcheck_bench = 1" in done.stdout


def test_a_board_without_a_revision_is_named_without_a_blank(tmp_path: pathlib.Path) -> None:
    spec = lay_out(tmp_path) / "board.toml"
    spec.write_text(spec.read_text(encoding="utf-8").replace('revision = "B"\n', ""), encoding="utf-8")
    assert "Ellwick T-4 metronome, virtual unit 7" in simulate("--seed", "7", spec=str(spec)).stdout


def test_it_tells_at_the_end_when_asked_to() -> None:
    assert simulate("--fault", "D3 reversed", "--tell").stdout.endswith("What was wrong: D3 reversed.\n")
    drawn = [simulate("--fault", "any", "--seed", "5", "--tell").stdout.splitlines()[-1] for _ in range(2)]
    assert drawn[0] == drawn[1] != "What was wrong: nothing."


def test_lines_on_standard_input_move_the_hand() -> None:
    done = simulate(lines="C9.capacitance\nlift\nquit\n")
    assert done.stdout.splitlines()[-2:] == ["red on C9 plus lead, black on C9 minus lead", "probes lifted"]


def test_another_program_measures_what_the_hand_has_placed() -> None:
    command = [sys.executable, "-m", "benchcheck", "simulate", SPEC, "--pace", "10000"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as served:
        assert served.stdin is not None
        assert served.stdout is not None
        said = ""
        while "Ctrl-C ends" not in said:
            said += served.stdout.readline()
        served.stdin.write("R13.resistance\n")
        served.stdin.flush()
        assert served.stdout.readline() == "red on R13 lead 1, black on R13 lead 2\n"
        found = re.search(r"TCPIP0::127\.0\.0\.1::\d+::SOCKET", said)
        assert found is not None
        manager = pyvisa.ResourceManager("@py")
        meter = manager.open_resource(found[0], read_termination="\n", write_termination="\n", timeout=5000)
        meter.query("MEAS:RES?")  # type: ignore[attr-defined]  # a message-based resource
        shown = [float(meter.query("READ?")) for _ in range(20)]  # type: ignore[attr-defined]
        meter.close()
        manager.close()
        os.kill(served.pid, signal.SIGTERM)
        assert served.wait(10) == 0
    assert 23_500 < shown[-1] < 24_300


def test_an_interrupt_ends_it_although_a_shell_started_it_with_that_signal_ignored() -> None:
    again = [sys.executable, "-m", "benchcheck", "simulate", SPEC]
    # as POSIX 2.11 has it for a shell's background jobs: SIGINT is ignored from the start
    ignoring = f"import os, signal; signal.signal(signal.SIGINT, signal.SIG_IGN); os.execv({again[0]!r}, {again!r})"
    wrapped = [sys.executable, "-c", ignoring]
    with subprocess.Popen(wrapped, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as served:
        assert served.stdout is not None
        said = ""
        while "Ctrl-C ends" not in said:
            said += served.stdout.readline()
        os.kill(served.pid, signal.SIGINT)
        try:
            assert served.wait(10) == 0
        finally:
            served.kill()


def test_a_fault_this_board_cannot_have_is_refused_with_what_it_can() -> None:
    done = simulate("--fault", "D3 reverse")
    assert done.returncode == 2
    assert 'did you mean "reversed"?' in done.stderr


def test_ports_are_three_numbers() -> None:
    done = simulate("--ports", "1,2")
    assert done.returncode == 2
    assert "is not three port numbers" in done.stderr
