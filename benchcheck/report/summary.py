"""What the owner of a unit wants to know of a visit, on one page: done, measured, not tested, to be watched.

Everything here follows from the record; nothing is claimed that no check of it shows.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from benchcheck.report.wording import (
    because_words,
    counted,
    counts_words,
    day_words,
    limits_words,
    one_line,
    tally,
    value_words,
    verdict_words,
)

if TYPE_CHECKING:
    from benchcheck.record.record import Record
    from benchcheck.score.model import Score

__all__ = ["Note", "Summary", "summarise"]

_STAGES = {
    "as-found": "Looked at as it came in, before any repair",
    "as-left": "Measured after the repair, as it leaves the bench",
    "return": "Measured when it came back",
}
#: measurand -> what a person without a meter calls it; several measurands may be one thing.
_THINGS = {
    "orientation": "new parts looked at",
    "rating": "new parts looked at",
    "maker": "new parts looked at",
    "series": "new parts looked at",
    "lot": "new parts looked at",
    "joint": "solder joints",
    "residual_voltage": "charge left on capacitors and supplies",
    "polarity": "capacitors the right way round",
    "resistance": "resistances",
    "to_ground": "supplies tested for shorts",
    "capacitance": "capacitors",
    "insulation": "capacitors",
    "leakage_screen": "capacitors screened for leakage",
    "esr": "capacitor series resistances",
    "forward_drop": "diodes and transistors",
    "reverse": "diodes and transistors",
    "zener_voltage": "diodes and transistors",
    "be_drop": "diodes and transistors",
    "bc_drop": "diodes and transistors",
    "drop_difference": "diodes and transistors",
    "ce_blocking": "diodes and transistors",
    "body_diode": "diodes and transistors",
    "blocking": "diodes and transistors",
    "gate_insulation": "diodes and transistors",
    "dc_resistance": "coils",
    "inductance": "coils",
    "voltage": "supply voltages under power",
    "output_voltage": "supply voltages under power",
    "bias": "supply voltages under power",
    "load_regulation": "supply voltages under load",
    "ripple": "supply ripple",
    "idle_current": "current drawn when idle",
    "off_current": "current drawn when off",
    "closed_resistance": "switches and connectors",
    "open_resistance": "switches and connectors",
}
_POWERED = frozenset(
    {"voltage", "output_voltage", "bias", "load_regulation", "ripple", "idle_current", "off_current", "on_resistance",
     "off_leakage", "dropout", "inrush_time", "loaded_voltage"}
)  # fmt: skip
#: verdicts under which a check was answered; the others leave a question open.
_ANSWERED = frozenset({"pass", "conditional pass", "conditional fail", "fail"})
_REASONS = {
    "meter": "the meter is not accurate enough",
    "circuit": "the circuit around the part hides it",
    "compliance": "the meter gives too little voltage",
    "one-sided": "a reading on the board can convict, but not clear",
    "method": "the method can reject, but not prove",
    "contact": "contact was in doubt",
    "": "no reason was recorded",
}
_NAMES_SHOWN = 12
_REASONS_SHOWN = 6
_NOTES_SHOWN = 6
_LONGEST_NOTE = 300
#: how a score words that a value is outside: the value, then by how much and of which limit.
_LIES = re.compile(r"(\S+ \S+ )lies \S+ \S+ (?:above|below) the (?:upper|lower) limit ")
#: verdicts to be watched, the worst first.
_WATCHED = ("fail", "conditional fail", "conditional pass")


@dataclass(frozen=True, slots=True)
class Note:
    """One line of the summary: what it is about, in words, and the checks it points to.

    Where there are `parts`, one a check, their names stand for the checks. `more` are not named here.
    """

    title: str
    text: str
    checks: tuple[str, ...] = ()
    more: int = 0
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Summary:
    """The owner's page: a sentence that says how it stands, then notes under four headings.

    `open` names every check of `not_tested`, for the technician.
    """

    headline: str
    standing: str
    done: tuple[Note, ...]
    measured: tuple[Note, ...]
    not_tested: tuple[Note, ...]
    watched: tuple[Note, ...]
    open: tuple[Note, ...] = ()


def summarise(record: Record) -> Summary:
    """Return the owner's summary of a record."""
    counts = dict(tally(record.scores))
    left_open = _left_open(record.scores)
    return Summary(
        headline=_headline(record, counts),
        standing=_standing(record, counts),
        done=tuple(_done(record)),
        measured=tuple(_measured(record.scores)),
        not_tested=tuple(_not_tested(left_open)),
        watched=tuple(_watched(record)),
        open=tuple(Note(title, _number(checks), tuple(checks)) for title, checks in left_open),
    )


def part_of(check: str) -> str:
    """Return what a check's id says it is about: `VSW` of `VSW.voltage[120mA]`."""
    return check.partition("[")[0].rpartition(".")[0] or check


def measurand(check: str) -> str:
    """Return what a check's id says is measured: `voltage` of `VSW.voltage[120mA]`."""
    return check.partition("[")[0].rpartition(".")[2]


def _standing(record: Record, counts: dict[str, int]) -> str:
    """Return the one verdict word that colours the headline."""
    if counts.get("fail") or counts.get("conditional fail"):
        return "fail"
    if record.result is None or not counts or counts.keys() - {"pass", "conditional pass"} or record.problems:
        return "undecided"
    return "pass"


def _headline(record: Record, counts: dict[str, int]) -> str:
    failed = counts.get("fail", 0) + counts.get("conditional fail", 0)
    left = sum(number for word, number in counts.items() if word not in _ANSWERED)
    if record.result is None:
        state = "This visit has no result yet"
    elif failed:
        state = f"{failed} of {counted(len(record.scores), 'check')} failed"
    elif left:
        stay = "stays" if left == 1 else "stay"
        state = f"Nothing failed; {left} of {counted(len(record.scores), 'check')} {stay} open"
    elif record.scores:
        state = f"All {len(record.scores)} checks passed" if len(record.scores) > 1 else "The only check passed"
    else:
        state = "Nothing was checked"
    return f"{state}: {counts_words(counts.items())}."


def _done(record: Record) -> Iterable[Note]:
    head = record.head
    by = f" by {head.operator}" if head.operator else ""
    yield Note("This visit", f"{_STAGES.get(str(head.stage), str(head.stage))}, on {day_words(head.date)}{by}.")
    seen = [score.check.rpartition(".")[0] for score in record.scores if _is_look(score)]
    parts = tuple(dict.fromkeys(seen))
    if parts:
        yield Note("New parts looked at", f"{len(parts)}: {_few(parts)}.")
    powered = [score for score in record.scores if measurand(score.check) in _POWERED and _answered(score)]
    yield Note(
        "Under power",
        f"{_number(powered)} with the unit switched on."
        if powered
        else "The unit was not measured with its power on.",
    )
    noted = [event for event in record.events if str(event.kind) in ("note", "amendment")]
    for event in noted[:_NOTES_SHOWN]:
        yield Note(str(event.kind).capitalize(), _short(event.text), (event.check,) if event.check else ())
    if (more := len(noted) - _NOTES_SHOWN) > 0:
        yield Note("Noted further", f"{counted(more, 'note')}, all of them under what was noted on the way.")


def _short(text: str) -> str:
    """Return a text that leaves the page to the others; the whole stands where all that was noted does."""
    return one_line(text, _LONGEST_NOTE)


def _is_look(score: Score) -> bool:
    return _THINGS.get(measurand(score.check)) == "new parts looked at" and _answered(score)


def _answered(score: Score) -> bool:
    return verdict_words(score) in _ANSWERED


def _measured(scores: Sequence[Score]) -> Iterable[Note]:
    groups: dict[str, list[Score]] = {}
    for score in scores:
        if _answered(score):
            groups.setdefault(_THINGS.get(measurand(score.check), "other checks"), []).append(score)
    for thing, found in sorted(groups.items(), key=lambda group: group[0] == "other checks"):
        yield Note(thing[:1].upper() + thing[1:], counts_words(tally(found)))


def _left_open(scores: Sequence[Score]) -> list[tuple[str, list[str]]]:
    """Return the checks without an answer by why there is none, at most six reasons of each kind by name."""
    found = []
    for word in ("undecided", "skipped", "blocked", "error"):
        groups: dict[str, list[str]] = {}
        for score in scores:
            if verdict_words(score) == word:
                reason = _REASONS[str(score.code or "")] if word == "undecided" else because_words(score)
                groups.setdefault(reason or "no reason was recorded", []).append(score.check)
        named = list(groups.items())
        found += [(f"{word.capitalize()}: {reason}", checks) for reason, checks in named[:_REASONS_SHOWN]]
        rest = [check for _, checks in named[_REASONS_SHOWN:] for check in checks]
        if rest:
            found.append((f"{word.capitalize()}, for other reasons", rest))
    return found


def _not_tested(left_open: Iterable[tuple[str, list[str]]]) -> Iterable[Note]:
    for title, checks in left_open:
        first: dict[str, str] = {}
        for check in checks:
            first.setdefault(part_of(check), check)
        shown = list(first.items())[:_NAMES_SHOWN]
        yield Note(
            title,
            _number(checks),
            tuple(check for _, check in shown),
            len(first) - len(shown),
            tuple(part for part, _ in shown),
        )
    yield Note(
        "Never part of this", "Anything without a line in the table: function, safety and parts that no check names."
    )


def _watched(record: Record) -> Iterable[Note]:
    found = [score for word in _WATCHED for score in record.scores if verdict_words(score) == word]
    for score in found[:_NAMES_SHOWN]:
        yield Note(verdict_words(score), _why_watched(score), (score.check,))
    if more := found[_NAMES_SHOWN:]:
        yield Note("And further", counts_words(tally(more)), *_shown([score.check for score in more]))
    for waiver in record.head.waivers:
        yield Note("Power applied without this check", _short(waiver.reason), (waiver.check,))
    for one in record.head.instruments:
        if overdue(one.calibration_due, record):
            yield Note("Calibration overdue", f"{one.name} was due on {one.calibration_due}.")
    for problem in record.problems[:_NOTES_SHOWN]:
        yield Note("The record itself", _short(str(problem)))
    if (more_wrong := len(record.problems) - _NOTES_SHOWN) > 0:
        yield Note("The record itself", f"{counted(more_wrong, 'more problem')}, at the end of this sheet.")


def _why_watched(score: Score) -> str:
    """Return value, what was asked for and why, each of them once: many a reason names value and limit itself."""
    because = because_words(score)
    lies = _LIES.match(because)
    words = (value_words(score), "" if lies else _asked(score), because[lies.end(1) :] if lies else because)
    return "; ".join(word for word in words if word)


def overdue(due: date | None, record: Record) -> bool:
    """Return whether an instrument's calibration was overdue on the day of the visit."""
    return due is not None and record.head.date is not None and due < record.head.date.date()


def _asked(score: Score) -> str:
    limits = limits_words(score)
    return f"asked for: {limits}" if limits else ""


def _number(checks: Sequence[object]) -> str:
    return counted(len(checks), "check")


def _shown(checks: Sequence[str]) -> tuple[tuple[str, ...], int]:
    return tuple(checks[:_NAMES_SHOWN]), max(0, len(checks) - _NAMES_SHOWN)


def _few(names: Sequence[str]) -> str:
    more = len(names) - 3 * _NAMES_SHOWN
    return ", ".join(names[: 3 * _NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
