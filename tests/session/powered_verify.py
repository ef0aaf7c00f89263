"""A powered visit to be killed: the whole job on a served bench, then a long soak, until something happens to it.

Usage: powered_verify FOLDER [COUNT]. FOLDER holds bench.toml and board.toml and gets the records. Each check that is
scored is told on standard output, after its reading was made durable. With COUNT the hand raises an exception at its
place number COUNT after power went on.
"""

from __future__ import annotations

import contextlib
import fcntl
import signal
import sys
import termios
from pathlib import Path

from benchcheck.bench.model import Bench
from benchcheck.builtin import load_spec
from benchcheck.errors import BenchcheckError
from benchcheck.kinds.check import Check
from benchcheck.score.model import Outcome, Score
from benchcheck.session.answers import Source
from benchcheck.session.run import Conduct, Request
from benchcheck.terminal.signals import ending_as_interrupt
from tests.session.rig import Plain, ScriptedHand, source

SOAK_MIN = 5.0


class Telling:
    """Says what was scored, as a screen would."""

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        if score.outcome is Outcome.MEASURED:
            sys.stdout.write(f"{check.id}\n")
            sys.stdout.flush()

    def undone(self, check: Check | None) -> None: ...


class Clumsy(ScriptedHand):
    """Drops something at one place."""

    drops_at = -1
    powered = 0

    def place(self, check: Check) -> None:
        super().place(check)
        self.powered += check.powered
        if self.powered == self.drops_at:
            raise RuntimeError("an exception in the middle of a powered visit")


def main() -> int:
    folder = Path(sys.argv[1])
    hand = Clumsy({"ambient": "23"})
    hand.drops_at = int(sys.argv[2]) if len(sys.argv) > 2 else -1
    signal.signal(signal.SIGINT, signal.default_int_handler)  # as at a terminal, whoever started this
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    with contextlib.suppress(OSError):  # so that Ctrl-C and hang-up come from the kernel
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    def made(bench: Bench) -> Source:
        return source(bench, hand, kind=Plain)

    board = load_spec(folder / "board.toml")
    request = Request("7", str(folder / "bench.toml"), records=folder / "records", soak=SOAK_MIN)
    with ending_as_interrupt():
        report = Conduct(request, Telling(), made).run(board, tuple(one.id for one in board.checks))
    return report.exit_code


if __name__ == "__main__":
    try:
        raise SystemExit(main())
    except BenchcheckError as reason:
        sys.stderr.write(f"{reason}\n")
        raise SystemExit(reason.exit_code) from reason
