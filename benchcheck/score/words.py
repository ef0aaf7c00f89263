"""How scores speak: values with their quantity unit, in ASCII, so that every terminal, log and file shows them."""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check
from benchcheck.quantity import brief_value, format_percent

__all__ = ["joined", "lifted", "limits_words", "shown"]


def shown(check: Check, value: float, digits: int = 4) -> str:
    """Return a value in the check's quantity unit to so many significant digits at most; ratios as percent."""
    if check.quantity_unit == "1":
        return format_percent(value, digits) if check.function is Function.DERIVED else f"{value:.{digits}g}"
    return brief_value(value, check.quantity_unit, digits)


def limits_words(check: Check) -> str:
    """Return the tolerance limits in words: "4.653 kohm to 4.747 kohm", "at least 150 ohm"."""
    lower, upper = check.limits.lower, check.limits.upper
    if lower is not None and upper is not None:
        return f"{shown(check, lower)} to {shown(check, upper)}"
    if lower is not None:
        return f"at least {shown(check, lower)}"
    return f"at most {shown(check, upper)}" if upper is not None else "no limits"


def joined(*sentences: str) -> str:
    """Return sentences as one line, each ended once and started in upper case but for the first.

    >>> joined("read again", "On the board, lift one lead.")
    'read again. On the board, lift one lead.'
    """
    kept = [sentence.strip().rstrip(".") for sentence in sentences if sentence]
    text = ". ".join(kept)
    return f"{text}." if len(kept) > 1 else text


def lifted(check: Check) -> str:
    """Return the advice for a part that others hide: the check's own where it speaks of lifting, else ours."""
    return check.workaround if "lift" in check.workaround else joined("lift one leg and read again", check.workaround)
