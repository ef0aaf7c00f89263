"""Everything that instruments, cables and gateways have been seen doing wrong, to be switched on one at a time.

Kinds of the wire change how an answer travels; kinds of the instrument change what it does. A misbehaviour strikes
messages that match a pattern, a given number of times, and says by `harmless` whether a good driver must still get
a right answer through it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["HARMLESS", "Kind", "Misbehaviour"]


class Kind(StrEnum):
    """One way to misbehave; `amount` means seconds, a factor or a number as its line says."""

    LATE = "answer comes after `amount` seconds"
    SPLIT = "answer comes in five segments"
    DRIBBLES = "answer comes one byte every `amount` seconds"
    PAUSES = "answer pauses for `amount` seconds in the middle"
    MISSING = "answer never comes"
    NO_TERMINATOR = "answer has no terminator"
    ENDLESS = "answer never ends"
    OVERSIZED = "answer is a megabyte long"
    GARBLED = "answer has bytes that are no text"
    GARBLED_LINES = "answer is many lines of rubbish"
    LETTER_CHANGED = "a digit of the answer arrives as a letter"
    DIGIT_CHANGED = "a digit of the answer arrives as another digit"
    TRUNCATED = "answer loses its second half but not its terminator"
    EMPTY = "answer is an empty line"
    DUPLICATED = "answer comes twice"
    DUPLICATED_LATER = "answer comes again after `amount` seconds"
    TEXT_BEFORE = "a line nobody asked for comes before the answer"
    NUMBER_BEFORE = "a number nobody asked for comes before the answer"
    NUMBER_LATER = "a number nobody asked for comes `amount` seconds after the answer"
    ONE_BEHIND = "the answer to the question before comes instead"
    CLOSES_BEFORE = "connection closes before the answer"
    CLOSES_AMID = "connection closes in the middle of the answer"
    RESETS_AMID = "connection is reset in the middle of the answer"
    CLOSES_AFTER = "connection closes after the answer"
    REFUSES = "connection closes and none is accepted for `amount` seconds"
    MUTE = "accepts connections and messages but says nothing for `amount` seconds"
    CRLF = "lines end CR LF"
    LFCR = "lines end LF CR"
    NUL = "lines end NUL LF"
    BLANKS = "answers have blanks around them"
    DROPS_EARLY = "messages within `amount` seconds of the last are dropped"
    SLOW_FIRST = "the first answer of a connection takes `amount` seconds"
    RESTARTS = "instrument is switched off and on, settings lost"
    RESTARTS_ON = "instrument is switched off and on and comes back with its output on"
    OTHER_IDENTITY = "another instrument answers"
    ERROR_STUCK = "the same error is in the queue for ever"
    QUEUE_FULL = "the error queue has overflowed"
    DEVICE_ERROR = "a device error is in the queue"
    SETTINGS_IGNORED = "settings are ignored without an error"
    SETTINGS_SCALED = "settings are taken times `amount`"
    OFF_IGNORED = "switching off is ignored without an error"
    ON_IGNORED = "switching on is ignored without an error"
    READBACK_SCALED = "measured values are shown times `amount`"
    OVERLOAD = "readings are 9.9E37"
    NOT_A_NUMBER = "readings are 9.91E37"
    OVERLOAD_TEXT = "readings are dots"
    DECIMAL_COMMA = "numbers have a decimal comma"
    UNIT_SUFFIX = "numbers have a unit with a prefix behind them"
    NAN_TEXT = "readings are NAN"
    HEADER_UNKNOWN = "the command is unknown: no answer and -113"


#: what a driver must get right answers through, because nothing is wrong with the answer
HARMLESS = frozenset(
    {
        Kind.SPLIT,
        Kind.CRLF,
        Kind.LFCR,
        Kind.NUL,
        Kind.BLANKS,
    }
)


@dataclass(slots=True)
class Misbehaviour:
    """One kind, switched on: it strikes messages that match, `times` times (-1: for ever), after `skip` of them."""

    kind: Kind
    match: str = ""
    times: int = 1
    amount: float = 0.0
    skip: int = 0
    struck: int = 0

    def strikes(self, message: str) -> bool:
        """Return whether this message is struck, and count it."""
        if self.times == 0 or re.search(self.match, message, re.IGNORECASE) is None:
            return False
        if self.skip > 0:
            self.skip -= 1
            return False
        self.times -= self.times > 0
        self.struck += 1
        return True
