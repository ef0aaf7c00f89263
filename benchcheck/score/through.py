"""A good part as the meter will show it on the board, before a probe goes down: the circuit taken both ways.

Forward, from the part's expected value and from its limits to what the display shows; back, from a reading
there to the part's own value and how well it would be known.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.bench.contributions import lead_correction
from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check
from benchcheck.metrology import Budget, Verdict
from benchcheck.quantity import Display, DisplayState
from benchcheck.readings.reading import Origin, Reading, Session
from benchcheck.score.finding import Finding
from benchcheck.score.measured import measure
from benchcheck.score.surroundings import Circuit, Solved, good_value

__all__ = ["Through", "through_circuit"]


@dataclass(frozen=True, slots=True)
class Through:
    """The part's own value from a reading as expected, and the display's window for its limits, leads included.

    `hidden` says that the tolerances of the parts around make most of what is unsure, or that the board reads the
    same without the part.
    """

    budget: Budget
    hidden: bool
    window: tuple[float | None, float | None]
    meter: str = ""
    meter_range: str = ""


def through_circuit(check: Check, bench: Bench, session: Session, circuit: Circuit) -> Through | None:
    """Return what a good part comes to through the circuit around it; None where that does not settle it."""
    meter = bench.meter_for(check.function)
    good_ohm = good_value(check)
    if meter is None or good_ohm is None or (check.limits.lower is None and check.limits.upper is None):
        return None
    expected_ohm = circuit.shown(check, good_ohm)
    if expected_ohm is None:
        return None
    measured_ohm = session.leads_ohm if meter is bench.meter_for(Function.OHMS) else None
    leads_ohm = lead_correction(meter, check.function, measured_ohm).resistance_ohm
    found = measure(check, (_reading(check, expected_ohm + leads_ohm),), bench, session)
    solved = circuit(check, found.budget) if not isinstance(found, Finding) else None
    if isinstance(found, Finding) or solved is None or not solved.complete:
        return None
    ends = (
        None if limit is None else circuit.shown(check, limit) for limit in (check.limits.lower, check.limits.upper)
    )
    lower, upper = (None if end is None else end + leads_ohm for end in ends)
    hidden = solved.masked or sum(share for share, _ in solved.shares_around()) > 0.5 or _not_there(check, solved)
    named = found.range.name if found.range is not None else ""
    return Through(solved.budget, hidden, (lower, upper), meter.name, named)


def _not_there(check: Check, solved: Solved) -> bool:
    """Whether the board would read the same without the part, so that not even a good one passes."""
    if solved.review is None:
        return False
    return solved.review(check, Finding(Verdict.PASS)).verdict is Verdict.UNDECIDED


def _reading(check: Check, value: float) -> Reading:
    display = Display(f"{value:.9g}", DisplayState.VALUE, value, 0.0)
    return Reading(check.id, display, check.quantity_unit, Origin.TYPED)
