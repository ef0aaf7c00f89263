"""What somebody wants after power was ended, or was not confirmed: power again, later, or an end for now.

Nothing is pressed by accident here: keys that were pressed with the one that switched off are thrown away, power
comes back only after the cautions were shown again, and then only with everything confirmed anew. Where a stop rule
ended it, words on what was found and done come before that, and charge and shorts are measured again.
"""

from __future__ import annotations

from collections.abc import Callable

from benchcheck.session.answers import Again, Answer, Hindered, LeavePower, Remark, Skip, Step, Stop, Undo
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
#: what comes before power again where a stop rule ended it, and the keys that are others then.
_FOUND = (
    "find the fault and remove it; u takes back what was measured of it. Power again begins anew: what was found and "
    "done, charge and shorts to ground measured again, cautions, cells out, wiring"
)
_WHAT_FOUND = "what was found, and what was done about it?"
_RULED_KEYS = {"b": "begin power again, the fault being gone", "k": "keep power off for this visit"}
AFTER_STOP = (
    f"power            {_ANEW}",
    "later            powered checks after the others",
    "skip and why, undo, note and words, or",
    "stop             end here; --resume goes on at this check",
)
AFTER_RULE = (
    "power and words  the fault is gone: what was found and done, then charge and shorts measured again",
    "keep             power stays off for this visit",
    *AFTER_STOP[1:],
)


def _others_left(step: Step) -> bool:
    return any(not one.powered for one in step.left)


def _keys(step: Step, *, ruled: bool) -> tuple[tuple[str, str], ...]:
    absent = set() if _others_left(step) else {"l"}
    keys = {**_RULED_KEYS, **{key: words for key, words in _KEYS.items() if key != "b"}} if ruled else _KEYS
    return tuple((key, words) for key, words in keys.items() if key not in absent)


def _leaving(reason: str) -> LeavePower:
    return LeavePower(f"power was left for later: {reason}")


def wish_at_desk(desk: Desk, step: Step, reason: str, cautions: tuple[str, ...], *, ruled: bool = False) -> Answer:
    """Show that power is off and why, and return what somebody wants then; EOFError when the terminal is gone.

    `ruled` where a stop rule or an instrument ended it, which has a cause that must be found before power again.
    """
    desk.enter()
    desk.asking, desk.keys_stop = None, False
    keys = _keys(step, ruled=ruled)
    desk.picture.power_stopped(step, reason, _FOUND if ruled else _ANEW, keys)
    known = {key for key, _ in keys}
    until_s = desk.clock.monotonic_s() + _WITH_IT_S
    while True:
        key = desk.key()
        if desk.clock.monotonic_s() < until_s and key.name not in ("", "end"):
            continue
        if key.name == "end":
            return Stop()
        sign = key.text.casefold()
        pressed = key.name == "sign" and sign in known and not key.came
        answer = _pressed(desk, sign, reason, cautions, ruled=ruled) if pressed else None
        if answer is not None:
            desk.picture.going_on()
            return answer


def _pressed(desk: Desk, sign: str, reason: str, cautions: tuple[str, ...], *, ruled: bool) -> Answer | None:
    match sign:
        case "b":
            return _power_again(desk, cautions, ruled=ruled)
        case "k":
            return Hindered(f"power was switched off: {reason}")
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


def _power_again(desk: Desk, cautions: tuple[str, ...], *, ruled: bool) -> Answer | None:
    found = (desk.line(_WHAT_FOUND) or "").strip() if ruled else ""
    if ruled and not found:
        desk.picture.say("power stays off until it is said what was found and done")
        return None
    return Stop() if desk.turn_page(cautions) else Again(found)


def wish_by_line(
    reason: str,
    cautions: tuple[str, ...],
    ask: Callable[[str], str],
    tell: Callable[[str], None],
    *,
    ruled: bool = False,
) -> Answer:
    """Say that power is off and why, and return what somebody types then; the end of input ends the visit.

    `ruled` as at the desk.
    """
    tell("")
    tell(f"  power is off: {reason}")
    try:
        while True:
            for line in AFTER_RULE if ruled else AFTER_STOP:
                tell(f"  {line}")
            answer = _typed(ask("> "), reason, ruled=ruled)
            if isinstance(answer, Again):
                for caution in cautions:
                    tell(f"  {caution}")
            if answer is not None:
                return answer
    except EOFError:
        tell("")
        return Stop()


def _typed(typed: str, reason: str, *, ruled: bool) -> Answer | None:
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
    if ruled:
        alone = {**alone, "keep": Hindered(f"power was switched off: {reason}")}
        del alone["power"], alone["begin"]
        with_words = {**with_words, "power": Again, "begin": Again}
    by_key = {key: words.partition(" ")[0] for key, words in {**_RULED_KEYS, **_KEYS}.items()}
    word = by_key.get(word.casefold(), word.casefold())
    if word in with_words and rest:
        return with_words[word](rest)
    return alone.get(word)
