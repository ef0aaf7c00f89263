"""What a person may ask for at a check: single keys and words, the same on the guided screen and line by line.

A key is the first letter of its word where that is free. Words that a display or an eye may answer with are known
here too, so that a letter can be told from a word that begins with it.
"""

from __future__ import annotations

from enum import StrEnum

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check

__all__ = [
    "LIVE_KEYS",
    "Action",
    "acts_alone",
    "asks_for_words",
    "begins_word",
    "keys_for",
    "meant",
    "pressed",
    "serves",
    "takes_text",
    "word_for",
]


class Action(StrEnum):
    """What a key asks for."""

    ACCEPT = "accept"
    TYPE = "type a reading"
    OVERLOAD = "OL"
    REPEAT = "repeat"
    EXCHANGE = "exchange leads"
    UNDO = "undo"
    SKIP = "skip"
    LATER = "later"
    WHY = "why"
    NOTE = "note"
    PHOTO = "photo"
    MOST_TELLING = "most telling next"
    STOP = "quit"
    YES = "yes"
    NO = "no"


_KEYS = {
    "a": Action.ACCEPT,
    "t": Action.TYPE,
    "o": Action.OVERLOAD,
    "r": Action.REPEAT,
    "x": Action.EXCHANGE,
    "u": Action.UNDO,
    "s": Action.SKIP,
    "l": Action.LATER,
    "w": Action.WHY,
    "n": Action.NOTE,
    "p": Action.PHOTO,
    "m": Action.MOST_TELLING,
    "q": Action.STOP,
}
#: an answer by eye is one key; a note is then typed as "note ...".
_BY_EYE = {"y": Action.YES, "n": Action.NO}
_NOT_BY_EYE = {Action.ACCEPT, Action.OVERLOAD, Action.REPEAT, Action.EXCHANGE, Action.NOTE}
#: what keys do while power is on.
LIVE_KEYS = (("any key", "power off"),)
#: words beside the first ones of the actions.
_OTHER_WORDS = {"take": Action.ACCEPT, "swap": Action.EXCHANGE, "stop": Action.STOP}
_NO_WORDS = {Action.OVERLOAD, Action.YES, Action.NO}  # they are answers and read as such
_WORDS = {str(action).partition(" ")[0]: action for action in Action if action not in _NO_WORDS} | _OTHER_WORDS
#: what words of one's own may follow.
_WITH_WORDS = {Action.SKIP, Action.LATER, Action.NOTE, Action.PHOTO}
_ASKS_FOR_WORDS = {Action.SKIP, Action.NOTE, Action.PHOTO, Action.TYPE}
#: what a display does or an eye says, in words that begin with a letter of a key.
_ANSWERS = (
    *("ol", "o.l", "open", "over", "overload", "overrange", "overflow", "ovld", "of", "o.f", "ok"),
    *("rises", "rising", "unstable", "silent", "seen"),
    *("no", "no beep", "not reachable", "not present", "not ok", "not seen", "not lit", "yes", "lit"),
)


def takes_text(check: Check) -> bool:
    """Return whether a check takes free words, such as a maker or a lot, of which any letter may be one."""
    return check.function is Function.VISUAL and (bool(check.name_asked) or not check.answers)


def _yes_or_no(check: Check) -> bool:
    return check.function is Function.VISUAL and check.answers[:2] == ("yes", "no")


def _table(check: Check, *, metered: bool, diagnosis: bool) -> dict[str, Action]:
    absent = set() if metered else {Action.ACCEPT, Action.REPEAT}
    absent |= set() if diagnosis and not check.powered else {Action.MOST_TELLING}
    absent |= _NOT_BY_EYE if check.function is Function.VISUAL else set()
    table = {key: action for key, action in _KEYS.items() if action not in absent}
    return {**_BY_EYE, **table} if _yes_or_no(check) else table


def keys_for(
    check: Check, *, metered: bool, diagnosis: bool = False, live: bool = False
) -> tuple[tuple[str, str], ...]:
    """Return the keys and words that serve at a check; `metered` where a linked meter reads.

    With `live` power is on: then any key switches it off, but for those that type what no link reads.
    """
    if live:
        return LIVE_KEYS if metered else (("digits, Enter", "the reading"), ("any other key", "power off"))
    return tuple((key, str(action)) for key, action in _table(check, metered=metered, diagnosis=diagnosis).items())


def pressed(sign: str, check: Check, *, metered: bool, diagnosis: bool = False) -> Action | None:
    """Return what a key asks for at a check, None where it asks for nothing."""
    return _table(check, metered=metered, diagnosis=diagnosis).get(sign.casefold())


def serves(action: Action, check: Check, *, metered: bool, diagnosis: bool = False) -> bool:
    """Return whether a word asks for something at a check; a note may be typed where its key means no."""
    return action is Action.NOTE or action in _table(check, metered=metered, diagnosis=diagnosis).values()


def word_for(action: Action) -> str:
    """Return an action as one word to type.

    >>> word_for(Action.EXCHANGE)
    'exchange'
    """
    return str(action).partition(" ")[0]


def meant(typed: str, check: Check) -> tuple[Action, str] | None:
    """Return the action a typed line asks for, by its word or its key alone, and the words that follow it.

    None where the line is no action, but an answer or nothing.
    """
    word, _, rest = typed.strip().partition(" ")
    word, rest = word.casefold(), rest.strip()
    by_eye = _BY_EYE if _yes_or_no(check) and not rest else {}
    action = by_eye.get(word) or _KEYS.get(word) or _WORDS.get(word)
    if action is None or not rest or action in _WITH_WORDS:
        return None if action is None else (action, rest)
    return (action, "") if f"{word_for(action)} {rest}".casefold() == action else None


def begins_word(text: str) -> bool:
    """Return whether a word of action, or of what a display does, begins with a text, or goes on in it.

    Only what words may follow goes on: "no ring is missing" begins with no answer, and is a note typed behind `n`.
    """
    typed = text.casefold()
    goes_on = (*(word for word, action in _WORDS.items() if action in _WITH_WORDS), "rises", "rising")
    known = any(word.startswith(typed) for word in (*_WORDS, *_ANSWERS))
    return known or any(typed.startswith(f"{word} ") for word in goes_on)


def asks_for_words(action: Action) -> bool:
    """Return whether an action has words typed, such as a reason; what is no word known is then meant for it."""
    return action in _ASKS_FOR_WORDS


def acts_alone(letter: str, following: str, check: Check) -> bool:
    """Return whether a key acts by itself when `following` came just after it ("": whatever comes).

    It does where no word begins so: a key pressed twice acts twice, and words that begin no action or answer go to
    the note, reason or path that the key asks for. Elsewhere two letters that begin no word known are a word
    mistyped, not two keys. Where free words are asked for, any letters may be one.
    """
    begun = (letter + following).casefold()
    if takes_text(check) or begins_word(begun):
        return False
    return not following.isalpha() or begun[0] == begun[1:] or _KEYS.get(begun[0]) in _ASKS_FOR_WORDS
