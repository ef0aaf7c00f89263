"""What all drivers share: getting the link in step before asking, and errors that say what the instrument said.

A setting is never repeated by itself after a failure: it may have been carried out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from benchcheck.errors import BenchError, Fault, InstrumentError
from benchcheck.instruments.connection import Connection
from benchcheck.instruments.link import Link
from benchcheck.instruments.recovery import POWER_ON_BIT, Recovery, drain_errors, probe, recover
from benchcheck.instruments.reply import QueueEntry, read_error, read_integer

__all__ = ["Driver", "answers_reliably", "within"]

Shape = TypeVar("Shape")


class Driver:
    """The common part of a meter, supply or load; `explains` says whether a failure is looked into at once."""

    def __init__(self, connection: Connection) -> None:
        """Take over a connection."""
        self.connection = connection
        self.name, self.link, self.clock = connection.name, connection.link, connection.link.clock
        self.notes: list[str] = list(connection.notes)
        self.errors_found: list[QueueEntry] = list(connection.errors)
        manners = connection.link.manners
        self._checks = tuple(question for question in (manners.error_query, manners.event_status) if question)
        self.restarted = False
        self.explains = True
        self.recover_s: float | None = None

    def close(self) -> None:
        """Close the link and release the instrument."""
        self.connection.close()

    def ready(self) -> None:
        """Bring the link in step if it is not; InstrumentError when that fails or the instrument was restarted."""
        if self.link.state.dirty:
            self._take(recover(self.link, self.recover_s))
        if self.restarted:
            raise InstrumentError(
                f"{self.name}: was switched off and on, its settings are gone; check its mains and start again"
            )

    def acknowledge_restart(self) -> None:
        """Go on with an instrument that was switched off and on, as a new start."""
        self.restarted = False

    def ask(self, *pieces: str, timeout_s: float | None = None) -> tuple[str, ...]:
        """Return the answers to one message; InstrumentError says what the instrument's error queue had on it."""
        self.ready()
        try:
            return self.link.exchange(*pieces, timeout_s=timeout_s)
        except InstrumentError as reason:
            if not self.link.state.unsent:
                raise self.explained(reason) from reason
        self.ready()  # the connection had ended, or something lay in it: nothing was sent yet
        try:
            return self.link.exchange(*pieces, timeout_s=timeout_s)
        except InstrumentError as reason:
            raise self.explained(reason) from reason

    def read(self, question: str, answer: str, shape: Callable[[str], Shape]) -> Shape:
        """Return an answer in its shape; InstrumentError otherwise, and the link is dirty."""
        try:
            return self.link.shaped(question, answer, shape)
        except InstrumentError as reason:
            raise self.explained(reason) from reason

    def explained(self, reason: InstrumentError) -> InstrumentError:
        """Return the error with what a recovered link has to say about it."""
        if not self.explains:
            return reason
        try:
            found = recover(self.link)
        except InstrumentError as worse:
            return InstrumentError(f"{reason}; and then {str(worse).removeprefix(self.name + ': ')}")
        self._take(found)
        said = "; ".join(f"{entry} ({entry.meaning})" for entry in found.errors)
        restart = "; it was switched off and on meanwhile" if found.restarted else ""
        return InstrumentError(f"{reason}{'; its error queue says ' + said if said else ''}{restart}")

    def _take(self, found: Recovery) -> None:
        self.errors_found += found.errors
        self.restarted = self.restarted or found.restarted
        self.reopened()

    def reopened(self) -> None:
        """Forget what was known of the instrument's settings; drivers give theirs."""

    def ask_twice(self, *questions: str, first: Sequence[str] = ()) -> tuple[str, ...]:
        """Return answers that came twice alike; InstrumentError otherwise.

        A token ties an answer to its question, but not every digit of it: a state or setting that nothing else
        confirms is asked two times. `first` goes in front of each round; its answers come first.
        """
        answers = self.ask(*first, *questions, *first, *questions)
        half = len(answers) // 2
        if answers[:half] != answers[half:]:
            reason = InstrumentError(
                f"{self.name}: answers {answers[:half]} and then {answers[half:]} to one question"
            )
            self.link.mark(str(reason))
            raise self.explained(reason)
        self.link.barrier()
        return answers[:half]

    # ---- checks that ride along in a message

    def check_questions(self) -> tuple[str, ...]:
        """Return the questions for error queue and event status, as far as the instrument has them."""
        return self._checks

    def check(self, answers: Sequence[str]) -> None:
        """Judge the answers to `check_questions`; InstrumentError for an error or a restart."""
        manners = self.link.manners
        entry = self.read(manners.error_query, answers[0], read_error) if manners.error_query else None
        status = self.read(manners.event_status, answers[-1], read_integer) if manners.event_status else 0
        if status & POWER_ON_BIT:
            self.restarted = True
            self.reopened()
            raise InstrumentError(
                f"{self.name}: was switched off and on, its settings are gone; check its mains and start again"
            )
        if entry is not None and entry.code != 0:
            self.refuse(entry)

    def refuse(self, entry: QueueEntry) -> None:
        """Raise InstrumentError for an entry of the error queue, after reading the rest of the queue."""
        rest: tuple[QueueEntry, ...] = ()
        try:
            rest = drain_errors(self.link)
        except InstrumentError as reason:
            self.link.mark(str(reason))
        self.errors_found += (entry, *rest)
        said = "; ".join(f"{one} ({one.meaning})" for one in (entry, *rest[:3]))
        raise InstrumentError(f"{self.name}: its error queue says {said}")

    def require_known(self) -> None:
        """Refuse to drive an instrument of no known family; BenchError says how to allow it."""
        if not self.connection.known:
            raise BenchError(
                Fault(
                    self.name,
                    "link.dialect",
                    f'"{self.connection.identity}" is of no family known here, so it is read but not driven; '
                    'name the dialect it speaks, for example dialect = "generic"',
                )
            )


def answers_reliably(link: Link, questions: Sequence[str], shapes: Sequence[Callable[[str], object]]) -> bool:
    """Return whether an instrument answers questions in their shapes; one lost answer is forgiven, two are not.

    Some instruments answer an unknown question with a word of their own instead of silence.
    """
    return _answers(link, questions, shapes) or _answers(link, questions, shapes)


def _answers(link: Link, questions: Sequence[str], shapes: Sequence[Callable[[str], object]]) -> bool:
    answers = probe(link, *questions)
    try:
        return answers is not None and all(
            shape(answer) is not None for shape, answer in zip(shapes, answers, strict=True)
        )
    except ValueError:
        recover(link)
        return False


def within(found: float, wanted: float, absolute: float, relative: float) -> bool:
    """Return whether a value is what was wanted, to the larger of two tolerances."""
    return abs(found - wanted) <= max(absolute, relative * abs(wanted))
