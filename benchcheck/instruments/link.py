"""A link to one instrument: one owner, one outstanding message, and no answer taken on trust.

Every message has an absolute deadline and a byte cap. Where the instrument takes several commands at once, each
message ends with a token that the answer must repeat: a late, stale or unasked line can then never pass for an
answer. After a timeout, a broken answer or an interrupt the link is *dirty* and answers nothing until `recover`
has closed and reopened it and found identity and error queue in order.
"""

from __future__ import annotations

import functools
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from benchcheck.clock import Clock
from benchcheck.errors import InstrumentError
from benchcheck.instruments.dialect import LinkManners, fill
from benchcheck.instruments.reply import split_answers
from benchcheck.instruments.transcript import Transcript
from benchcheck.instruments.transport import Opener, Transport
from benchcheck.instruments.wire import LineReader, echo_removed, is_question, joined

__all__ = ["Link", "LinkState"]

Shape = TypeVar("Shape")
SLICE_S = 0.2  # how long a wait may last before whoever owns the link is asked whether to go on
TOKENS = 255  # *ESE takes 0 to 255 (IEEE 488.2, 11.5.1.3); 0 is left out, since idle instruments answer it
LOCK_WAIT_S = 30.0
MAX_SKIPPED = 100


@dataclass(slots=True)
class LinkState:
    """What is known of a link: `dirty` says why it may not be used, `generation` counts reopenings.

    `unsent` says that the last failure came before anything was sent, so that asking again repeats nothing.
    """

    dirty: str = "not opened yet"
    generation: int = 0
    identity: str = ""
    longest_wait_s: float = 0.0
    unsent: bool = False


class Link:
    """The way to one instrument. Not to be shared between processes; threads are served one after the other."""

    def __init__(
        self,
        name: str,
        opener: Opener,
        manners: LinkManners,
        clock: Clock,
        while_waiting: Callable[[], None] | None = None,
    ) -> None:
        """Name the instrument for messages; `while_waiting` is called several times a second during waits."""
        self.name, self.clock = name, clock
        self.state = LinkState()
        self.transcript = Transcript()
        self.while_waiting = while_waiting
        self._opener = opener
        self._transport: Transport | None = None
        self.set_manners(manners)
        self._turn = _Turn(threading.Lock(), name)
        self._owner = os.getpid()
        self._token = 0
        self._quiet_since_s = float("-inf")

    # ---- what drivers use

    def exchange(self, *pieces: str, timeout_s: float | None = None) -> tuple[str, ...]:
        """Send commands and questions, in one message where the instrument allows, and return the answers.

        InstrumentError when the link is dirty, and for anything but exactly one answer to each question.
        """
        wait_s = timeout_s if timeout_s is not None else self.manners.reply_timeout_ms / 1e3
        with self._my_turn():
            self._refuse_if_dirty()
            self.state.unsent = True
            try:
                if self.joins:
                    return self._in_one_message(pieces, wait_s)
                return self._one_by_one(pieces, wait_s)
            except (TimeoutError, ConnectionError, ValueError) as reason:
                raise self._out_of_step(f"{self._shown(pieces)}: {reason}") from reason
            except BaseException as reason:
                self.state.dirty = f"interrupted by {type(reason).__name__} while waiting"
                raise

    def query(self, question: str, shape: Callable[[str], Shape], timeout_s: float | None = None) -> Shape:
        """Return one answer in the shape asked for; an answer of any other shape makes the link dirty."""
        (answer,) = self.exchange(question, timeout_s=timeout_s)
        return self.shaped(question, answer, shape)

    def shaped(self, question: str, answer: str, shape: Callable[[str], Shape]) -> Shape:
        """Return an answer in its shape; InstrumentError and a dirty link when it has another."""
        try:
            return shape(answer)
        except ValueError as reason:
            raise self._out_of_step(f"answer to {question}: {reason}") from reason

    def blurt(self, *commands: str, timeout_s: float = 0.3) -> bool:
        """Send commands whatever state the link is in and read nothing; return whether all bytes left.

        For switching off in an emergency only. The link is dirty afterwards.
        """
        self.state.dirty = self.state.dirty or "commands were sent without waiting for anything"
        if self._transport is None:
            return False
        sent = True
        for command in commands:
            try:
                self._keep_gap()
                self._transport.send((command + self.manners.write_term).encode("ascii"), timeout_s)
                self._said("sent", command)
            except (TimeoutError, ConnectionError):
                sent = False
        return sent

    def barrier(self) -> None:
        """Make sure that no answer is left over: the instrument must say its name, and only that."""
        if self.binds:
            return
        (answer,) = self.exchange(self.manners.identify)
        if answer != self.state.identity:
            raise self._out_of_step(f"an answer too many: {answer!r} where the identity was expected")

    def close(self) -> None:
        """Close the carrier; the link is dirty until it is recovered."""
        if self._transport is not None:
            self._transport.close()
            self._transport = None
        self.state.dirty = self.state.dirty or "closed"

    def mark(self, reason: str) -> None:
        """Declare the link dirty for a reason found elsewhere."""
        self.state.dirty = self.state.dirty or reason

    # ---- reopening, for `recovery`

    def reopen(self, quiet_s: float) -> None:
        """Close and open the carrier; ConnectionError or TimeoutError as the carrier has it."""
        old, self._transport = self._transport, None
        if old is not None:
            old.clear()
            old.close()
        if self.while_waiting is not None:
            self.while_waiting()
        self._transport = self._opener()
        self._reader = LineReader(self.manners)
        self.state.generation += 1
        if self._transport.persistent:
            self._drain(quiet_s)
        self._said("noted", f"opened, generation {self.state.generation}")

    def ask_raw(self, question: str, timeout_s: float) -> str:
        """Send one question and return the next line, dirty or not; for recovery only."""
        with self._my_turn():
            self._send(question)
            return echo_removed(self._line(self.clock.monotonic_s() + timeout_s), question, self.manners)

    def send_raw(self, command: str) -> None:
        """Send one command, dirty or not; for recovery only."""
        with self._my_turn():
            self._send(command)

    def set_manners(self, manners: LinkManners) -> None:
        """Change the manners once the dialect is known."""
        self.manners = manners
        self.joins = bool(manners.join)  # whether several commands go in one message
        self.binds = bool(manners.join and manners.token)  # whether every answer repeats a token
        self._reader = LineReader(manners)

    # ---- inside

    def _in_one_message(self, pieces: Sequence[str], wait_s: float) -> tuple[str, ...]:
        questions = [piece for piece in pieces if is_question(piece)]
        expected = len(questions)
        bound = self.binds and expected > 0
        token, message = "", joined(pieces, self.manners.join)
        if bound:
            token = self._next_token()
            message = joined((message, _bound(self.manners.token, token)), self.manners.join)
        self._sweep(bound)
        self.state.unsent = False
        self._send(message)
        deadline_s = self._deadline(wait_s)
        for _ in range(MAX_SKIPPED if expected else 0):
            line = self._line(deadline_s)
            answers = split_answers(line)
            if not bound or (len(answers) == expected + 1 and answers[-1].strip() == token):
                self._nothing_left(bound)
                return self._counted(answers[:expected] if bound else answers, questions)
            self._said("noted", "not the answer, skipped")
        if expected:
            raise ValueError(f"{MAX_SKIPPED} lines and the answer not among them")
        return ()

    def _counted(self, answers: Sequence[str], questions: Sequence[str]) -> tuple[str, ...]:
        if len(answers) != len(questions):
            raise ValueError(f"{len(answers)} answers to {len(questions)} questions")
        if not self.manners.header_echo:
            return tuple(map(str.strip, answers))
        pairs = zip(answers, questions, strict=True)
        return tuple(echo_removed(answer.strip(), question, self.manners) for answer, question in pairs)

    def _one_by_one(self, pieces: Sequence[str], wait_s: float) -> tuple[str, ...]:
        answers = []
        for piece in pieces:
            self._sweep(False)
            self.state.unsent = False
            self._send(piece)
            if is_question(piece):
                line = self._line(self._deadline(wait_s))
                answers.append(echo_removed(line, piece, self.manners))
                self._nothing_left(False)
            elif self.manners.set_ack:
                acknowledged = self._line(self._deadline(wait_s))
                if acknowledged != self.manners.set_ack:
                    raise ValueError(f"{acknowledged!r} instead of {self.manners.set_ack!r}")
        return tuple(answers)

    def _next_token(self) -> str:
        self._token = self._token % TOKENS + 1
        return str(self._token)

    def _deadline(self, wait_s: float) -> float:
        self.state.longest_wait_s = max(self.state.longest_wait_s, wait_s)
        return self.clock.monotonic_s() + wait_s

    def _send(self, text: str) -> None:
        if self._transport is None:
            raise ConnectionError("the link is closed")
        self._keep_gap()
        self._transport.send((text + self.manners.write_term).encode("ascii"), self.manners.reply_timeout_ms / 1e3)
        self._said("sent", text)
        if self.manners.query_delay_ms:
            self.clock.sleep(self.manners.query_delay_ms / 1e3)

    def _keep_gap(self) -> None:
        """Wait until the instrument is ready for the next message (some drop what comes too early)."""
        gap_s = self.manners.min_gap_ms / 1e3
        if gap_s:
            self.clock.sleep(self._quiet_since_s + gap_s - self.clock.monotonic_s())

    def _line(self, deadline_s: float) -> str:
        """Return the next line that is not declared as noise, before an absolute deadline."""
        while True:
            line = self._reader.take()
            if line is not None:
                self._said("received", line)
                if not self._reader.is_noise(line):
                    return line
                continue
            self._more(deadline_s)

    def _more(self, deadline_s: float) -> None:
        if self._transport is None:
            raise ConnectionError("the link is closed")
        left_s = deadline_s - self.clock.monotonic_s()
        if left_s <= 0:
            raise TimeoutError(f"no complete answer in time{self._reader.remains()}")
        gap_s = self._reader.gap_s()
        try:
            chunk = self._transport.receive(4096, min(left_s, SLICE_S, gap_s))
        except TimeoutError:
            if gap_s < min(left_s, SLICE_S):
                self._reader.ended_by_gap()
        else:
            self._reader.feed(chunk)
        if self.while_waiting is not None:
            self.while_waiting()

    def _sweep(self, bound: bool) -> None:
        """Take in what was said before anything was asked: noise is dropped, anything else is out of step."""
        if self._transport is not None and self._reader.idle and not self._transport.waiting():
            return
        while self._transport is not None and self._transport.waiting():
            self._reader.feed(self._transport.receive(4096, 0.0))
        while (line := self._reader.take()) is not None:
            self._said("received", line)
            if not bound and not self._reader.is_noise(line):
                raise ValueError(f"{line!r} was said without being asked for")
        if self._reader.remains() and not bound:
            raise ValueError(f"something was said without being asked for{self._reader.remains()}")
        self._reader.forget()

    def _nothing_left(self, bound: bool) -> None:
        """An answer must be the only one; a second line would answer the next question."""
        while not bound and (line := self._reader.take()) is not None:
            self._said("received", line)
            if not self._reader.is_noise(line):
                raise ValueError(f"{line!r} came on top of the answer")

    def _drain(self, quiet_s: float) -> None:
        """Read until nothing has come for `quiet_s` seconds, at most ten times as long."""
        last_s = self.clock.monotonic_s() + 10 * quiet_s
        while self._transport is not None and self.clock.monotonic_s() < last_s:
            try:
                self._transport.receive(65536, quiet_s)
            except TimeoutError:
                return
        raise TimeoutError("the instrument does not stop talking")

    def _my_turn(self) -> _Turn:
        if os.getpid() != self._owner:
            raise InstrumentError(f"{self.name}: the link belongs to another process; open one of its own")
        return self._turn

    def _refuse_if_dirty(self) -> None:
        if self.state.dirty:
            raise InstrumentError(
                f"{self.name}: the link is out of step ({self.state.dirty}); nothing is read until it is recovered"
            )

    def _out_of_step(self, reason: str) -> InstrumentError:
        self.state.dirty = self.state.dirty or reason
        return InstrumentError(f"{self.name}: {reason}")

    def _said(self, direction: str, text: str) -> None:
        now_s = self.clock.monotonic_s()
        self._quiet_since_s = now_s
        self.transcript.add(now_s, direction, text)

    @staticmethod
    def _shown(pieces: Sequence[str]) -> str:
        return "; ".join(pieces)[:120]


@functools.lru_cache(2 * TOKENS)
def _bound(template: str, token: str) -> str:
    return fill(template, token=token)


class _Turn:
    """The right to talk: a lock that says who waits for what when it cannot be had."""

    def __init__(self, lock: threading.Lock, name: str) -> None:
        self._lock, self._name = lock, name

    def __enter__(self) -> None:
        if not self._lock.acquire(timeout=LOCK_WAIT_S):
            raise InstrumentError(
                f"{self._name}: another thread has been waiting for an answer for {LOCK_WAIT_S:g} s"
            )

    def __exit__(self, *_: object) -> None:
        self._lock.release()
