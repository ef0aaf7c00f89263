"""The screen of a run: a line a check as it is scored, in whole words that colour only repeats.

Without a terminal, or with NO_COLOR set, the same words come plain. The reader may go away at any time (a pipe
that closes, a window that is shut): the visit goes on without it.
"""

from __future__ import annotations

import contextlib
import functools
import io
import os
import select
import shutil
import sys
from collections.abc import Callable, Iterator

from benchcheck.document.files import printable
from benchcheck.kinds.check import Check
from benchcheck.score.model import Score, Verdict
from benchcheck.terminal.lines import STYLES, outcome_word, score_lines
from benchcheck.terminal.signals import line_waiting, notice_hang_up, wait_for_line
from benchcheck.terminal.wrapping import WIDTH, wrapped

__all__ = ["Screen", "coloured", "styled"]

#: lines that come within this time of each other came in one piece.
_BEHIND_S = 0.05


def coloured() -> bool:
    """Return whether standard output is a terminal that wants colour (https://no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM", "dumb") != "dumb"


class Screen:
    """Shows a visit on standard output; an `Observer` of the session room. `reasons` adds why and what helps."""

    def __init__(self, *, reasons: bool = True) -> None:
        self._reasons = reasons
        self._gone = self._asking = self._at_prompt = False
        self.while_waiting: Callable[[], None] | None = None  # called several times a second while a line is awaited

    def tell(self, line: str = "", style: str = "") -> None:
        """Show one line, as it is but for signs that would move the cursor."""
        line = _safe(line)
        self._write(styled(line, style) if style and coloured() else line)

    def paragraph(self, words: str, indent: str = "", hanging: str | None = None, style: str = "") -> None:
        """Show words in lines of at most 80 columns; `hanging` stands before the second and later ones."""
        for line in wrapped(words, indent, indent if hanging is None else hanging, self.columns()):
            self.tell(line, style)

    def columns(self) -> int:
        """Return how many columns words may take: 80, fewer where the terminal has fewer."""
        if not sys.stdout.isatty():
            return WIDTH
        return max(20, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))

    def heading(self, words: str) -> None:
        """Show a heading with room above it."""
        self.tell()
        self.paragraph(words, style="bold")

    def cautions(self, cautions: tuple[str, ...]) -> None:
        """Show the cautions that apply."""
        for caution in cautions:
            self.paragraph(caution, "  - ", "    ")

    def ask(self, prompt: str) -> str:
        """Show a prompt and return the line typed; raises EOFError at the end of input, or of the terminal."""
        _take_any_bytes()
        before, self._asking = self._asking, True
        try:
            print(prompt, end="", flush=True)
            if sys.stdin.isatty():  # of a pipe several lines may have been read already, which no wait would see
                wait_for_line(sys.stdin, self.while_waiting)
            line = sys.stdin.readline()
        except OSError as error:
            raise _ended() from error
        finally:
            self._asking = before
        if not line:
            raise _ended()
        return line.rstrip("\n")

    @contextlib.contextmanager
    def listening(self) -> Iterator[None]:
        """Take typed lines for words to a check, not for a wish to switch power off, as long as this lasts."""
        before, self._asking = self._asking, True
        try:
            yield
        finally:
            self._asking = before

    def line_if_typed(self, within_s: float = 0.1) -> str | None:
        """Return a line typed within some time, None without one; EOFError at the end of input."""
        _take_any_bytes()
        try:
            if not select.select([sys.stdin.fileno()], [], [], within_s)[0]:
                return None
            line = sys.stdin.readline()
        except OSError as error:
            raise _ended() from error
        if not line:
            raise _ended()
        return line.rstrip("\n")

    def drained(self) -> bool:
        """Throw away lines that were typed or pasted ahead; return whether there were any."""
        _take_any_bytes()
        found = False
        with contextlib.suppress(OSError, ValueError):
            while select.select([sys.stdin.fileno()], [], [], _BEHIND_S)[0] and sys.stdin.readline():
                found = True
        return found

    def prompt(self, words: str) -> None:
        """Show words that a line may be typed behind."""
        self._write(_safe(words), end="")
        self._at_prompt = True

    def prompt_answered(self) -> None:
        """Take it in that whoever typed has ended the line of the prompt."""
        self._at_prompt = False

    def prompt_ends(self) -> None:
        """End the line of a prompt behind which nothing was typed."""
        if self._at_prompt:
            self._at_prompt = False
            self._write("")

    def bell(self) -> None:
        """Ring the bell of the terminal."""
        if not self._gone and sys.stdout.isatty():
            with contextlib.suppress(OSError, ValueError):
                sys.stdout.write("\a")
                sys.stdout.flush()

    def stop_asked(self) -> bool:
        """Return whether Enter was pressed while nothing was asked: under power that means off."""
        return not self._asking and line_waiting(sys.stdin)

    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Show the line of a scored check, and under it why it is not a pass."""
        head, *reasons = map(_safe, score_lines(score, reasons=self._reasons, width=self.columns()))
        if coloured():
            word = outcome_word(score)
            head = styled(word, STYLES.get(word, "")) + head.removeprefix(word)
            dim = "" if score.verdict is Verdict.FAIL else "dim"
            reasons = [styled(line, dim) for line in reasons]
        self._write("\n".join((head, *reasons)))

    def undone(self, check: Check | None) -> None:
        """Say what was taken back."""
        self.tell(f"taken back: {check.id}" if check else "nothing was answered yet that could be taken back")

    def _write(self, text: str, end: str = "\n") -> None:
        if self._gone:
            return
        try:
            print(text, end=end, flush=sys.stdout.isatty())
        except OSError:
            self._gone = True
            _let_go()


def _safe(line: str) -> str:
    return line if line.isprintable() else printable(line)


def _take_any_bytes() -> None:
    """Read what is no text as well; this can be set only before the first line is read."""
    if isinstance(sys.stdin, io.TextIOWrapper) and sys.stdin.errors != "replace":
        sys.stdin.reconfigure(errors="replace")


def _ended() -> EOFError:
    """Return the end of input, having looked whether the terminal itself has gone."""
    with contextlib.suppress(OSError, ValueError):
        notice_hang_up(sys.stdin.fileno())
    return EOFError()


def _let_go() -> None:
    """Point standard output nowhere, so that nothing written later, at exit included, fails again."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


@functools.cache
def _codes(style: str) -> tuple[str, str]:
    """Return what switches a style on and off; rich knows the names of styles and the codes of terminals."""
    from rich.style import Style

    before, _, after = Style.parse(style).render("\0").partition("\0")
    return before, after


def styled(text: str, style: str) -> str:
    """Return a text between the codes of a style."""
    before, after = _codes(style) if style else ("", "")
    return f"{before}{text}{after}"
