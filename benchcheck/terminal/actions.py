"""The keys of a guided visit, each the first letter of its word where that is free; words serve typed alike."""

from __future__ import annotations

from enum import StrEnum

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check

__all__ = ["Action", "keys_for", "pressed"]


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


def _yes_or_no(check: Check) -> bool:
    return check.function is Function.VISUAL and check.answers[:2] == ("yes", "no")


def _table(check: Check, *, metered: bool, diagnosis: bool) -> dict[str, Action]:
    absent = set() if metered else {Action.ACCEPT, Action.REPEAT}
    absent |= set() if diagnosis and not check.powered else {Action.MOST_TELLING}
    absent |= _NOT_BY_EYE if check.function is Function.VISUAL else set()
    table = {key: action for key, action in _KEYS.items() if action not in absent}
    return {**_BY_EYE, **table} if _yes_or_no(check) else table


def keys_for(check: Check, *, metered: bool, diagnosis: bool = False) -> tuple[tuple[str, str], ...]:
    """Return the keys and words that serve at a check; `metered` where a linked meter reads."""
    keys = tuple((key, str(action)) for key, action in _table(check, metered=metered, diagnosis=diagnosis).items())
    return (*keys, ("any other key", "power off")) if check.powered else keys


def pressed(sign: str, check: Check, *, metered: bool, diagnosis: bool = False) -> Action | None:
    """Return what a key asks for at a check, None where it asks for nothing."""
    return _table(check, metered=metered, diagnosis=diagnosis).get(sign.casefold())
