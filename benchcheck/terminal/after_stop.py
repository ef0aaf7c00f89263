"""What somebody wants after power was ended by a key, or was not confirmed: power again, later, or an end for now.

Nothing is pressed by accident here: keys that were pressed with the one that switched off are thrown away, power
comes back only after the cautions were shown again, and then only with everything confirmed anew.
"""

from __future__ import annotations

from collections.abc import Callable

from benchcheck.session.answers import Again, Answer, LeavePower, Remark, Skip, Step, Stop, Undo
from benchcheck.terminal.desk import Desk

__all__ = ["AFTER_STOP", "wish_at_desk", "wish_by_line"]

#: how long keys count as pressed with the one that switched off (common practice, no source).
_WITH_IT_S = 0.7
_ANEW = "power again begins anew: cautions, cells out, wiring, and what must be in order before power"
#: keys and what they do.
_KEYS = {
    "b": "begin power again",
    "l": "later (powered checks after the others)",
    "s": "skip",
    "u": "undo",
    "n": "note",
    "q": "quit (--resume goes on here)",
}
AFTER_STOP = (
    f"power            {_ANEW}",
    "later            powered checks after the others",
    "skip and why, undo, note and words, or",
    "stop             end here; --resume goes on at this check",
)


def _others_left(step: Step) -> bool:
    return any(not one.powered for one in step.left)


def _keys(step: Step) -> tuple[tuple[str, str], ...]:
    absent = set() if _others_left(step) else {"l"}
    return tuple((key, words) for key, words in _KEYS.items() if key not in absent)


def _leaving(reason: str) -> LeavePower:
    return LeavePower(f"power was left for later: {reason}")


def wish_at_desk(desk: Desk, step: Step, reason: str, cautions: tuple[str, ...]) -> Answer:
    """Show that power is off and why, and return what somebody wants then; EOFError when the terminal is gone."""
    desk.enter()
    desk.asking, desk.keys_stop = None, False
    keys = _keys(step)
    desk.picture.power_stopped(step, reason, _ANEW, keys)
    known = {key for key, _ in keys}
    until_s = desk.clock.monotonic_s() + _WITH_IT_S
    while True:
        key = desk.key()
        if desk.clock.monotonic_s() < until_s and key.name not in ("", "end"):
            continue
        if key.name == "end":
            return Stop()
        sign = key.text.casefold()
        answer = _pressed(desk, sign, reason, cautions) if key.name == "sign" and sign in known else None
        if answer is not None:
            desk.picture.going_on()
            return answer


def _pressed(desk: Desk, sign: str, reason: str, cautions: tuple[str, ...]) -> Answer | None:
    match sign:
        case "b":
            return Stop() if desk.turn_page(cautions) else Again()
        case "l":
            return _leaving(reason)
        case "u":
            return Undo()
        case "q":
            return Stop()
        case "s":
            text = desk.line("why is it left out?")
            return Skip(text.strip()) if text and text.strip() else None
        case _:
            text = desk.line("note")
            return Remark(text.strip()) if text and text.strip() else None


def wish_by_line(
    step: Step, reason: str, cautions: tuple[str, ...], ask: Callable[[str], str], tell: Callable[[str], None]
) -> Answer:
    """Say that power is off and why, and return what somebody types then; the end of input ends the visit."""
    tell("")
    tell(f"  power is off: {reason}")
    try:
        while True:
            for line in AFTER_STOP:
                tell(f"  {line}")
            answer = _typed(ask("> "), reason)
            if isinstance(answer, Again):
                for caution in cautions:
                    tell(f"  {caution}")
            if answer is not None:
                return answer
    except EOFError:
        tell("")
        return Stop()


def _typed(typed: str, reason: str) -> Answer | None:
    word, _, rest = typed.strip().partition(" ")
    rest = rest.strip()
    alone: dict[str, Answer] = {
        "power": Again(),
        "begin": Again(),
        "later": _leaving(reason),
        "undo": Undo(),
        "stop": Stop(),
        "quit": Stop(),
    }
    with_words: dict[str, Callable[[str], Answer]] = {"skip": Skip, "note": Remark}
    by_key = {key: words.partition(" ")[0] for key, words in _KEYS.items()}
    word = by_key.get(word.casefold(), word.casefold())
    if word in with_words and rest:
        return with_words[word](rest)
    return alone.get(word)
