"""What a large board keeps one waiting for, a line at a time on the error stream; small boards say nothing.

Lines and no bar: they read the same in a log, over a slow line and by a screen reader.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

__all__ = ["count_for", "words_for"]

#: parts from which on a command may keep one waiting long enough to say what it does.
_LARGE = 300
_LINES = 100


def words_for(parts: int) -> Callable[[str], None]:
    """Return what tells of each step in words on a board of so many parts."""

    def tell(step: str) -> None:
        print(f"solving: {step}", file=sys.stderr, flush=True)

    return tell if parts >= _LARGE else lambda _: None


def count_for(parts: int, what: str) -> Callable[[int, int], None]:
    """Return what tells how many of how many are done, some hundred times in all."""

    def tell(done: int, total: int) -> None:
        if done == total or done % max(1, total // _LINES) == 0:
            print(f"{what}: {done} of {total}", file=sys.stderr, flush=True)

    return tell if parts >= _LARGE else lambda _done, _total: None
