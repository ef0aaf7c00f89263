"""What a check is asked with: where it stands, what to set, where the tips go, what a good unit shows."""

from __future__ import annotations

from collections.abc import Iterable

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Evidence, Probe
from benchcheck.quantity import format_limits
from benchcheck.readings.reading import Session
from benchcheck.session.answers import Step
from benchcheck.terminal.wrapping import WIDTH, wrapped

__all__ = [
    "READ_BY_SUPPLY",
    "instruction_rows",
    "instructions",
    "limits_window",
    "spoken",
]

_SETTINGS = {
    Function.DC_VOLTAGE: "DC volts",
    Function.AC_VOLTAGE: "AC volts",
    Function.DC_CURRENT: "DC current, in series",
    Function.OHMS: "ohms",
    Function.LOW_POWER_OHMS: "low-power ohms",
    Function.OHMS_4W: "four-wire ohms",
    Function.DIODE: "diode test",
    Function.CONTINUITY: "continuity",
    Function.CAPACITANCE: "capacitance",
    Function.ESR: "ESR meter",
    Function.INDUCTANCE: "inductance",
    Function.HFE: "hFE socket",
    Function.TEMPERATURE: "thermometer",
    Function.TIME: "time in seconds",
    Function.DERIVED: "computed",
}
_AROUND = {
    Evidence.LOWERED: "the board around it may make it read lower",
    Evidence.RAISED: "the board around it may make it read higher",
    Evidence.SCREEN: "this can reject the part, not prove it",
}
EXCHANGED = "red and black exchanged"
#: what a driven bench supply reads without probes, unless its display is too coarse: then it is asked for.
READ_BY_SUPPLY = ("idle_current", "inrush_time")
BY_ITSELF = "the bench supply is switched on from here and reads it; nothing to probe"
_LABEL = 10
#: below so many columns what is folded stands nearly at the margin.
_NARROW = 50


def limits_window(check: Check, session: Session) -> str:
    """Return the limits of a check in words, for want of knowing what a meter would show."""
    return format_limits(check.limits.lower, check.limits.upper, check.quantity_unit, ascii=True)


def spoken(rows: Iterable[tuple[str, str]]) -> str:
    """Return what is said aloud of a check: where the tips go."""
    told = dict(rows)
    return ", ".join(
        f"{label} {told[label]}" for label in ("first", "look", "leads", "red", "black") if told.get(label)
    )


def instructions(
    step: Step, expected: str = "", *, driven: bool = False, width: int = WIDTH, left: str = ""
) -> tuple[str, ...]:
    """Return what to do for a check, as lines of at most `width` columns; `expected` is the window of a good unit.

    `driven` where supply and load are set from here; `left` says how long the rest takes.
    """
    lines = [f"{step.place} of {step.total}  {step.check.id}"]
    time = (("time", left),) if left else ()
    for label, words in (*time, *instruction_rows(step, expected, driven=driven)):
        wide = width >= _NARROW
        head, hanging = (f"  {label:<{_LABEL}}", " " * (_LABEL + 2)) if wide else (f"  {label}: ", "    ")
        lines += wrapped(words, head, hanging, width)
    return tuple(lines)


def instruction_rows(step: Step, expected: str = "", *, driven: bool = False) -> tuple[tuple[str, str], ...]:
    """Return what to do for a check as pairs of label and words.

    Where supply and load are `driven` from here nobody sets them, and what the supply reads itself is not probed.
    """
    check = step.check
    driven = driven and check.powered
    by_itself = driven and check.measurand in READ_BY_SUPPLY
    rows = (
        ("again", step.again),
        ("first", check.first_step if not (step.again or driven) else ""),
        ("wait", BY_ITSELF if by_itself else ""),
        ("set", _SETTINGS.get(check.function, "") if not by_itself else ""),
        ("switches", ", ".join(f"{name} {state}" for name, state in check.switches)),
        *(_places(check) if not by_itself else ()),
        ("question", check.why if check.function is Function.VISUAL else ""),
        ("answer", " or ".join(check.answers)),
        ("expect", _expected(check, expected)),
    )
    told = tuple((label, words) for label, words in rows if words)
    return (("leads", EXCHANGED), *_exchanged(told)) if step.exchanged else told


def _places(check: Check) -> tuple[tuple[str, str], ...]:
    """Return where the probes go; a check that needs no second probe is told where to look or hold."""
    if check.function is Function.VISUAL:
        return (("look", _point(check.red).removeprefix("look ")),)
    if check.black is None:
        return (("where", _point(check.red)),)
    return (("red", _point(check.red)), ("black", _point(check.black)))


def _point(probe: Probe | None) -> str:
    if probe is None:
        return ""
    return f"{probe.point} (net {probe.net})" if probe.net and probe.net not in probe.point else probe.point


def _expected(check: Check, expected: str) -> str:
    if check.answers or not expected:
        return ""
    around = _AROUND.get(check.evidence)
    return f"{expected}; {around}" if around else expected


def _exchanged(rows: tuple[tuple[str, str], ...]) -> tuple[tuple[str, str], ...]:
    """Return the rows with what red and black touch exchanged."""
    other = {"red": "black", "black": "red"}
    found = dict(rows)
    return tuple((label, found.get(other[label], words) if label in other else words) for label, words in rows)
