"""On which line each key of a TOML text stands: tomllib says nothing about values that parse but are wrong.

A scanner over the tokens of a text that tomllib has accepted already, so it need not judge, only follow along:
headers, arrays of tables, dotted and quoted keys, inline tables and arrays. A key path is a tuple of keys (str)
and places in arrays (int). A table that is only implied stands where it is first mentioned.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import NamedTuple

__all__ = ["KeyPath", "key_lines"]

KeyPath = tuple[str | int, ...]

#: one token; multi-line strings first. Alternatives within a string differ in their first sign: no backtracking.
TOKEN = re.compile(
    r'''
    (?P<space>[ \t\r]+) | (?P<comment>\#[^\n]*) | (?P<newline>\n)
    | (?P<string> """(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}
                | \'\'\'(?:[^']|'{1,2}(?!'))*'{3,5}
                | "(?:[^"\\\n]|\\.)*" | '[^'\n]*')
    | (?P<sign>[\[\]{}=,.]) | (?P<bare>[^\s"'\#\[\]{}=,.]+)
    ''',
    re.VERBOSE | re.DOTALL,
)


class Token(NamedTuple):
    """A piece of TOML that is neither space nor comment, and the line it starts on."""

    kind: str
    text: str
    line: int


def tokens(text: str) -> Iterator[Token]:
    """Yield the tokens of a text; line ends are tokens, as they end statements outside brackets."""
    line = 1
    for match in TOKEN.finditer(text):
        kind = match.lastgroup or ""
        if kind not in ("space", "comment"):
            yield Token(kind, match[0], line)
        line += match[0].count("\n") if kind in ("newline", "string") else 0


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the line, from 1, of every key path of a valid TOML text."""
    return _Scanner(text).run()


class _Scanner:
    """One pass over the tokens; what is open (arrays, inline tables) follows the call stack."""

    def __init__(self, text: str) -> None:
        self.tokens = [*tokens(text), Token("end", "", 0)]
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.defined: set[KeyPath] = set()
        self.tables: dict[KeyPath, int] = {}  # array of tables -> number of its last table

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        while self.peek().kind != "end":
            if self.peek().kind == "newline":
                self.at += 1
            elif self.peek().text == "[":
                table = self.header()
            else:
                self.pair(table)
        return self.lines

    def peek(self) -> Token:
        return self.tokens[self.at]

    def take(self) -> Token:
        self.at += 1
        return self.tokens[self.at - 1]

    def skip_newlines(self) -> None:
        while self.peek().kind == "newline":
            self.at += 1

    def key(self) -> list[str]:
        """Return the parts of a dotted key and stop behind it."""
        parts = [_key_part(self.take())]
        while self.peek().text == ".":
            self.at += 1
            parts.append(_key_part(self.take()))
        return parts

    def note(self, path: KeyPath, line: int) -> None:
        """Keep the line of a definition, and of ancestors that are only implied so far."""
        for depth in range(1, len(path)):
            self.lines.setdefault(path[:depth], line)
        if path not in self.defined:
            self.lines[path] = line
            self.defined.add(path)

    def header(self) -> KeyPath:
        """Follow `[a.b]` or `[[a.b]]` and return the path of the table it opens."""
        line = self.take().line
        is_array = self.peek().text == "["
        self.at += is_array
        parts = self.key()
        self.at += 1 + is_array
        path: KeyPath = ()
        for part in parts[:-1]:
            path = self.entered((*path, part))
        path = (*path, parts[-1])
        if not is_array:
            self.note(path, line)
            return path
        self.tables[path] = self.tables.get(path, -1) + 1
        self.note(path, line)
        path = (*path, self.tables[path])
        self.note(path, line)
        return path

    def entered(self, path: KeyPath) -> KeyPath:
        """Return the path, gone on into the last table if it is an array of tables."""
        return (*path, self.tables[path]) if path in self.tables else path

    def pair(self, table: KeyPath) -> None:
        line = self.peek().line
        path = (*table, *self.key())
        self.at += 1  # the equals sign
        self.note(path, line)
        self.value(path)

    def value(self, path: KeyPath) -> None:
        text = self.peek().text
        if text == "[":
            self.array(path)
        elif text == "{":
            self.inline_table(path)
        else:
            self.scalar()

    def scalar(self) -> None:
        """Skip a scalar; numbers and times come in several tokens."""
        while (token := self.peek()).kind in ("bare", "string") or token.text == ".":
            self.at += 1

    def array(self, path: KeyPath) -> None:
        self.at += 1
        place = 0
        self.skip_newlines()
        while self.peek().text != "]":
            self.note((*path, place), self.peek().line)
            self.value((*path, place))
            place += 1
            self.skip_newlines()
            if self.peek().text == ",":
                self.at += 1
                self.skip_newlines()
        self.at += 1

    def inline_table(self, path: KeyPath) -> None:
        self.at += 1
        self.skip_newlines()
        while self.peek().text != "}":
            self.pair(path)
            self.skip_newlines()
            if self.peek().text == ",":
                self.at += 1
                self.skip_newlines()
        self.at += 1


def _key_part(token: Token) -> str:
    """Return a key as tomllib reads it: bare as it stands, quoted without quotes and escapes."""
    if token.text.startswith("'"):
        return token.text[1:-1]
    if token.text.startswith('"'):
        if "\\" not in token.text:
            return token.text[1:-1]
        return str(tomllib.loads(f"key = {token.text}")["key"])
    return token.text
