"""A scripted hand at a simulated bench that watches the guided screen and does as it says, as fast as it can."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from benchcheck.bench.functions import Function
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.course import Shape
from benchcheck.simulation.hand import SimulatedHand
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.keyboard import Key

_TOUCH_S, _GAP_S, _QUIET_S, _POINTS_S = 0.3, 0.2, 0.8, 1.4
_CELL = next(check for check in session_checks() if check.id == "meter.cell")
_NOBODY_S = 0.02  # for a turn that does not come: the check is over, and the meter is about to be let go
_PATIENCE_S = 60.0  # for one check; then something hangs


class ReadingClock:
    """A clock that a meter of so many readings a second moves on: by what each took it, and by nothing else.

    A machine that stalls then stalls the bench as a whole, and a visit takes as long as its readings really do.
    """

    def __init__(self, rate_hz: float) -> None:
        self._every_s, self._elapsed_s = 1.0 / rate_hz, 0.0

    def now(self) -> datetime:
        return datetime.now(UTC)

    def monotonic_s(self) -> float:
        return self._elapsed_s

    def sleep(self, delay_s: float) -> None:
        self._elapsed_s += max(0.0, delay_s)

    def read(self) -> None:
        """Let the time of one reading pass."""
        self._elapsed_s += self._every_s


@dataclass
class ScriptedKeyboard:
    """A keyboard nobody sits at but a script; `turn` is called at each wait and returns the keys pressed.

    With a `clock` the meter that wakes moves it on, and reads again only when the script has had its turn.
    """

    turn: Callable[[], list[Key]] = list
    pressed: list[Key] = field(default_factory=list)
    clock: ReadingClock | None = None
    told_to_stop: bool = False
    went_on: bool = False
    _woken: threading.Event = field(default_factory=threading.Event)
    _turned: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> ScriptedKeyboard:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing was changed."""

    def stand_still(self) -> None:
        """Nobody stops the process of a test."""

    def wake(self) -> None:
        self._turned.clear()
        if self.clock is not None:
            self.clock.read()
        self._woken.set()
        if self.clock is not None:
            self._turned.wait(_NOBODY_S)

    def keys(self, timeout_s: float) -> list[Key]:
        self._woken.wait(timeout_s)
        self._woken.clear()
        keys = self.turn()
        self.pressed += keys
        self._turned.set()
        return keys


@dataclass
class WatchingHand:
    """Places the tips when a check is asked for and lifts at the beep; marks where open leads show what is right.

    A mark is the tips together three times, or on the known cell for volts, before and after the points.
    """

    hand: SimulatedHand
    guided: Guided
    at: str = ""
    stage: str = ""
    since_s: float = 0.0
    asked_s: float = 0.0
    keys_needed: int = 0
    marked: list[str] = field(default_factory=list)
    _held: bool = False
    _contacts: int = 0
    _moves: list[tuple[str, float]] = field(default_factory=list)

    def turn(self) -> list[Key]:
        """Do what the screen asks for now, and return the keys that takes."""
        asking = self.guided.desk.asking
        if asking is None:
            return []
        if asking.check.function is Function.VISUAL:
            self.keys_needed += 1
            return [Key("sign", "y"), Key("enter", "\r")]
        now_s = self.guided.clock.monotonic_s()
        if asking.check.id != self.at:
            self.at, self.stage, self.asked_s, self._held = asking.check.id, "lift", now_s, False
            self._contacts = 0
            self.hand.lift()
        assert now_s - self.asked_s < _PATIENCE_S, f"{self.at} hangs, {self.stage}: {asking.state()}"
        if self.stage == "lift" and asking.capture is not None and asking.capture.lifted:
            return self._begin(now_s)
        if self.stage == "marking":
            self._move_on(now_s)
        return []

    def _begin(self, now_s: float) -> list[Key]:
        asking = self.guided.desk.asking
        assert asking is not None
        assert asking.rule is not None
        self.hand.discharge()
        if asking.rule.markable:
            self.marked.append(self.at)
            self.stage, self.since_s = "marking", now_s
            mark = [("touch", _TOUCH_S), ("air", _GAP_S)] * 3 + [("air", _QUIET_S)]
            self._moves = [("air", _GAP_S), *mark, ("points", _POINTS_S), ("air", _GAP_S), *mark, ("points", 5.0)]
            return []
        self.stage = "down"
        self.hand.place(asking.check)
        if asking.rule.open_is_good:
            self.keys_needed += 1
            return [Key("enter", "\r")]
        return []

    def _move_on(self, now_s: float) -> None:
        asking = self.guided.desk.asking
        assert asking is not None
        assert asking.capture is not None
        if asking.capture.contacts > self._contacts:  # "take the tips off and put them on again"
            self._contacts = asking.capture.contacts
            self._moves, self.since_s = [("air", _QUIET_S), ("points", 5.0)], now_s
        elif self._held and asking.capture.shape is not Shape.OPEN:
            return  # something shows on the points, a capacitor that charges: hold on until it counts
        if self._moves and now_s >= self.since_s:
            where, stays_s = self._moves.pop(0)
            self.since_s = now_s + stays_s
            self._go(where)

    def _go(self, where: str) -> None:
        asking = self.guided.desk.asking
        assert asking is not None
        self._held = where == "points"
        if where == "air":
            self.hand.lift()
        elif where == "points":
            self.hand.place(asking.check)
        elif asking.check.function is Function.DC_VOLTAGE:
            self.hand.place(_CELL)
        else:
            self.hand.place_between("GND", "GND")
