"""The check that would tell most now: what a diagnosis of the readings so far would have measured next.

Weighing a whole board takes seconds, so it is done in a thread: keys and readings go on meanwhile.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from benchcheck.bench.model import Bench
from benchcheck.checklist.order import Checklist
from benchcheck.errors import BenchcheckError
from benchcheck.readings.reading import Reading, Session

__all__ = ["Weighing", "most_telling", "weighed_by_line"]

_GLANCE_S = 0.1
#: so many glances after which it is said again that the weighing goes on.
_STILL = 100


def most_telling(checklist: Checklist, bench: Bench, readings: Sequence[Reading], session: Session) -> str:
    """Return the id of the unpowered check of this visit that tells most for its time, "" where none is worth it."""
    from benchcheck.diagnosis.diagnose import diagnose  # heavy, and only who asks for it should wait for it
    from benchcheck.shelf import shelf_of_user

    taken = {one.check for one in readings}
    try:
        found = diagnose(checklist.board, bench, readings, session, shelf=shelf_of_user())
    except BenchcheckError:
        return ""
    asked = {one.id for one in checklist.checks if not one.powered} - taken
    return next((one.check for one in found.suggestions if one.check in asked), "")


class Weighing:
    """One weighing under way; `name` is None until it is done, then the check or ""."""

    def __init__(self, weigh: Callable[[], str], wake: Callable[[], None]) -> None:
        """Begin; `wake` is called, from the thread, when it is done."""
        self.name: str | None = None
        self._weigh, self._wake = weigh, wake
        threading.Thread(target=self._run, name="weighing", daemon=True).start()

    def _run(self) -> None:
        found = ""
        try:
            found = self._weigh()
        finally:
            self.name = found
            self._wake()


def weighed_by_line(
    weigh: Callable[[], str], line_if_typed: Callable[[float], str | None], say: Callable[[str], None]
) -> tuple[str, str | None]:
    """Return the check that tells most, or the line that was typed meanwhile: the weighing is then of no matter."""
    done = threading.Event()
    weighing, glances = Weighing(weigh, done.set), 0
    while not done.wait(0.01):
        typed = line_if_typed(_GLANCE_S)
        if typed is not None:
            return "", typed
        glances += 1
        if glances % _STILL == 0:
            say("still weighing; Enter stops it")
    return weighing.name or "", None
