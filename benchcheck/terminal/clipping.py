"""Tips clipped on with the power off, where no meter can see them touch and no key can say so under power."""

from __future__ import annotations

from benchcheck.session.answers import Answer
from benchcheck.terminal.actions import keys_for
from benchcheck.terminal.asking import Asking
from benchcheck.terminal.check_keys import CheckKeys
from benchcheck.terminal.desk import Desk

__all__ = ["clips_wish"]

#: no lift is waited for, and no key can say it under power.
_CLIP_ON = (
    "power is off: clip both tips on, so that they stay. Enter says that they are on and brings power up; "
    "what stands still then counts"
)
#: keys that say something else than a reading.
_NO_READING = tuple("slunpwq")


def clips_wish(desk: Desk, keys: CheckKeys, asking: Asking) -> Answer | None:
    """Ask for clips; return what somebody wants instead, None once they are on. EOFError where nobody is there."""
    picture = desk.picture
    picture.say(_CLIP_ON)
    others = keys_for(asking.check, metered=False)
    picture.keys = (("Enter", "the tips are on"), *(one for one in others if one[0] in _NO_READING))
    try:
        while True:
            key = desk.key()
            if key.name == "enter":
                return None
            answer = keys.answer(asking, key) if key.text.casefold() in _NO_READING else None
            if answer is not None:
                return answer
    finally:
        picture.keys, picture.messages = (), ()
