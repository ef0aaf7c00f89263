"""A diagnosis in words for people, and as the documented keys for programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED
from benchcheck.diagnosis.next_measurement import STOP_AT
from benchcheck.diagnosis.result import Diagnosis, Ranked, Suggestion, each_once

__all__ = ["diagnosis_json", "diagnosis_lines", "short_lines"]

_SHOWN_GROUPS, _LEAST_SHOWN = 5, 0.01
#: what tells no more than this is not said in figures.
_LEAST_BITS = 0.005


def _names(group: tuple[Ranked, ...]) -> str:
    group = each_once(group)
    no_fault = "no fault shown: " if group[0].hypothesis is UNNAMED else ""
    return (
        no_fault
        + ", ".join(str(one.hypothesis) for one in group[:5])
        + (f" and {len(group) - 5} more" if len(group) > 5 else "")
    )


def _but_for(found: Diagnosis, group: tuple[Ranked, ...]) -> str:
    """Return what is added to the leader where it does not explain all readings."""
    names = found.unexplained
    if not names or group != found.leading[0]:
        return ""
    return f"; not explained by that: {', '.join(names[:3])}" + (f" and {len(names) - 3} more" if names[3:] else "")


def diagnosis_lines(found: Diagnosis) -> Iterator[str]:
    """Yield the lines that say what is likely wrong and what to measure next."""
    yield "likely cause"
    for group, share in found.groups()[:_SHOWN_GROUPS]:
        if share >= _LEAST_SHOWN:
            yield f"  {_percent(share)}  {_names(group)}{_but_for(found, group)}"
            yield from ("        no reading between nets tells these apart",) if len(each_once(group)) > 1 else ()
    for one in found.suggestions:
        yield f"next: {one.words}"
        bits = f"{one.information_bits:.2f} bit in " if one.information_bits >= _LEAST_BITS else ""
        yield f"      ({_entry(one)}{bits}{one.cost_s:.0f} s)"
    if not found.suggestions:
        yield f"next: {_nothing_more(found)}"
    yield from (f"note: {remark}" for remark in found.remarks)
    shown = (group[0].hypothesis for group, share in found.groups()[:_SHOWN_GROUPS] if share >= _LEAST_SHOWN)
    fault = next((one for one in shown if one is not GOOD), None)
    if fault is not None:
        yield f"chance before any reading: {fault.origin}"


def _nothing_more(found: Diagnosis) -> str:
    group, share = found.groups()[0]
    if found.unexplained:
        return f"read {', '.join(found.unexplained[:3])} again; nothing here explains what was noted"
    if share < STOP_AT:
        return "no reading that this bench can take separates these further"
    if group[0].hypothesis is GOOD:
        return "nothing; no reading so far speaks for a fault"
    if group[0].hypothesis is UNNAMED:
        return "a known-good unit tells what these nets should read; or lift one leg of the part in question"
    return "put that right, then read the checks around it again"


def _entry(one: Suggestion) -> str:
    """Return what the reading is called in a readings file."""
    if one.check:
        return f"{one.check}; "
    return f"between.{one.function}[{one.red}:{one.black}]; " if one.by_net else ""


def _percent(share: float) -> str:
    return f"{100.0 * share:4.0f} %" if share < 0.995 else ">99 %"


def short_lines(found: Diagnosis) -> Iterator[str]:
    """Yield two lines for the end of a visit, none where the board looks good."""
    leading, good = found.groups()[0]
    group, share = next((each for each in found.groups() if each[0][0].hypothesis is not GOOD), ((), 0.0))
    if leading[0].hypothesis is GOOD and good >= STOP_AT:
        yield from (
            (f"likely cause: none found; a good board suits the readings best ({_percent(good).strip()})",)
            if group
            else ()
        )
    elif group and share >= _LEAST_SHOWN:
        yield f"likely cause: {_names(group[:3])} ({_percent(share).strip()})"
    if found.unexplained:
        yield from found.remarks[:1]
    for one in found.suggestions[:1]:
        yield f"next: {one.words}"


def diagnosis_json(found: Diagnosis) -> dict[str, Any]:
    """Return the result for programs, with the keys of the documented format."""
    return {
        "format": 1,
        "remarks": list(found.remarks),
        "hypotheses": [
            {
                "designator": one.hypothesis.designator,
                "fault": " ".join(filter(None, (one.hypothesis.fault, one.hypothesis.check))),
                "probability": one.probability,
                "group": one.group,
                "origin": one.hypothesis.origin,
                "also": [str(other) for other in one.hypothesis.also],
            }
            for one in found.ranked
        ],
        "next": [
            {
                "red": one.red,
                "black": one.black,
                "function": None if one.function is None else str(one.function),
                "information_bits": one.information_bits,
                "cost_s": one.cost_s,
                "check": one.check,
                "words": one.words,
                "if_cause": [
                    {"designator": c.hypothesis.designator, "fault": c.hypothesis.fault, "display": c.display}
                    for c in one.if_cause
                ],
            }
            for one in found.suggestions
        ],
    }
