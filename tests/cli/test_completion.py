"""Completion in a real bash: commands, options, specs by what is in them, checks and nets of the spec on the line."""

from __future__ import annotations

import os
import pathlib
import pty
import re
import select
import shutil
import subprocess
import sys
import time

import pytest

from tests.cli.scratch import clean_environment, lay_out, run

BASH = shutil.which("bash")
needs_bash = pytest.mark.skipif(BASH is None, reason="no bash here")

#: calls the function bash would call, with the words bash would have made of the line (they end at colons).
ASK = r"""
eval "$(benchcheck completion bash)"
COMP_LINE=$1 COMP_POINT=${#1}
_benchcheck_completion benchcheck
printf '%s\n' "${COMPREPLY[@]}"
"""


@pytest.fixture
def folder(tmp_path: pathlib.Path) -> pathlib.Path:
    lay_out(tmp_path)
    (tmp_path / "specs").mkdir()
    (tmp_path / "specs" / "a board.toml").write_text((tmp_path / "board.toml").read_text("utf-8"), "utf-8")
    (tmp_path / "records" / "t-4").mkdir(parents=True)
    (tmp_path / "records" / "t-4" / "20260131T101500Z-1f0c9a2b.toml").write_text("benchcheck_record = 1\n", "utf-8")
    (tmp_path / "bin").mkdir()
    shim = tmp_path / "bin" / "benchcheck"
    shim.write_text(
        f"#!{sys.executable}\nimport sys\nsys.argv[0] = 'benchcheck'\nfrom benchcheck.cli import main\nmain()\n",
        "utf-8",
    )
    shim.chmod(0o755)
    return tmp_path


def environment(folder: pathlib.Path) -> dict[str, str]:
    return clean_environment(PATH=f"{folder / 'bin'}{os.pathsep}{os.environ['PATH']}")


def offered(folder: pathlib.Path, line: str) -> list[str]:
    """Return what bash would offer for a line typed so far."""
    asked = subprocess.run(
        [str(BASH), "--norc", "-c", ASK, "bash", line],
        cwd=folder, env=environment(folder), capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert asked.stderr == ""
    return asked.stdout.split("\n")[:-1]


@needs_bash
@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("benchcheck ver", ["verify"]),
        ("benchcheck records ch", ["check"]),
        ("benchcheck verify --res", ["--resume"]),
        ("benchcheck verify board.toml --stage as-f", ["as-found"]),
        ("benchcheck verify bo", ["board.toml"]),
        ("benchcheck verify sp", [r"specs/a\ board.toml"]),
        ("benchcheck verify board.toml --bench b", ["bench.toml"]),
        ("benchcheck verify board.toml --bench sim", ["simulated"]),
        ("benchcheck verify board.toml --only D", ["D1", "D1.forward_drop", "D1.reverse"]),
        ("benchcheck verify board.toml --only R1,D1.r", ["R1\\,D1.reverse"]),
        ("benchcheck verify board.toml --only=d1.f", ["D1.forward_drop"]),
        ("benchcheck verify board.toml --explain VCC.to_ground[red:V", ["VCC\\]"]),
        ("benchcheck between board.toml BA", ["BASE", "BATT"]),
        ("benchcheck between board.toml BATT V", ["VCC"]),
        ("benchcheck verify missing.toml --only D", [""]),
        ("benchcheck verify board.toml --waive D1.f", ["D1.forward_drop"]),
        ("benchcheck sheet re", ["records/t-4/20260131T101500Z-1f0c9a2b.toml"]),
    ],
)
def test_bash_is_offered_what_fits(folder: pathlib.Path, line: str, expected: list[str]) -> None:
    assert offered(folder, line) == expected


@needs_bash
def test_a_key_press_completes_in_a_live_bash(folder: pathlib.Path) -> None:
    """A person types, presses the tabulator, and the command runs with what bash made of it."""
    master, slave = pty.openpty()
    shell = subprocess.Popen(
        [str(BASH), "--norc", "--noprofile", "-i"],
        cwd=folder, env=environment(folder) | {"PS1": "> ", "TERM": "dumb"},
        stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
    )  # fmt: skip
    os.close(slave)
    try:
        os.write(master, b'eval "$(benchcheck completion bash)"; echo rea""dy\n')
        until(master, r"\nready")
        os.write(master, b'benchcheck check-s\tbo\t--br\t; echo do""ne\n')
        said = until(master, r"\ndone")
    finally:
        shell.kill()
        shell.wait()
        os.close(master)
    assert "Ellwick T-4 metronome B:" in said
    assert "nothing wrong" in said


def until(handle: int, pattern: str, patience_s: float = 60.0) -> str:
    said, deadline = "", time.monotonic() + patience_s
    while not re.search(pattern, said.replace("\r", "")):
        ready, _, _ = select.select([handle], [], [], max(0.0, deadline - time.monotonic()))
        assert ready, f"bash said no more: {said}"
        said += os.read(handle, 4096).decode("utf-8", "replace")
    return said


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_shell_has_its_script(tmp_path: pathlib.Path, shell: str) -> None:
    ran = run(tmp_path, "completion", shell)
    assert ran.code == 0
    assert "_BENCHCHECK_COMPLETE" in ran.out
    assert ran.err == ""


def test_the_other_shells_are_answered_in_their_own_form(folder: pathlib.Path) -> None:
    """What their scripts read back (the shells themselves are not here): words after the type, with help in fish."""
    for shell, words in (
        ("zsh", "benchcheck verify board.toml --only D1.f"),
        ("fish", "benchcheck verify board.toml --only "),
    ):
        asked = environment(folder) | {
            "_BENCHCHECK_COMPLETE": f"{shell}_complete",
            "COMP_WORDS": words,
            "COMP_CWORD": "4",
        }
        if shell == "fish":
            asked["COMP_CWORD"] = "D1.f"
        told = subprocess.run(
            [str(folder / "bin" / "benchcheck")], cwd=folder, env=asked, capture_output=True, text=True, check=False
        )
        assert "D1.forward_drop" in told.stdout
