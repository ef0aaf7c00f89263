"""What the command line costs beside its peers: help, cold, and each further check scored from a file."""

from __future__ import annotations

import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

from tests.benchmarks.rows import row

MINUTES = 2
ROUNDS = 15
PARTS = (100, 1100)


def main() -> None:
    _help()
    _further_check()


def _seconds(command: list[str], folder: str | None = None) -> float:
    started = time.perf_counter()
    subprocess.run(command, cwd=folder, capture_output=True, check=False, env={**os.environ, "COLUMNS": "80"})
    return time.perf_counter() - started


def _help() -> None:
    ours_command = [str(pathlib.Path(sys.executable).parent / "benchcheck"), "--help"]
    peer_command = [sys.executable, "-c", "import argparse"]
    pairs = [(_seconds(ours_command), _seconds(peer_command)) for _ in range(ROUNDS)][1:]
    ours, peer = (statistics.median(column) for column in zip(*pairs, strict=True))
    ratio = statistics.median(a / b for a, b in pairs)
    row("benchcheck --help, cold", ours, "import argparse", peer, 4.0, ratio=ratio)


def _further_check() -> None:
    """The slope between a small and a large board, so that start-up cancels, in both ours and the peer's."""
    with tempfile.TemporaryDirectory() as folder:
        for count in PARTS:
            _write_board(pathlib.Path(folder), count)
        few, many = PARTS
        ours, peer = [], []
        for _ in range(5):
            ours.append((_verify(folder, many) - _verify(folder, few)) / (many - few))
            peer.append((_empty_items(folder, many) - _empty_items(folder, few)) / (many - few))
        a, b = statistics.median(ours), statistics.median(peer)
        row("a further check scored from a file", a, "pytest's empty item", b, 2.0)


def _write_board(folder: pathlib.Path, count: int) -> None:
    board = ['benchcheck = 1\n[board]\nmodel = "Ellwick T-9"\nrevision = "A"\nhazards = []\n']
    card = ["check,reading"]
    for number in range(count):
        board.append(f'[part.R{number}]\nkind = "resistor"\nvalue = "4k7"\ntolerance = "1 %"\n')
        card.append(f"R{number}.resistance,4.68k")
    (folder / f"board_{count}.toml").write_text("".join(board), encoding="utf-8")
    (folder / f"card_{count}.csv").write_text("\n".join(card), encoding="utf-8")
    bench = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "handheld-6000"\n'
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    tests = "\n".join(f"def test_{number}():\n    pass" for number in range(count))
    (folder / f"test_empty_{count}.py").write_text(tests, encoding="utf-8")


def _verify(folder: str, count: int) -> float:
    files = [f"board_{count}.toml", "--unit", "timing", "--readings", f"card_{count}.csv"]
    return _seconds([sys.executable, "-m", "benchcheck", "verify", *files], folder)


def _empty_items(folder: str, count: int) -> float:
    plain = ["-q", "-p", "no:cacheprovider", "--disable-plugin-autoload", f"test_empty_{count}.py"]
    return _seconds([sys.executable, "-m", "pytest", *plain], folder)
