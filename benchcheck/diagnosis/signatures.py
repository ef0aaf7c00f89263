"""Without nets: each part by itself, by what the readings of its kind look like when it is faulty.

The patterns are those of the trade (what a reading across the part shows), one part at a time: what lies around it is
not known, so a low reading may be the circuit's. Shares are common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.hypotheses import GOOD, Hypothesis, against_usual
from benchcheck.kinds.check import Check
from benchcheck.kinds.part import Part
from benchcheck.spec.board import Board

__all__ = ["by_signature", "parts_unread", "slips_by_signature"]

_ORIGIN = "common practice, no source: the signature of its kind, without the circuit around it"
_ORIGIN_BEFORE = "common practice, no source: nothing of it was read"
#: chance of what may be wrong with a part that was not read.
_BEFORE = {"missing-joint": 0.008, "open": 0.002, "short": 0.002}
#: how a reading lies: beyond overload, above, below, next to nothing, ten times or a tenth.
Looks = Mapping[str, str]
_JUNCTIONS = ("forward_drop", "body_diode", "be_drop", "bc_drop")
_BLOCKING = ("reverse", "blocking", "ce_blocking")
_NEAR_V, _NEAR_OHM = 0.05, 1.0
#: a good part against a sure sign of a fault on any, and a sign that what lies around the part gives as often
_GOOD_ODDS, _MAYBE = 0.05, 0.01


def by_signature(
    board: Board, evidence: Evidence, overloads: Mapping[str, bool]
) -> tuple[tuple[Hypothesis, float], ...]:
    """Return hypotheses with their probabilities, the likeliest first.

    `overloads` says which checks read OL.
    """
    weights: dict[tuple[str, str], float] = {}
    for name, part in board.parts.items():
        for fault, worth in _faults(part, _looks(board, name, evidence, overloads)):
            weights[name, fault] = max(weights.get((name, fault), 0.0), worth)
    good = _GOOD_ODDS if weights else 1.0
    found = [_weighed(board, name, fault, worth, _ORIGIN) for (name, fault), worth in weights.items()]
    for name in parts_unread(board, evidence, overloads):
        found += [_weighed(board, name, fault, good * chance, _ORIGIN_BEFORE) for fault, chance in _BEFORE.items()]
    total = good + sum(one.odds for one in found)
    every = ((GOOD, good / total), *((one, one.odds / total) for one in found))
    return tuple(sorted(every, key=lambda pair: -pair[1]))


def _weighed(board: Board, name: str, fault: str, worth: float, origin: str) -> Hypothesis:
    """Return a fault of a part by what it is worth on any part, and on this one."""
    times, why = against_usual(board.parts[name], fault.split()[0])
    return Hypothesis(name, fault, worth * times, origin + why)


def parts_unread(board: Board, evidence: Evidence, overloads: Mapping[str, bool]) -> tuple[str, ...]:
    """Return the parts of which no reading says anything."""
    return tuple(name for name in board.parts if not _looks(board, name, evidence, overloads))


def slips_by_signature(board: Board, evidence: Evidence) -> Iterator[tuple[str, str]]:
    """Yield the checks whose readings no fault of a part alone gives, and what may have been done there."""
    for check in board.checks:
        value = (evidence.numbers or {}).get(check.id)
        if value is None or check.powered or check.function not in (Function.OHMS, Function.LOW_POWER_OHMS):
            continue
        if value < 0.0:
            yield check.id, "reads below nothing: charge is left there"
        elif check.expected and any(math.isclose(value, by * check.expected, rel_tol=0.3) for by in (1e3, 1e-3)):
            yield check.id, "is a thousand times off: look at the prefix again"


def _looks(board: Board, name: str, evidence: Evidence, overloads: Mapping[str, bool]) -> Looks:
    looks = {_what(c): _look(c, evidence, overloads) for c in board.checks if c.subject == name}
    return {what: look for what, look in looks.items() if look}


def _what(check: Check) -> str:
    """Return the measurand, with the lead where it is read at both."""
    return check.id.removeprefix(f"{check.subject}.") if check.measurand == "polarity" else check.measurand


def _look(check: Check, evidence: Evidence, overloads: Mapping[str, bool]) -> str:
    if overloads.get(check.id):
        return "overload"
    value = (evidence.numbers or {}).get(check.id)
    if value is None:
        return ""
    near = _NEAR_V if check.function is Function.DIODE else _NEAR_OHM
    if abs(value) < near and (check.limits.upper is None or check.limits.upper > 5.0 * near):
        return "nothing"
    if (right := _right(check)) and check.limits.upper is not None:
        for factor, word in ((10.0, "tenfold"), (0.1, "a tenth")):
            if math.isclose(value, factor * right, rel_tol=0.3):
                return word
    if check.limits.upper is not None and value > check.limits.upper:
        return "high"
    return "low" if check.limits.lower is not None and value < check.limits.lower else "right"


def _right(check: Check) -> float | None:
    """Return what a part that is right reads: what the spec expects, else the middle of limits above nothing."""
    lower, upper = check.limits.lower, check.limits.upper
    middle = (lower + upper) / 2.0 if lower and upper and lower > 0.0 else None
    return check.expected or middle


def _faults(part: Part, looks: Looks) -> Iterator[tuple[str, float]]:
    found = [looks[what] for what in _JUNCTIONS if what in looks]
    forward = next((look for look in found if look != "right"), found[0] if found else "")
    back = next((looks[what] for what in _BLOCKING if what in looks), "")
    if forward or back:
        yield from _junction(part, forward, back)
    if "resistance" in looks or "dc_resistance" in looks:
        yield from _ohmic(looks.get("resistance") or looks.get("dc_resistance", ""))
    if "capacitance" in looks or "leakage_screen" in looks or "insulation" in looks or "esr" in looks:
        yield from _capacitor(looks)
    if looks.get("polarity[other]") in ("low", "nothing"):
        yield ("reversed", 2.0) if looks.get("polarity[marked]") in ("high", "overload") else ("reversed", 0.3)


def _junction(part: Part, forward: str, back: str) -> Iterator[tuple[str, float]]:
    turned = "reversed" if part.kind in ("diode", "led", "zener") else "wrong-polarity-type"
    if forward == "overload":
        yield (turned, 2.0) if back in ("low", "right", "high") else ("open", 2.0)
        yield ("open", 0.3) if back in ("low", "right", "high") else ("missing-joint", 1.0)
    if "nothing" in (forward, back):
        yield "short", 2.0 if forward == back else 1.0
    elif back == "low" and forward != "overload":
        yield "leaky", _MAYBE


def _ohmic(look: str) -> Iterator[tuple[str, float]]:
    if look == "overload":
        yield "open", 2.0
        yield "missing-joint", 1.0
    elif look == "tenfold":
        yield "decade x10", 2.0
    elif look == "a tenth":
        yield "decade x0.1", 1.0
    elif look == "high":
        yield "open", 1.0
        yield "missing-joint", 0.5
    elif look == "nothing":
        yield "short", 1.0


def _capacitor(looks: Looks) -> Iterator[tuple[str, float]]:
    across = looks.get("leakage_screen") or looks.get("insulation", "")
    value = looks.get("capacitance", "")
    if across == "nothing":
        yield "short", 2.0
    elif across == "low":
        yield "leaky", _MAYBE
    if value in ("nothing", "low", "a tenth"):
        yield ("decade x0.1", 2.0) if value == "a tenth" else ("open", 1.0)
        yield "missing-joint", 1.0
    elif value == "tenfold":
        yield "decade x10", 2.0
    if looks.get("esr") in ("high", "overload"):
        yield "dry", 2.0
