"""Before a probe goes down: can this bench decide this check at all, and if not, what would.

A reading of exactly what is expected goes through the same budget a real one would; half the width of the
limits over its expanded uncertainty is the ratio. Four or more is comfortable, below one and a half nothing is
decided near the limits (common practice), below one nothing at all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any

from benchcheck.bench.contributions import lead_correction
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check, Evidence
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.conclude import assessed
from benchcheck.score.derived import derive
from benchcheck.score.finding import Finding
from benchcheck.score.measured import Measured, measure
from benchcheck.score.on_board import OnBoard
from benchcheck.score.surroundings import Circuit
from benchcheck.score.through import Through, through_circuit
from benchcheck.score.words import joined, lifted, shown
from benchcheck.score.workarounds import workaround

__all__ = ["Capability", "Decides", "capabilities", "capability", "capability_json", "expected_value"]

#: limit half-width over expanded uncertainty (common practice, no source).
_COMFORTABLE, _NEAR_LIMITS, _AT_ALL = 4.0, 1.5, 1.0


class Decides(StrEnum):
    """Whether a check can be decided with what is on the bench; members are plain strings."""

    YES = "yes"
    GUARDED = "guarded"  # but for readings in the guard bands
    BARELY = "barely"  # only in the middle of the limits
    NO = "no"
    ONE_SIDED = "one-sided"  # on the board it can convict, or prove, but not both
    REJECTS = "rejects"  # can reject, never prove
    BY_EYE = "by eye"


@dataclass(frozen=True, slots=True)
class Capability:
    """What this bench can do for one check; numbers in `quantity_unit`, None where they do not apply.

    `window_lower` and `window_upper` are what the display shows for a good unit, leads included, `overload`
    whether a good unit may show overload there. `lower` and `upper` are the tolerance limits, `ratio` half
    their width over the expanded uncertainty (a lone limit: its distance from what is expected, or from zero).
    `on_board` is what the good board reads both ways round, where its circuit says so.
    `reason` says why a check is not decided, `workaround` what would decide it.
    """

    check: str
    function: str
    quantity_unit: str
    decides: Decides
    expected: float | None = None
    window_lower: float | None = None
    window_upper: float | None = None
    overload: bool = False
    expanded_uncertainty: float | None = None
    lower: float | None = None
    upper: float | None = None
    ratio: float | None = None
    meter: str = ""
    meter_range: str = ""
    reason: str = ""
    workaround: str = ""
    red: str = ""
    black: str = ""
    first_step: str = ""
    question: str = ""
    answers: tuple[str, ...] = ()
    on_board: OnBoard | None = None


def expected_value(check: Check) -> float | None:
    """Return where a good reading is thought to lie: as stated, half-way between two limits, or at the one."""
    lower, upper = check.limits.lower, check.limits.upper
    if check.expected is not None:
        return check.expected
    if lower is not None and upper is not None:
        return (lower + upper) / 2
    return lower if lower is not None else upper


def capabilities(
    checks: Iterable[Check],
    bench: Bench,
    session: Session,
    circuit: Circuit | None = None,
    tell: Callable[[int, int], object] = lambda _done, _total: None,
) -> tuple[Capability, ...]:
    """Return the capability of every check, in order; derived checks find their sources among them.

    With the board's `circuit` a part is judged by its own value where the nets around it are complete. `tell` is
    told how many of how many are done.
    """
    listed = tuple(checks)
    by_id = {check.id: check for check in listed}
    found = []
    for done, check in enumerate(listed, 1):
        one = capability(check, bench, session, by_id, circuit)
        found.append(_on_board(one, check, circuit.both_ways(check)) if circuit is not None else one)
        tell(done, len(listed))
    return tuple(found)


def _on_board(one: Capability, check: Check, board: OnBoard | None) -> Capability:
    """Return a capability with what the good board reads; below a lone lower limit that shows nothing of the part."""
    lower, upper = check.limits.lower, check.limits.upper
    value = board.value if board is not None else None
    hidden = lower is not None and upper is None and value is not None and value < lower
    if hidden and one.decides in (Decides.YES, Decides.GUARDED, Decides.BARELY):
        return replace(one, on_board=board, decides=Decides.ONE_SIDED, workaround=one.workaround or lifted(check))
    return replace(one, on_board=board)


def capability(
    check: Check,
    bench: Bench,
    session: Session,
    by_id: Mapping[str, Check] | None = None,
    circuit: Circuit | None = None,
) -> Capability:
    """Return what this bench can do for a check; `by_id` holds the sources of derived ones."""
    if check.function is Function.VISUAL:
        return _plain(check, Decides.BY_EYE)
    through = through_circuit(check, bench, session, circuit) if circuit is not None else None
    if through is not None:
        return _solved(check, through, bench)
    found = _as_expected(check, bench, session, by_id or {})
    if isinstance(found, Finding):
        return _without_value(check, bench, session, found)
    conformity = assessed(check, found.budget, bench.decision)
    if conformity is None:
        return _plain(check, Decides.NO, reason="the check has no limits", workaround="give it limits in the spec")
    expanded = conformity.expanded_uncertainty
    ratio = _half_width(check) / expanded if expanded > 0.0 else None
    decides = _decides(check, ratio, room=conformity.decides)
    return _plain(
        check,
        decides,
        expanded_uncertainty=expanded,
        ratio=ratio,
        meter=found.meter.name if found.meter is not None else "",
        meter_range=found.range.name if found.range is not None else "",
        reason=_reason(check, ratio, expanded),
        workaround="" if decides is Decides.YES else _workaround(check, found, bench, session, by_id or {}),
        **_window(check, found.meter, bench, session),
    )


def _solved(check: Check, through: Through, bench: Bench) -> Capability:
    """Return the capability for a part whose own value follows from the circuit around it."""
    conformity = assessed(check, through.budget, bench.decision)
    assert conformity is not None
    expanded = conformity.expanded_uncertainty
    ratio = _half_width(check) / expanded if expanded > 0.0 else None
    decides = _decides(replace(check, evidence=Evidence.DIRECT), ratio, room=conformity.decides)
    return _plain(
        check,
        decides,
        expanded_uncertainty=expanded,
        ratio=ratio,
        meter=through.meter,
        meter_range=through.meter_range,
        reason=_reason(check, ratio, expanded),
        workaround="" if decides is Decides.YES else lifted(check) if through.hidden else check.workaround,
        window_lower=through.window[0],
        window_upper=through.window[1],
    )


def capability_json(found: Iterable[Capability]) -> dict[str, Any]:
    """Return the capabilities for programs: `checks[]` with the keys of the documented results.

    Beside them `on_board`: `display`, `value`, `display_exchanged`, `value_exchanged`, `shares[] {part, percent}`, or
    None.
    """
    keys = (
        "check",
        "function",
        "expected",
        "expanded_uncertainty",
        "lower",
        "upper",
        "ratio",
        "decides",
        "workaround",
    )
    return {
        "checks": [
            {**{key: _plain_value(getattr(each, key)) for key in keys}, "on_board": _both_ways(each.on_board)}
            for each in found
        ]
    }


def _both_ways(seen: OnBoard | None) -> dict[str, Any] | None:
    return None if seen is None else asdict(seen)


def _plain_value(value: Any) -> Any:
    return str(value) if isinstance(value, StrEnum) else value


def _as_expected(check: Check, bench: Bench, session: Session, by_id: Mapping[str, Check]) -> Measured | Finding:
    """Return the value and budget of readings exactly as expected, every digit written down."""
    if check.function is not Function.DERIVED:
        return measure(check, _readings(check), bench, session)
    sources = {name: _readings(by_id[name]) for name in check.sources if name in by_id}
    return derive(check, sources, bench, session, by_id)


def _readings(check: Check) -> tuple[Reading, ...]:
    value = expected_value(check) or 0.0
    display = Display(f"{value:.9g}", DisplayState.VALUE, value, 0.0)
    return (Reading(check.id, display, check.quantity_unit, Origin.TYPED),)


def _ends(check: Check) -> tuple[float | None, float | None]:
    return check.limits.lower, check.limits.upper


def _half_width(check: Check) -> float:
    lower, upper = check.limits.lower, check.limits.upper
    if lower is not None and upper is not None:
        return (upper - lower) / 2
    limit = lower if lower is not None else upper
    assert limit is not None
    expected = check.expected if check.expected is not None and check.expected != limit else 0.0
    return abs(limit - expected)


def _decides(check: Check, ratio: float | None, *, room: bool) -> Decides:
    if ratio is not None and (ratio < _AT_ALL or not room):
        return Decides.NO
    if check.evidence is Evidence.SCREEN or check.method:
        return Decides.REJECTS
    two_sided = check.limits.lower is not None and check.limits.upper is not None
    proves = check.limits.lower if check.evidence is Evidence.LOWERED else check.limits.upper
    if check.evidence not in (Evidence.DIRECT, Evidence.SHUNTED) and (two_sided or proves is None):
        return Decides.ONE_SIDED
    if ratio is None or ratio >= _COMFORTABLE:
        return Decides.YES
    return Decides.GUARDED if ratio >= _NEAR_LIMITS else Decides.BARELY


def _workaround(check: Check, found: Measured, bench: Bench, session: Session, by_id: Mapping[str, Check]) -> str:
    def ratio_of(asked: Check, on: Bench) -> float:
        """Return the ratio a bench gives a check, 0 where it gives none."""
        other = _as_expected(asked, on, session, by_id)
        conformity = assessed(asked, other.budget, on.decision) if not isinstance(other, Finding) else None
        expanded = conformity.expanded_uncertainty if conformity is not None else 0.0
        return _half_width(asked) / expanded if expanded > 0.0 else 0.0

    return workaround(check, found, bench, ratio_of)


def _reason(check: Check, ratio: float | None, expanded: float) -> str:
    if ratio is None or ratio >= _COMFORTABLE:
        return ""
    return f"U = {shown(check, expanded, 3)} against {shown(check, _half_width(check), 3)} of room"


def _without_value(check: Check, bench: Bench, session: Session, found: Finding) -> Capability:
    """Return the capability where no value can be shown: no instrument, or what is good shows overload."""
    meter = bench.meter_for(check.function)
    widest = meter.widest(check.function) if meter is not None else None
    if meter is None or widest is None:
        return _plain(check, Decides.NO, reason=found.because, workaround=check.workaround or found.change)
    farther = f"a meter that shows beyond {shown(check, max(filter(None, _ends(check)), default=0.0))}"
    advice = joined(farther, check.workaround)
    named = {"meter": meter.name, "meter_range": widest.name, **_window(check, meter, bench, session)}
    lower = check.limits.lower
    if check.limits.upper is None and lower is not None and widest.overload_proves(session.ambient_c) > lower:
        return _plain(check, Decides.YES, **named)
    beyond = f"{meter.name} shows overload from {shown(check, widest.overload_from)}"
    return _plain(check, Decides.NO, reason=beyond, workaround=advice, **named)


def _window(check: Check, meter: Meter | None, bench: Bench, session: Session) -> dict[str, Any]:
    """Return what the display shows for a good unit: the limits with the leads in them, or overload."""
    if meter is None:
        return {"window_lower": check.limits.lower, "window_upper": check.limits.upper}
    measured_ohm = session.leads_ohm if meter is bench.meter_for(Function.OHMS) else None
    leads_ohm = lead_correction(meter, check.function, measured_ohm).resistance_ohm
    widest: MeterRange | None = meter.widest(check.function)
    ends = [None if limit is None else limit + leads_ohm for limit in (check.limits.lower, check.limits.upper)]
    end = widest.overload_from if widest is not None else None
    overload = end is not None and (ends[1] is None or ends[1] > end) and check.function is not Function.DERIVED
    return {"window_lower": ends[0], "window_upper": ends[1], "overload": overload}


def _plain(check: Check, decides: Decides, **details: Any) -> Capability:
    return Capability(
        check=check.id,
        function=str(check.function),
        quantity_unit=check.quantity_unit,
        decides=decides,
        expected=expected_value(check),
        lower=check.limits.lower,
        upper=check.limits.upper,
        red=check.red.point if check.red is not None else "",
        black=check.black.point if check.black is not None else "",
        first_step=check.first_step,
        question=check.why if check.answers else "",
        answers=check.answers,
        **details,
    )
