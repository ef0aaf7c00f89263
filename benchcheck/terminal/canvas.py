"""A screen that is painted line by line, and only where something changed: quick over a slow line.

Nothing but cursor addressing and erasing is asked of the terminal (ECMA-48), the second screen buffer where it has
one. Without colour the same words stand there. When the terminal goes away, painting simply stops.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from benchcheck.document.files import printable
from benchcheck.terminal.screen import coloured, styled

__all__ = ["Canvas", "Line"]

_ENTER = "\x1b[?1049h\x1b[?2004h\x1b[?25l\x1b[2J"
_LEAVE = "\x1b[?25h\x1b[?2004l\x1b[?1049l"
_LEAST_COLUMNS, _LEAST_ROWS = 10, 4


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the screen: its text, the style of its first `styled` signs (all of them where None)."""

    text: str
    style: str = ""
    styled: int | None = None


@dataclass(slots=True)
class Canvas:
    """The painted screen; `send` writes to the terminal, standard output unless told otherwise."""

    send: Callable[[str], object] = field(default_factory=lambda: _to_standard_output)
    gone: bool = False
    _shown: list[str] = field(default_factory=list)
    _size: tuple[int, int] = (0, 0)

    def enter(self) -> None:
        """Clear the screen and hide the cursor."""
        self._shown, self._size = [], (0, 0)
        self._write(_ENTER)

    def leave(self) -> None:
        """Give the screen back as it was."""
        self._write(_LEAVE)

    def size(self) -> tuple[int, int]:
        """Return columns and rows, 80 by 24 where the terminal does not say."""
        try:
            found = os.get_terminal_size(sys.stdout.fileno())
        except (OSError, ValueError):
            return 80, 24
        columns, rows = found.columns or 80, found.lines or 24
        return max(_LEAST_COLUMNS, columns), max(_LEAST_ROWS, rows)

    def paint(self, lines: Sequence[Line], size: tuple[int, int]) -> None:
        """Show lines from the top; those that are as before are left alone."""
        columns, rows = size
        wanted = [_rendered(line, columns) for line in lines[:rows]]
        wanted += [""] * (rows - len(wanted))
        anew = size != self._size
        before = [""] * rows if anew else self._shown
        changed = [
            f"\x1b[{row};1H{text}\x1b[K" for row, text in enumerate(wanted, 1) if anew or text != before[row - 1]
        ]
        if changed:
            self._write(("\x1b[0m\x1b[2J" if anew else "") + "".join(changed))
        self._shown, self._size = wanted, size

    def bell(self) -> None:
        """Ring."""
        self._write("\a")

    def _write(self, text: str) -> None:
        if self.gone:
            return
        try:
            self.send(text)
        except (OSError, ValueError):
            self.gone = True


def _to_standard_output(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def _rendered(line: Line, columns: int) -> str:
    """Return a line as it is sent: no wider than the screen, no sign in it that would move the cursor."""
    text = line.text if line.text.isprintable() else printable(line.text)
    if len(text) > columns:
        text = text[: columns - 1] + "~"
    text = text.rstrip()
    if not line.style or not coloured():
        return text
    size = len(text) if line.styled is None else line.styled
    return styled(text[:size], line.style) + text[size:]
