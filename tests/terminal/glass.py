"""A pane of glass: what a terminal would show of what was written to it, for the few sequences our screen uses."""

from __future__ import annotations

import re

_TOKEN = re.compile(
    r"\x1b\[(?P<arguments>[?0-9;]*)(?P<final>[A-Za-z])|(?P<control>[\r\n\b\a])|(?P<text>[^\x1b\r\n\b\a]+)"
)


class Glass:
    """A screen of `columns` by `rows`; it refuses any sequence it does not know."""

    def __init__(self, columns: int = 80, rows: int = 24) -> None:
        self.columns, self.rows = columns, rows
        self.cells = [[" "] * columns for _ in range(rows)]
        self.row = self.column = self.bells = 0
        self.alternate = False

    def write(self, text: str) -> None:
        place = 0
        while place < len(text):
            found = _TOKEN.match(text, place)
            assert found, f"not known: {text[place : place + 12]!r}"
            place = found.end()
            if found["text"]:
                self._print(found["text"])
            elif found["control"]:
                self._control(found["control"])
            else:
                self._sequence(found["arguments"], found["final"])

    def _print(self, text: str) -> None:
        for sign in text:
            assert self.column < self.columns, f"beyond the right edge in row {self.row + 1}: {text!r}"
            self.cells[self.row][self.column] = sign
            self.column += 1

    def _control(self, sign: str) -> None:
        if sign == "\a":
            self.bells += 1
        elif sign == "\r":
            self.column = 0
        elif sign == "\n":
            self.row = min(self.rows - 1, self.row + 1)

    def _sequence(self, arguments: str, final: str) -> None:
        if final == "H":
            row, column = (int(word) for word in arguments.split(";"))
            assert 1 <= row <= self.rows, f"row {row} is below the screen"
            self.row, self.column = row - 1, column - 1
        elif final == "K":
            self.cells[self.row][self.column :] = [" "] * (self.columns - self.column)
        elif final == "J":
            self.cells = [[" "] * self.columns for _ in range(self.rows)]
        elif final in "hl":
            self.alternate = final == "h" if arguments == "?1049" else self.alternate
            assert arguments in ("?1049", "?2004", "?25"), arguments
        else:
            assert final == "m", final

    @property
    def lines(self) -> list[str]:
        return ["".join(row).rstrip() for row in self.cells]

    @property
    def text(self) -> str:
        return "\n".join(self.lines)
