"""The screen of a run: cautions first, a line a check as it is scored, the tally at the end.

Without a terminal, or with NO_COLOR set, the same words come plain; long runs show their progress.
"""

from __future__ import annotations

import os
import sys
import textwrap

from rich.console import Console
from rich.text import Text

from benchcheck.kinds.check import Check
from benchcheck.score.model import Score, Verdict
from benchcheck.terminal.lines import STYLES, WIDTH, outcome_word, score_lines

__all__ = ["Screen"]


class _Console(Console):
    """A console whose reader may go away: the visit goes on without it."""

    def on_broken_pipe(self) -> None:
        self.quiet = True
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class Screen:
    """Shows a visit on a console; an `Observer` of the session room."""

    def __init__(self, console: Console | None = None, *, reasons: bool = True) -> None:
        self.console = console or _Console(highlight=False, soft_wrap=True)
        self._reasons = reasons

    def tell(self, line: str = "", style: str = "") -> None:
        """Show one line, unchanged."""
        self.console.print(Text(line, style=style), soft_wrap=True)

    def ask(self, prompt: str) -> str:
        """Show a prompt and return the line typed; raises EOFError at the end of input."""
        return self.console.input(Text(prompt))

    def heading(self, line: str) -> None:
        """Show a heading with room above it."""
        self.tell()
        self.tell(line, "bold")

    def cautions(self, cautions: tuple[str, ...]) -> None:
        """Show the cautions that apply to this board."""
        for caution in cautions:
            for line in textwrap.wrap(caution, WIDTH, initial_indent="  - ", subsequent_indent="    "):
                self.tell(line)

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Show the line of a scored check."""
        head, *rest = score_lines(score, reasons=self._reasons)
        word = outcome_word(score)
        line = Text(head)
        line.stylize(STYLES.get(word, ""), 0, len(word))
        self.console.print(line, soft_wrap=True)
        for reason in rest:
            self.tell(reason, "" if score.verdict is Verdict.FAIL else "dim")
        if place % 100 == 0 and place < total and sys.stderr.isatty():
            print(f"{place} of {total} checks", file=sys.stderr)

    def undone(self, check: Check) -> None:
        """Say that a check was taken back."""
        self.tell(f"taken back: {check.id}")
