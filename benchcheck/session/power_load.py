"""What a unit is made to deliver during a visit: the electronic load of the bench, or what somebody puts there.

A dummy load that no link drives is confirmed, and believed only where the supply's current has risen for it. None is
ever under power that comes up: it is off again before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.errors import UsageError
from benchcheck.quantity import format_value
from benchcheck.session.feed import Feed
from benchcheck.session.power_ended import PowerEnded
from benchcheck.session.power_rules import Wanted, dummy_doubt
from benchcheck.session.power_words import DUMMY_OFF
from benchcheck.spec.board import Board

__all__ = ["Loading"]

_UNKNOWN_AMPERE = -1.0


@dataclass(slots=True)
class Loading:
    """The load of one visit; `name` is that of the linked one, "" without.

    `must` raises unless a question is confirmed, `confirm` returns whether it is, `event` keeps what happened,
    `heard` is called between polls.
    """

    board: Board
    name: str
    must: Callable[[str], None]
    confirm: Callable[[str], bool]
    event: Callable[[str], None]
    heard: Callable[[], None]
    _at: str = ""  # where the load's leads are
    _dummy_ampere: float = 0.0
    _bare_ampere: float = 0.0  # what the supply gave before the dummy load was there

    def before_power(self) -> None:
        """Have a dummy load taken off that was on as power went off: it must not come back under it."""
        if self._dummy_ampere:
            self.must(DUMMY_OFF)
            self._dummy_ampere = 0.0

    def draw(self, feed: Feed, wanted: Wanted) -> None:
        """Draw the load current wanted, the full current limit set."""
        assert wanted.load_ampere is not None
        feed.full_limit(wanted, self.heard)
        if self.name:
            if self._at != wanted.load_place:
                self._clip(wanted)
            feed.draw(wanted.load_ampere, self.heard)
        elif self._dummy_ampere != wanted.load_ampere:
            self._dummy(feed, wanted)

    def _clip(self, wanted: Wanted) -> None:
        """Have the load's leads put on another rail, its input off."""
        self.must(f"Load {self.name} is off: are its leads on {wanted.load_place}, plus on plus?")
        self._at = wanted.load_place

    def _dummy(self, feed: Feed, wanted: Wanted) -> None:
        assert wanted.load_ampere is not None
        amount = format_value(wanted.load_ampere, "A", ascii=True)
        question = f"No load can be driven from here: does a dummy load draw {amount} from {wanted.load_place}?"
        if not self._dummy_ampere and feed.last is not None:
            self._bare_ampere = feed.last.current_ampere
        self.must(question)
        self._dummy_ampere = _UNKNOWN_AMPERE  # something may be there from now on, whatever it draws
        feed.settle(self.heard)
        assert feed.last is not None
        doubt = dummy_doubt(self.board, wanted, feed.last.current_ampere - self._bare_ampere)
        if doubt:
            raise UsageError(doubt)
        self.event(f"confirmed: a dummy load draws {amount} from {wanted.load_place}")
        self._dummy_ampere = wanted.load_ampere

    def take_off(self, feed: Feed) -> None:
        """Draw nothing any more; PowerEnded where a dummy load was not taken off."""
        feed.load_off()
        if self._dummy_ampere:
            self._dummy_ampere = 0.0
            if not self.confirm(DUMMY_OFF):
                raise PowerEnded("the dummy load was not taken off")
            feed.settle(self.heard)

    def forget(self) -> None:
        """Take where the load's leads are for unknown."""
        self._at = ""
