"""The command tree of a simulated instrument: headers with short and long forms, paths, parameters.

`MEASure:VOLTage[:DC]?` accepts MEAS or MEASURE but nothing between, :DC or not, in any case (SCPI-99, 6.2). After a
semicolon a header goes on at the level of the one before; a leading colon starts at the root; common commands do
not move the level.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

__all__ = ["Command", "CommandTree", "ScpiFault", "Unit", "units_of"]

PIECE = re.compile(r"[A-Z0-9]+|[a-z]+|.")
PARAMETER = re.compile(r'\s*((?:"(?:[^"]|"")*"|\((?:[^)]*)\)|[^,])*)(?:,|$)')


class ScpiFault(Exception):
    """An entry for the error queue: a standard code and its text."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(f'{code},"{text}"')
        self.code, self.text = code, text


@dataclass(frozen=True, slots=True)
class Unit:
    """One command of a message: its full header in capitals (with ? for a question) and its parameters."""

    header: str
    parameters: tuple[str, ...]


Handler = Callable[..., str | None]


@dataclass(frozen=True, slots=True)
class Command:
    """One header and what it does; `minimum` and `maximum` count its parameters."""

    pattern: re.Pattern[str]
    handler: Handler
    minimum: int
    maximum: int


class CommandTree:
    """All headers of an instrument."""

    def __init__(self) -> None:
        self._commands: list[Command] = []
        self._found: dict[str, Command] = {}

    def add(self, header: str, handler: Handler, minimum: int = 0, maximum: int | None = None) -> None:
        """Add a header in the notation of the standard; later headers come after earlier ones."""
        most = minimum if maximum is None else maximum
        self._commands.append(Command(_pattern(header), handler, minimum, most))

    def find(self, unit: Unit) -> Command:
        """Return the command for a unit; ScpiFault -113, -108 or -109 as the standard has it."""
        command = self._found.get(unit.header)
        if command is None:
            command = next((known for known in self._commands if known.pattern.fullmatch(unit.header)), None)
            if command is None:
                raise ScpiFault(-113, "Undefined header")
            self._found[unit.header] = command
        if len(unit.parameters) < command.minimum:
            raise ScpiFault(-109, "Missing parameter")
        if len(unit.parameters) > command.maximum:
            raise ScpiFault(-108, "Parameter not allowed")
        return command


def _pattern(header: str) -> re.Pattern[str]:
    """Turn the standard's notation into a pattern over capitals."""
    signs = {"[": "(?:", "]": ")?"}
    pieces = PIECE.findall(header)
    text = "".join(
        f"(?:{piece.upper()})?" if piece.islower() else signs.get(piece, re.escape(piece)) for piece in pieces
    )
    return re.compile(text)


def units_of(message: str) -> Iterator[Unit]:
    """Yield the commands of a message with their full headers; ScpiFault -102 for an open quote."""
    level: tuple[str, ...] = ()
    for text in _split(message):
        words = text.strip().split(None, 1)
        if not words:
            continue
        header = words[0].upper()
        if not header.startswith("*"):
            nodes = tuple(node for node in header.split(":") if node)
            nodes = nodes if header.startswith(":") else (*level, *nodes)
            level, header = nodes[:-1], ":".join(nodes)
        yield Unit(header, _parameters(words[1]) if len(words) > 1 else ())


def _split(message: str) -> list[str]:
    parts, quoted, start = [], False, 0
    for place, sign in enumerate(message):
        if sign == '"':
            quoted = not quoted
        elif sign == ";" and not quoted:
            parts.append(message[start:place])
            start = place + 1
    if quoted:
        raise ScpiFault(-102, "Syntax error")
    return [*parts, message[start:]]


def _parameters(text: str) -> tuple[str, ...]:
    return tuple(found[1].strip() for found in PARAMETER.finditer(text) if found[0])
