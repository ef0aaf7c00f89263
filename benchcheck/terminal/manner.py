"""How a visit at a terminal is to be shown and heard, and whether the screen can be had at all."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass

__all__ = ["Manner"]


@dataclass(frozen=True, slots=True)
class Manner:
    """`linear`: a line an event, no cursor movement, for screen readers; `silent`: no sound; `spoken`: words too."""

    linear: bool = False
    silent: bool = False
    spoken: bool = False

    def on_screen(self) -> bool:
        """Return whether the guided screen serves: a terminal on both sides that can place its cursor."""
        both = sys.stdin.isatty() and sys.stdout.isatty()
        return both and not self.linear and os.environ.get("TERM", "dumb") != "dumb"
