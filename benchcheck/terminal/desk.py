"""The desk of a guided visit: keyboard and screen in one loop that never waits long, lines typed, pages turned.

A key shows at once while a meter is being read; what must not wait (the lease of power) is done at every turn.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from benchcheck.clock import Clock, SystemClock
from benchcheck.terminal.asking import Asking
from benchcheck.terminal.canvas import Canvas
from benchcheck.terminal.face import face
from benchcheck.terminal.keyboard import Key, Keyboard
from benchcheck.terminal.page import folded_page
from benchcheck.terminal.picture import Picture

__all__ = ["LONGEST_ENTRY", "Desk"]

LONGEST_ENTRY = 200
_TICK_S = 0.1
_MANY = 4000  # a paste of more signs comes in pieces, of which only the first is seen
_TYPES_NOTHING = ("other", "tab", "suspend", "paste")
#: a letter that nothing follows for so long is a key; most people type the letters of a word at a third of it.
_ALONE_S = 0.5


def _nothing() -> None:
    """Nothing must be done meanwhile."""


@dataclass(slots=True)
class Desk:
    """Screen and keyboard; `asking` is the check on show, None where there is none.

    `meanwhile` is called at every turn: it tends power and takes what the meter shows. `power_line` says what supply
    and rails show while power is on; `diagnosis` whether a next check can be proposed. With `keys_stop` a unit is
    coming up, and any key is to switch it off. `let_go` lets go what must not be held while the process stands still,
    and returns why it cannot be, "" where it was. With `holds_enter` an Enter that came with words sends
    none.
    """

    picture: Picture
    canvas: Canvas
    keyboard: Keyboard
    meanwhile: Callable[[], None] = _nothing
    power_line: Callable[[], str] = lambda: ""
    diagnosis: bool = False
    asking: Asking | None = None
    is_open: bool = False
    keys_stop: bool = False
    let_go: Callable[[], str] = lambda: ""
    holds_enter: bool = False
    clock: Clock = field(default_factory=SystemClock)
    _typed_ahead: deque[Key] = field(default_factory=deque)

    def enter(self) -> None:
        """Take the terminal."""
        if not self.is_open:
            self.keyboard.__enter__()
            self.canvas.enter()
            self.is_open = True

    def leave(self) -> None:
        """Give the terminal back."""
        if self.is_open:
            self.is_open = False
            self.canvas.leave()
            self.keyboard.__exit__()

    def paint(self) -> None:
        """Show how things stand."""
        size = self.canvas.size()
        view = self.picture.view(self.asking, self.power_line(), diagnosis=self.diagnosis)
        if self.keys_stop:
            view = replace(view, keys=(("any key", "switches the power off"),))
        self.canvas.paint(face(view, *size), size)

    def key(self) -> Key:
        """Return the next key, one without a name after a tick; EOFError when the terminal is gone.

        Ctrl-Z has the process stand still where no power is on; under power it is a key like any other.
        """
        if self.keyboard.went_on:  # it stood still without having been asked before
            self._take_again()
        self.paint()
        if not self._typed_ahead:
            self._typed_ahead.extend(self.keyboard.keys(_TICK_S))
        self.meanwhile()
        key = self._typed_ahead.popleft() if self._typed_ahead else Key("")
        if (key.name == "suspend" or self.keyboard.told_to_stop) and not self.power_line():
            self._stand_still()
            return Key("")
        return key

    def _take_again(self) -> None:
        self.keyboard.__exit__()
        self.keyboard.__enter__()
        self.canvas.enter()

    def _stand_still(self) -> None:
        """Give the terminal back, stop the process, and take the terminal again when it goes on."""
        self.keyboard.told_to_stop = False
        obstacle = self.let_go()
        if obstacle:
            self.picture.say(obstacle)
            return
        self.leave()
        self.keyboard.stand_still()
        self.enter()

    def any_key(self) -> bool:
        """Return whether a key was pressed just now, or the terminal went away; the key itself is gone then."""
        if not self.is_open:
            return False
        self.paint()
        try:
            found = bool(self._typed_ahead or self.keyboard.keys(0.0))
        except EOFError:
            return True
        self._typed_ahead.clear()
        return found

    def followed(self, letter: str, meaning: str) -> Key | None:
        """Show a letter that is a key or begins a word; return the key that follows at once, None where none does."""
        picture = self.picture
        picture.prompt, picture.entry = f"{meaning}, unless a word follows", letter
        until_s = self.clock.monotonic_s() + _ALONE_S
        try:
            while self.clock.monotonic_s() < until_s:
                key = self.key()
                if key.name:
                    return key
            return None
        finally:
            picture.prompt, picture.entry = "", None

    def put_back(self, key: Key) -> None:
        """Have a key come next that was taken already."""
        self._typed_ahead.appendleft(key)

    def line(self, prompt: str, start: str = "", fits: Callable[[str], bool] | None = None) -> str | None:
        """Return a line typed at the foot of the screen, None where it was given up with Escape.

        Where it has to fit it is given up as well by a key after which it does not, and by one that types nothing.
        """
        picture = self.picture
        picture.prompt, picture.entry = prompt, start
        stopping, self.keys_stop = self.keys_stop, False
        try:
            while True:
                key = self.key()
                if key.name == "enter" and self.holds_enter and key.came and fits is None:
                    picture.say("it came in one piece: Enter keeps it, Esc drops it")
                    continue
                if key.name == "enter":
                    return picture.entry
                if key.name == "escape" or (fits is not None and key.name in _TYPES_NOTHING):
                    return None
                if key.name == "end":
                    raise EOFError
                self._edit(key)
                if fits is not None and not fits(picture.entry or ""):
                    return None
        finally:
            picture.prompt, picture.entry, picture.messages = "", None, ()
            self.keys_stop = stopping

    def _edit(self, key: Key) -> None:
        entry = self.picture.entry or ""
        match key.name:
            case "back":
                entry = entry[:-1]
            case "clear":
                entry = ""
            case "sign":
                entry = (entry + key.text)[:LONGEST_ENTRY]
            case "paste":
                entry += self.pasted(key, LONGEST_ENTRY - len(entry))
            case _:
                pass
        self.picture.entry = entry

    def pasted(self, key: Key, room: int = LONGEST_ENTRY) -> str:
        """Return the first line of what was pasted, never sent by itself; "" and a word where it is too long."""
        text = key.text.strip()
        line = (text.splitlines() or [""])[0]
        if len(text) <= LONGEST_ENTRY and len(line) <= room:
            more = len(text.splitlines()) - 1
            self.picture.say(f"{more} more line{'s' * (more > 1)} left out: an entry is one line" if more > 0 else "")
            return line
        found = f"{len(text)} signs" if len(text) < _MANY else f"more than {_MANY} signs"
        self.picture.say(f"pasted text of {found} left out: an entry has at most {LONGEST_ENTRY}; type it")
        return ""

    def turn_page(self, lines: tuple[str, ...]) -> bool:
        """Show lines page by page until a key ends it; return whether that was to quit."""
        while lines:
            columns, rows = self.canvas.size()
            lines = tuple(part for line in lines for part in folded_page(line, columns))
            self.picture.page = lines
            key = self.key()
            if key.name == "end" or key.text.casefold() == "q":
                self.picture.page = ()
                return True
            if key.name:
                shown = self.picture.page_rows(columns, rows)
                lines = lines[shown:] if shown < len(lines) else ()
        self.picture.page = ()
        return False
