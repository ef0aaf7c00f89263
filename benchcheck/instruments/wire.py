"""Bytes into lines and commands into messages: terminators, blocks of binary data, noise, echoed headers.

A line ends at LF whatever stands around it (LF, CR LF, LF CR), at the end mark of a carrier that has one, or, for
instruments without a terminator, at a gap. An answer that starts as a definite block is counted, not searched for LF.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence

from benchcheck.instruments.dialect import LinkManners
from benchcheck.instruments.transport import Chunk

__all__ = ["LineReader", "echo_removed", "is_question", "joined"]

ECHOED = re.compile(r"([A-Z*:][A-Z0-9:*]*\??)\s+(.+)", re.IGNORECASE | re.DOTALL)
MAX_NOISE_LINES = 100


class LineReader:
    """Collects bytes and hands out lines; ValueError when there are too many or they are not text."""

    def __init__(self, manners: LinkManners, encoding: str = "ascii") -> None:
        """Take terminators, caps and noise patterns from the manners of a link."""
        self._manners, self._encoding = manners, encoding
        self._ending = manners.read_term.encode("ascii") or b"\n"
        self._noise = [re.compile(pattern) for pattern in manners.drop_lines]
        self._buffer = bytearray()
        self._end = False
        self._noisy = 0

    @property
    def idle(self) -> bool:
        """Whether nothing is held back."""
        return not self._buffer

    def feed(self, chunk: Chunk) -> None:
        """Add bytes; ValueError beyond the byte cap, so that an endless stream ends."""
        self._buffer += chunk.data
        self._end = chunk.end
        if len(self._buffer) > self._manners.max_reply_bytes:
            raise ValueError(f"more than {self._manners.max_reply_bytes} bytes without an end")

    def ended_by_gap(self) -> None:
        """Say that the instrument has paused: without terminators that is the end of an answer."""
        self._end = bool(self._buffer)

    def gap_s(self) -> float:
        """Return the pause in seconds that ends an answer; infinite where terminators do."""
        return self._manners.reply_gap_ms / 1e3 if self._buffer and not self._manners.terminated else float("inf")

    def take(self) -> str | None:
        """Return the next complete line, stripped; None when there is none yet.

        Without terminators nothing is stripped: the answer may be one raw status byte.
        """
        if not self._buffer:
            return None
        raw = not self._manners.terminated
        while (data := self._cut()) is not None:
            try:
                text = data.decode("latin-1" if raw or data.startswith(b"#") else self._encoding)
            except UnicodeDecodeError:
                raise ValueError(f"bytes that are no text: {bytes(data[:24])!r}") from None
            line = text if raw else text.strip(self._manners.read_strip)
            if line or raw:
                return line
        return None

    def _cut(self) -> bytearray | None:
        """Return and remove the bytes of one line, without its terminator."""
        size = self._block_size() if self._buffer.startswith(b"#") else 0
        if size < 0:
            return None
        at = self._buffer.find(self._ending, size) if self._manners.terminated else -1
        if at < 0 and not (self._end and self._buffer):
            return None
        at = len(self._buffer) if at < 0 else at
        line, self._buffer = self._buffer[:at], self._buffer[at + len(self._ending) :]
        if not self._buffer:
            self._end = False
        return line

    def _block_size(self) -> int:
        """Return where a definite block ends, 0 when it is none after all, -1 when it is not complete yet."""
        first = bytes(self._buffer[1:2])
        if first == b"0" or (first and not first.isdigit()):
            return 0
        if not first:
            return -1
        digits = int(first)
        count = self._buffer[2 : 2 + digits]
        if count and not count.isdigit():
            raise ValueError(f"a broken block header {bytes(self._buffer[:12])!r}")
        size = 2 + digits + int(count) if len(count) == digits else 0
        return size if size and len(self._buffer) >= size else -1

    def is_noise(self, line: str) -> bool:
        """Return whether a line is of the unsolicited kind the dialect declares; ValueError at far too many."""
        if not self._noise:
            return False
        found = any(pattern.search(line) for pattern in self._noise)
        self._noisy += found
        if self._noisy > MAX_NOISE_LINES:
            raise ValueError(f"more than {MAX_NOISE_LINES} lines nobody asked for")
        return found

    def remains(self) -> str:
        """Return ", only ... so far" for an incomplete line, or nothing."""
        if not self._buffer:
            return ""
        left = self._buffer.strip(self._manners.read_strip.encode("ascii"))  # LF CR leaves its CR behind
        return f", only {bytes(left[:40])!r} so far" if left else ""

    def forget(self) -> None:
        """Drop an incomplete line and start counting noise anew."""
        self._buffer.clear()
        self._end = False
        self._noisy = 0


@functools.lru_cache(4096)
def is_question(piece: str) -> bool:
    """Return whether the last command of a piece asks something.

    >>> is_question("MEAS:VOLT? (@1)"), is_question("VOLT 5"), is_question("*ESE 3;*ESE?")
    (True, False, True)
    """
    return "?" in piece.rsplit(";", 1)[-1].split(" ", 1)[0]


def joined(pieces: Sequence[str], join: str) -> str:
    """Return pieces as one message; common commands and rooted headers take a bare semicolon.

    >>> joined(["VOLT 5", "VOLT?", "*ESE 3;*ESE?"], ";:")
    'VOLT 5;:VOLT?;*ESE 3;*ESE?'
    """
    return pieces[0] + _continued(tuple(pieces[1:]), join)


@functools.lru_cache(4096)
def _continued(pieces: tuple[str, ...], join: str) -> str:
    return "".join((";" if piece.startswith(("*", ":")) else join) + piece for piece in pieces)


def echo_removed(answer: str, question: str, manners: LinkManners) -> str:
    """Return an answer without the header it repeats, where the dialect says that it does.

    >>> echo_removed("V1 5.00", "V1?", LinkManners(header_echo=True))
    '5.00'
    """
    if not manners.header_echo:
        return answer
    found = ECHOED.fullmatch(answer)
    if found is None:
        return answer
    asked = question.split(" ", 1)[0].rstrip("?").upper()
    if question == manners.identify and found[1].rstrip("?").upper() != asked:
        return answer
    return found[2]
