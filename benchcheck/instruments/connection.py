"""Connecting: open, learn who answers, choose the dialect, and find out what this instrument really takes.

Nothing is assumed that can be asked: whether several commands go in one message, whether there is an error queue
and an event status register. What an instrument lacks is noted, not passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, TypeVar

from benchcheck.clock import Clock
from benchcheck.errors import BenchError, InstrumentError
from benchcheck.instruments.catalogue import Catalogue
from benchcheck.instruments.dialect import Dialect, LinkManners, Serial, fill
from benchcheck.instruments.link import Link
from benchcheck.instruments.lock import ResourceLock
from benchcheck.instruments.recovery import drain_errors, probe, recover
from benchcheck.instruments.reply import QueueEntry, read_error, read_integer
from benchcheck.instruments.role import check_role
from benchcheck.instruments.transport import Opener, Transport
from benchcheck.instruments.wire import joined

__all__ = ["Connection", "LinkSettings", "adjusted", "connect"]

Shape = TypeVar("Shape")
PROBE_TOKEN = 73
BLIND_S = 0.3
LOCK_WAIT_S = 5.0  # a power keeper of a visit that was killed needs up to 3 s to switch off and let go


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """How a bench file names a link; `library` is a VISA library other than the environment's or pyvisa-py.

    `own` are tables of further dialects by name, of the user's own. `overrides` holds what stands beside resource and
    dialect: `timeout_s`, `read_termination`, `write_termination` and the settings of a serial line.
    """

    resource: str
    dialect: str = ""
    library: str = ""
    overrides: Mapping[str, str | int | float | bool] = field(default_factory=dict)
    own: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Connection:
    """An instrument that answered.

    `known` is False when neither its family nor the user's dialect is known; `errors` were waiting in its queue;
    `notes` say what it cannot do.
    """

    name: str
    link: Link
    dialect: Dialect
    identity: str
    known: bool
    errors: tuple[QueueEntry, ...]
    notes: tuple[str, ...]
    lock: ResourceLock | None = None

    def close(self) -> None:
        """Close the link and let other processes have the instrument."""
        self.link.close()
        if self.lock is not None:
            self.lock.release()


def connect(
    name: str,
    role: str,
    settings: LinkSettings,
    catalogue: Catalogue,
    clock: Clock,
    *,
    opener: Opener | None = None,
    while_waiting: Callable[[], None] | None = None,
    blind: Sequence[str] = (),
) -> Connection:
    """Return the connection to an instrument, a `role` of dmm, psu or load.

    `blind` are commands sent as soon as the link is open, before anything is asked: for switching off only.
    BenchError when the resource or the dialect is none or somebody else answers, InstrumentError when nobody does.
    """
    catalogue = catalogue.extended(settings.own) if settings.own else catalogue
    named = catalogue.named(settings.dialect) if settings.dialect else catalogue.named("generic")
    lock = None
    if opener is None:
        from benchcheck.instruments.visa import canonical_resource, visa_opener

        opener = visa_opener(name, settings.resource, adjusted(named.link, settings), settings.library)
        lock = ResourceLock(name, canonical_resource(settings.resource), clock)
        lock.acquire(LOCK_WAIT_S)
    if blind:
        opener = _saying(opener, blind, adjusted(named.link, settings))
    link = Link(name, opener, _bare(adjusted(named.link, settings)), clock, while_waiting)
    try:
        return _introduced(name, role, settings, catalogue, link, lock)
    except BaseException:
        link.close()
        if lock is not None:
            lock.release()
        raise


def _saying(opener: Opener, commands: Sequence[str], manners: LinkManners) -> Opener:
    def opened() -> Transport:
        transport = opener()
        for command in commands:
            transport.send((command + manners.write_term).encode("ascii"), BLIND_S)
        return transport

    return opened


def _introduced(
    name: str, role: str, settings: LinkSettings, catalogue: Catalogue, link: Link, lock: ResourceLock | None
) -> Connection:
    identity = recover(link).identity
    try:
        choice = catalogue.choose(identity, settings.dialect, role)
    except BenchError as reason:
        raise BenchError([replace(fault, key=fault.key or name) for fault in reason.faults]) from reason
    notes: list[str] = []
    waiting: list[QueueEntry] = []
    manners = _probed(link, adjusted(choice.dialect.link, settings), notes, waiting)
    dialect = replace(choice.dialect, link=manners)
    link.set_manners(manners)
    if choice.known and catalogue.family(identity) is None:
        check_role(name, role, link, dialect)
    errors = (*waiting, *drain_errors(link))
    return Connection(name, link, dialect, identity, choice.known, errors, tuple(notes), lock)


def adjusted(manners: LinkManners, settings: LinkSettings) -> LinkManners:
    """Return the manners with what the bench file says beside resource and dialect."""
    given: dict[str, Any] = dict(settings.overrides)
    serial = {item.name: given[item.name] for item in fields(Serial) if item.name in given}
    changes: dict[str, Any] = {"serial": replace(manners.serial, **serial)} if serial else {}
    if "timeout_s" in given:
        timeout_ms = 1e3 * float(given["timeout_s"])
        changes |= {"reply_timeout_ms": timeout_ms, "reading_timeout_ms": max(timeout_ms, manners.reading_timeout_ms)}
    if "write_termination" in given:
        changes["write_term"] = given["write_termination"]
    if "read_termination" in given:
        changes["read_term"] = given["read_termination"][-1:] or manners.read_term  # the rest is stripped
    return replace(manners, **changes)


def _bare(manners: LinkManners) -> LinkManners:
    """Return the manners for a first contact: one command a message, nothing asked that may not exist."""
    return replace(manners, join="", token="", error_query="", event_status="")


def _probed(link: Link, manners: LinkManners, notes: list[str], waiting: list[QueueEntry]) -> LinkManners:
    """Return the manners without what this instrument does not answer, with a note for each of those.

    An error that was in the queue when the queue was tried goes to `waiting`.
    """
    if manners.join and not (_takes_joined(link, manners)):
        manners = replace(manners, join="", token="")
        notes.append("takes one command a message only; every series of readings ends with its identity instead")
    link.set_manners(replace(_bare(manners), join=manners.join, token=manners.token))
    if manners.error_query:
        entry = _answer(link, manners.error_query, read_error)
        if entry is None:
            manners = replace(manners, error_query="")
            notes.append("has no error queue; settings are checked by reading them back")
        elif entry.code != 0:
            waiting.append(entry)
    if manners.event_status and _answer(link, manners.event_status, read_integer) is None:
        manners = replace(manners, event_status="")
        notes.append("has no event status register; a restart shows only in its settings")
    return manners


def _takes_joined(link: Link, manners: LinkManners) -> bool:
    """Ask twice in one message: both answers must come back on one line.

    *IDN? is no good for this: it must be the last question of a message (IEEE 488.2, 10.14.3).
    """
    link.set_manners(_bare(manners))
    first = fill(manners.token, token=PROBE_TOKEN) or manners.error_query
    if not first:
        return True
    answers = probe(link, joined((first, first.rsplit(";", 1)[-1]), manners.join))
    parts = answers[0].split(";", 1) if answers else ()
    if manners.token:
        return [part.strip() for part in parts] == [str(PROBE_TOKEN)] * 2
    return len(parts) == 2


def _answer(link: Link, question: str, shape: Callable[[str], Shape]) -> Shape | None:
    """Return the answer to a question that may not exist, None without one of the right shape."""
    answers = probe(link, question)
    if answers is None:
        return None
    try:
        return link.shaped(question, answers[0], shape)
    except InstrumentError:
        recover(link)
        return None
