"""What was said on a link, with times: a wrong answer must be explainable afterwards.

The last messages are kept in full; a running SHA-256 covers all of them, so that a kept excerpt can be placed.
"""

from __future__ import annotations

import hashlib
from collections import deque
from dataclasses import dataclass

__all__ = ["Message", "Transcript"]

HASHED_TOGETHER = 64


@dataclass(frozen=True, slots=True)
class Message:
    """One message; `direction` is "sent", "received" or "noted", `at_s` monotonic seconds."""

    at_s: float
    direction: str
    text: str

    def __str__(self) -> str:
        """Return the message as one line."""
        return f"{self.at_s:.6f} {self.direction} {self.text!r}"


class Transcript:
    """A bounded log of messages."""

    def __init__(self, kept: int = 400) -> None:
        """Keep the last `kept` messages."""
        self._messages: deque[tuple[float, str, str]] = deque(maxlen=kept)
        self._hash = hashlib.sha256()
        self._unhashed: list[tuple[str, str]] = []
        self.count = 0

    def add(self, at_s: float, direction: str, text: str) -> None:
        """Log one message at a monotonic time in seconds."""
        self._messages.append((at_s, direction, text))
        self._unhashed.append((direction, text))
        self.count += 1
        if len(self._unhashed) >= HASHED_TOGETHER:
            self._catch_up()

    def _catch_up(self) -> None:
        self._hash.update("".join(f"{direction} {text}\n" for direction, text in self._unhashed).encode())
        self._unhashed.clear()

    @property
    def messages(self) -> tuple[Message, ...]:
        """The messages still kept, oldest first."""
        return tuple(Message(*one) for one in self._messages)

    @property
    def digest(self) -> str:
        """SHA-256 over all messages so far, lower-case hexadecimal."""
        self._catch_up()
        return self._hash.hexdigest()
