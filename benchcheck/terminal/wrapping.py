"""Words laid out in lines of at most 80 columns.

Greedy, and several times faster than textwrap, which would cost more per check than scoring does.
"""

from __future__ import annotations

__all__ = ["WIDTH", "wrapped"]

WIDTH = 80


def wrapped(words: str, indent: str = "", hanging: str = "", width: int = WIDTH) -> list[str]:
    """Return words in lines of at most `width` columns; only a single word longer than that (a path) stands out.

    `indent` stands before the first line, `hanging` before the others.

    >>> wrapped("expect 4.65 kohm to 4.75 kohm", "  ")
    ['  expect 4.65 kohm to 4.75 kohm']
    """
    lines: list[str] = []
    line, empty = indent, True
    for word in words.split():
        if not empty and len(line) + 1 + len(word) > width:
            lines.append(line)
            line, empty = hanging, True
        line += word if empty else f" {word}"
        empty = False
    return lines if empty else [*lines, line]
