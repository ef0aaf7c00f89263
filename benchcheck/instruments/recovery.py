"""Getting a link in step: close, reopen, the same identity twice, the error queue read empty.

Closing a TCP connection buries a late answer with it. Where it can survive (serial lines, gateways), lines are read
until the identity comes back, twice running, before anything else is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.errors import InstrumentError
from benchcheck.instruments.link import Link
from benchcheck.instruments.reply import NUMBER, QueueEntry, read_error, read_integer

__all__ = ["POWER_ON_BIT", "Recovery", "drain_errors", "probe", "recover"]

POWER_ON_BIT = 128  # PON of the standard event status register, IEEE 488.2, 11.5.1.1
MAX_ERRORS = 50  # a broken instrument can repeat one error for ever
MAX_LINES = 8
RETRY_S = 0.1
REFUSAL_S = 1.0


@dataclass(frozen=True, slots=True)
class Recovery:
    """What was found on the way: errors waiting in the queue, and whether the instrument was switched off and on."""

    identity: str
    errors: tuple[QueueEntry, ...] = ()
    restarted: bool = False


def recover(link: Link, timeout_s: float | None = None) -> Recovery:
    """Bring a link in step and return what was found; InstrumentError when it cannot be within `timeout_s`.

    The first recovery of a link learns the identity; any later one must meet the same again.
    """
    wait_s = timeout_s if timeout_s is not None else 2.0 * link.manners.identify_timeout_ms / 1e3
    link.mark("being recovered")
    try:
        link.state.identity = _reached(link, link.clock.monotonic_s() + wait_s)
    except InstrumentError:
        link.close()
        raise
    link.state.dirty = ""
    return _taken_stock(link)


def _reached(link: Link, deadline_s: float) -> str:
    """Return the identity, trying until the deadline; a new instrument that refuses gets one second only."""
    while True:
        try:
            return _reach(link, deadline_s)
        except (TimeoutError, OSError, ValueError) as caught:
            reason = caught
        if isinstance(reason, ConnectionRefusedError) and not link.state.identity:
            deadline_s = min(deadline_s, link.clock.monotonic_s() + REFUSAL_S)
        if link.clock.monotonic_s() + RETRY_S >= deadline_s:
            raise InstrumentError(
                f"{link.name}: does not answer ({reason}); check power, cable and the resource in the bench file"
            ) from reason
        link.clock.sleep(RETRY_S)
        if link.while_waiting is not None:
            link.while_waiting()


def _reach(link: Link, deadline_s: float) -> str:
    """Reopen the link and return the identity, given twice running."""
    link.reopen(max(link.manners.quiet_ms / 1e3, min(link.state.longest_wait_s, 2.0)))
    if link.manners.remote:
        link.send_raw(link.manners.remote)
    previous = ""
    for _ in range(MAX_LINES):
        left_s = deadline_s - link.clock.monotonic_s()
        answer = link.ask_raw(link.manners.identify, min(left_s, link.manners.identify_timeout_ms / 1e3))
        if answer == previous and _is_identity(answer):
            _compare(link, answer)
            return answer
        previous = answer
    raise ValueError(f"{previous!r} is no steady identity")


def _is_identity(text: str) -> bool:
    return 2 <= len(text) <= 256 and NUMBER.fullmatch(text) is None and not text.startswith("#")


def _compare(link: Link, identity: str) -> None:
    known = link.state.identity
    if known and identity != known:
        raise InstrumentError(
            f'{link.name}: "{identity}" answers where "{known}" did before; check the cables, then start again'
        )


def _taken_stock(link: Link) -> Recovery:
    restarted = False
    if link.manners.event_status:
        status = link.query(link.manners.event_status, read_integer)
        restarted = bool(status & POWER_ON_BIT)
    errors = drain_errors(link)
    return Recovery(link.state.identity, errors, restarted)


def drain_errors(link: Link) -> tuple[QueueEntry, ...]:
    """Read the error queue empty and return what was in it; InstrumentError when it never ends."""
    found: list[QueueEntry] = []
    while link.manners.error_query:
        entry = link.query(link.manners.error_query, read_error)
        if entry.code == 0:
            break
        found.append(entry)
        if len(found) >= MAX_ERRORS:
            raise InstrumentError(f"{link.name}: repeats {entry} without end; switch it off and on")
    return tuple(found)


def probe(link: Link, *questions: str, timeout_s: float = 1.0) -> tuple[str, ...] | None:
    """Try whether an instrument answers questions; None when it does not, the link in step again either way."""
    try:
        answers = link.exchange(*questions, timeout_s=min(timeout_s, link.manners.reply_timeout_ms / 1e3))
    except InstrumentError:
        recover(link)
        return None
    return answers
