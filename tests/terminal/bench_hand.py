"""A scripted hand at a simulated bench that watches the guided screen and does as it says, as fast as it can."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Phase
from benchcheck.simulation.hand import SimulatedHand
from benchcheck.terminal.guided import Guided
from benchcheck.terminal.keyboard import Key

_SHORTED_S = 0.25
_TRY_AGAIN_S = 1.0
_PATIENCE_S = 60.0  # for one check; then something hangs


@dataclass
class ScriptedKeyboard:
    """A keyboard nobody sits at but a script; `turn` is called at each wait and returns the keys pressed."""

    turn: Callable[[], list[Key]] = list
    pressed: list[Key] = field(default_factory=list)
    _woken: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> ScriptedKeyboard:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing was changed."""

    def wake(self) -> None:
        self._woken.set()

    def keys(self, timeout_s: float) -> list[Key]:
        self._woken.wait(timeout_s)
        self._woken.clear()
        keys = self.turn()
        self.pressed += keys
        return keys


@dataclass
class WatchingHand:
    """Places the tips when a check is asked for, taps them together where overload is right, lifts at the beep.

    Where open leads and a good reading look alike (volts near zero) it presses the key that says "tips down".
    """

    hand: SimulatedHand
    guided: Guided
    at: str = ""
    stage: str = ""
    since_s: float = 0.0
    asked_s: float = 0.0
    keys_needed: int = 0

    def turn(self) -> list[Key]:
        """Do what the screen asks for now, and return the keys that takes."""
        asking = self.guided.desk.asking
        if asking is None:
            return []
        if asking.check.function is Function.VISUAL:
            self.keys_needed += 1
            return [Key("sign", "y")]
        now_s = self.guided.clock.monotonic_s()
        if asking.check.id != self.at:
            self.at, self.stage, self.asked_s = asking.check.id, "lift", now_s
            self.hand.lift()
        assert now_s - self.asked_s < _PATIENCE_S, f"{self.at} hangs, {self.stage}: {asking.state()}"
        if self.stage == "lift" and asking.capture is not None and asking.capture.lifted:
            self.stage, self.since_s = "down", now_s
            self.hand.discharge()
            self.hand.place(asking.check)
            if asking.check.phase is Phase.RESIDUAL_VOLTAGE:
                self.keys_needed += 1
                return [Key("enter", "\r")]
        else:
            self._tap(now_s)
        return []

    def _tap(self, now_s: float) -> None:
        """Where overload is what a good unit shows, hold the tips together for a moment to say that it is read."""
        asking = self.guided.desk.asking
        assert asking is not None
        if self.stage == "down" and self._overload_is_right(now_s):
            self.stage, self.since_s = "tap", now_s
            self.hand.place_between("GND", "GND")
        elif self.stage == "tap" and now_s - self.since_s > _SHORTED_S:
            self.stage, self.since_s = "tapped", now_s
            self.hand.lift()
        elif self.stage == "tapped" and now_s - self.since_s > _TRY_AGAIN_S:
            self.stage, self.since_s = "down", now_s  # too short a tap, or too early: a person would try again
            self.hand.place(asking.check)

    def _overload_is_right(self, now_s: float) -> bool:
        asking = self.guided.desk.asking
        assert asking is not None
        right = asking.rule is not None and asking.rule.open_is_good
        shown = asking.latest is not None and asking.latest.display.text == "OL"
        return right and shown and now_s - self.since_s > 0.9
