"""What every kind builds its checks from: ids, probe tips in words, limits given or supplied.

A check's id is subject, measurand and bracket: `C9.polarity[marked]`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypedDict, Unpack

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence, Formula, Limits, Phase, Probe
from benchcheck.kinds.fields import Given
from benchcheck.kinds.part import Part

__all__ = ["Details", "check", "check_id", "chosen", "merged_switches", "middle", "part_check", "pin_words", "probe"]


class Details(TypedDict, total=False):
    """The optional fields of a `Check`, for the builders below."""

    bracket: str
    expected: float | None
    evidence: Evidence
    first_step: str
    why: str
    workaround: str
    settle: bool
    answers: tuple[str, ...]
    sources: tuple[str, ...]
    formula: Formula | None
    load_a: float | None
    input_voltage: str
    switches: tuple[tuple[str, str], ...]
    method: str


def check_id(subject: str, measurand: str, bracket: str = "") -> str:
    """Return the id of a check.

    >>> check_id("C9", "polarity", "marked")
    'C9.polarity[marked]'
    """
    return f"{subject}.{measurand}[{bracket}]" if bracket else f"{subject}.{measurand}"


def check(
    subject: str,
    measurand: str,
    function: Function,
    phase: Phase,
    limits: Limits,
    red: Probe | None = None,
    black: Probe | None = None,
    quantity_unit: str = "",
    **details: Unpack[Details],
) -> Check:
    """Return a check whose id follows from subject, measurand and bracket, in the function's quantity unit."""
    return Check(
        id=check_id(subject, measurand, details.get("bracket", "")),
        subject=subject,
        measurand=measurand,
        function=function,
        quantity_unit=quantity_unit or function.quantity_unit,
        phase=phase,
        limits=limits,
        red=red,
        black=black,
        **details,
    )


def part_check(
    part: Part,
    measurand: str,
    function: Function,
    pins: tuple[str, str],
    limits: Limits,
    *,
    given: Given | None = None,
    phase: Phase = Phase.PARTS,
    **details: Unpack[Details],
) -> Check:
    """Return a check across two pins of a part, red on the first; a given limit replaces the supplied one."""
    red, black = probe(part, pins[0]), probe(part, pins[1])
    details.setdefault("switches", merged_switches(given))
    return check(part.designator, measurand, function, phase, chosen(given, limits), red, black, **details)


def chosen(given: Given | None, supplied: Limits) -> Limits:
    """Return the limits the spec gives, whole, or the supplied ones when it gives none."""
    if given is None or (given.min is None and given.max is None):
        return supplied
    return Limits(given.min, given.max, "the spec", given.reason)


def merged_switches(given: Given | None, base: Mapping[str, str] | None = None) -> tuple[tuple[str, str], ...]:
    """Return switch positions as pairs sorted by designator; those of the check itself come before `base`."""
    return tuple(sorted({**(base or {}), **(given.switches if given is not None else {})}.items()))


def middle(limits: Limits) -> float | None:
    """Return the value half-way between two limits, None when one is open."""
    if limits.lower is None or limits.upper is None:
        return None
    return (limits.lower + limits.upper) / 2


def pin_words(pin: str) -> str:
    """Return how people call a pin.

    >>> pin_words("1"), pin_words("plus"), pin_words("gate"), pin_words("input"), pin_words("fb")
    ('lead 1', 'plus lead', 'gate', 'input pin', 'pin fb')
    """
    if pin.isdecimal():
        return f"lead {pin}"
    if pin in ("plus", "minus"):
        return f"{pin} lead"
    if pin in ("input", "output", "ground", "supply"):
        return f"{pin} pin"
    return pin if pin in _TERMINALS else f"pin {pin}"


_TERMINALS = frozenset({"anode", "cathode", "base", "collector", "emitter", "gate", "drain", "source"})


def probe(part: Part, pin: str) -> Probe:
    """Return the tip on a pin of the part."""
    return Probe(f"{part.designator} {pin_words(pin)}", part.net(pin))
