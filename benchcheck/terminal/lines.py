"""One line a check: the verdict in whole words, the check, what was read, and a drawing of it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from benchcheck.quantity import format_percent, format_value
from benchcheck.score.model import Outcome, Score, Verdict
from benchcheck.session.answers import Answer, Photo, Remark
from benchcheck.terminal.drawing import draw
from benchcheck.terminal.wrapping import WIDTH, wrapped

__all__ = [
    "STYLES",
    "kept_words",
    "outcome_word",
    "score_lines",
    "score_sentence",
    "shown_text",
    "stays",
    "summary_line",
]

_UNDER = " " * 17
#: colour only repeats what the words say.
STYLES: dict[str, str] = {
    Verdict.PASS: "green",
    Verdict.CONDITIONAL_PASS: "cyan",
    Verdict.CONDITIONAL_FAIL: "magenta",
    Verdict.FAIL: "bold red",
    Verdict.UNDECIDED: "yellow",
}


def outcome_word(score: Score) -> str:
    """Return the verdict of a measured check, the outcome of any other."""
    return str(score.verdict if score.outcome is Outcome.MEASURED and score.verdict else score.outcome)


def score_lines(score: Score, *, reasons: bool = True, width: int = WIDTH) -> tuple[str, ...]:
    """Return the line of a score, at most 80 columns, and under it why it is not a pass and what would help.

    All is folded to `width`, where the drawing does not fit without it.
    """
    if score.outcome is not Outcome.MEASURED:
        return tuple(_unmeasured_lines(score, reasons, width))
    head = _clip(
        f"{outcome_word(score):<16} {score.check:<31}{_clip(shown_text(score), 12):>12} {draw(score)}".rstrip(), WIDTH
    )
    first = (head,) if len(head) <= width else _narrow(score, width)
    if not reasons or score.verdict is Verdict.PASS:
        return first
    return (*first, *wrapped(_reasons(score), *_under(width), width))


def _narrow(score: Score, width: int) -> tuple[str, ...]:
    """Return the line of a score without its drawing, folded: for terminals that cannot hold it."""
    return tuple(wrapped(f"{outcome_word(score)}  {score.check}  {shown_text(score)}", "", "  ", width))


def _under(width: int) -> tuple[str, str]:
    indent = _UNDER[: width // 4]
    return indent, indent


def _unmeasured_lines(score: Score, reasons: bool, width: int) -> list[str]:
    """Return what was not measured on one line with the reason, if it fits; what would change it is plain."""
    head = f"{outcome_word(score):<16} {score.check:<31} "
    if reasons and len(head) + len(score.because) <= width:
        return [f"{head}{score.because}".rstrip()]
    first = [_clip(head.rstrip(), WIDTH)] if len(head.rstrip()) <= width else list(_narrow(score, width))
    return [
        *first,
        *(wrapped(_sentence(score.because), *_under(width), width) if reasons else ()),
    ]


def shown_text(score: Score) -> str:
    """Return the value of a score in its unit, or what was shown where there is no value."""
    if score.value is None:
        return score.display
    if score.quantity_unit == "1" and abs(score.value) < 1.0:
        return format_percent(score.value, 4)  # limits of such ratios are given and explained in percent
    if score.quantity_unit == "ohm" and score.value < 0.0:
        return "about 0 ohm"  # less than the leads by themselves, which are taken off
    return format_value(float(f"{score.value:.4g}"), score.quantity_unit, ascii=True)


def score_sentence(score: Score) -> str:
    """Return a score as one sentence for a test report: `fail: 4.99k. 4.99 kohm lies 243 ohm above ...`."""
    shown = f"{score.display}. " if score.display else ""
    return f"{outcome_word(score)}: {shown}{_reasons(score)}".strip()


def _reasons(score: Score) -> str:
    return " ".join(_sentence(part) for part in (score.because, _helps(score)) if part)


def kept_words(answer: Answer | None) -> str:
    """Return what was kept of a note or a photo, "" for any other answer.

    >>> kept_words(Remark("pad lifted"))
    'note kept: pad lifted'
    """
    match answer:
        case Remark(text):
            return f"note kept: {text}"
        case Photo(name, digest):
            return f"photo kept: {name}, SHA-256 {digest[:12]}..."
        case _:
            return ""


def summary_line(scores: Iterable[Score]) -> str:
    """Return how many checks came to what, in words: `31 pass, 2 undecided, 1 fail`."""
    counts = Counter(outcome_word(score) for score in scores)
    order = [*map(str, Verdict), *map(str, Outcome)]
    told = [f"{counts[word]} {word}" for word in order if counts[word]]
    return ", ".join(told) if told else "no checks"


def _helps(score: Score) -> str:
    return f"What would change it: {score.change}" if score.change else ""


def _sentence(words: str) -> str:
    return words.rstrip(" .") + "."


def _clip(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "~"


#: how a line begins that must not vanish with the guided screen, and what it is about: the last of each counts.
_STAYS = {"soak": "soak", "no soak": "soak", "power off": "power", "output off": "power"}


def stays(line: str) -> str:
    """Return what a line told on the guided screen is about, if it is to be said again once the screen has gone.

    >>> stays("output off; the board still holds 4.53 V: discharge it through a resistor")
    'power'
    """
    return next((about for begins, about in _STAYS.items() if line.startswith(begins)), "")
