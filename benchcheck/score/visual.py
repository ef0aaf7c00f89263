"""Visual checks: answered with the eyes, in words; the first of the check's answers is the one that passes."""

from __future__ import annotations

from benchcheck.kinds.check import Check
from benchcheck.metrology import Verdict
from benchcheck.quantity import Display, DisplayState
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.model import Reason

__all__ = ["judge_words"]


def judge_words(check: Check, display: Display) -> Finding:
    """Return what an answer shows: yes or the first answer passes, no or another answer fails.

    Where a check has no answers any word is what was seen, and noting it is all that was asked. Where it asks for a
    name (a maker, a series, a lot) that name is a yes, and another name is a no that says more.
    """
    text = _folded(display.text)
    answers = [_folded(answer) for answer in check.answers]
    right = {*answers[:1], _folded(check.name_asked)}
    if text in right or (display.state is DisplayState.YES and text not in answers):
        return Finding(Verdict.PASS)
    if text in answers or display.state is DisplayState.NO:
        return Finding(Verdict.FAIL, None, _seen(check, display), "look again with a loupe and tilted light")
    if display.state is DisplayState.TEXT and not answers:
        return Finding(Verdict.PASS)
    if display.state is DisplayState.TEXT and check.name_asked:
        return Finding(Verdict.FAIL, None, _seen(check, display), "fit what the spec names, or name this in the spec")
    allowed = " or ".join(f'"{answer}"' for answer in check.answers) or '"yes" or "no"'
    return undecided(Reason.METHOD, f'"{display.text}" is no answer to this check', f"answer {allowed}")


def _folded(text: str) -> str:
    return " ".join(text.casefold().split())


def _seen(check: Check, display: Display) -> str:
    wanted = f'; it should be "{check.name_asked or check.answers[0]}"' if check.answers else ""
    return f'seen: "{display.text}"{wanted}'
