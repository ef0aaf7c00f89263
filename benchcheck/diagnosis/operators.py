"""What the hand and the meter may have done, held against the good board: slips change readings, not the circuit."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.connectivity import groups
from benchcheck.circuit.devices import Mosfet
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.reading import solve_reading
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.hypotheses import Hypothesis, operator_hypotheses
from benchcheck.diagnosis.likelihood import Held, hold
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.shots import MeterErrors
from benchcheck.errors import CircuitError
from benchcheck.score.model_circuit import excitation_for

__all__ = ["Slips", "slips"]

_LEADS_OHM = 0.3  # what leads usually are (common practice)
_THOUSAND = math.log(1000.0)
_STORED_V = 6.0
_CHARGED = math.log(200.0)  # charge that was seen and left


@dataclass(frozen=True, slots=True)
class Slips:
    """What slips are tried with: the good board's predictions alone, how the readings stand against it."""

    predictions: Predictions
    errors: MeterErrors
    evidence: Evidence
    held: Held
    terms: Sequence[float]

    def again(self, seen: Seen, leads_ohm: float | None = None) -> float:
        """Return how likely a reading is on the good board, as the logarithm; -inf where that cannot be said."""
        held = hold(
            self.predictions, (seen,), self.errors, self.evidence.leads_ohm if leads_ohm is None else leads_ohm
        )
        return float(held.terms[0, 0]) if held.seen else -math.inf


def slips(work: Slips, netlist: Netlist, bench: Bench) -> Iterator[tuple[Hypothesis, float]]:
    """Yield every slip with what it adds to the good board's log odds, its own odds included."""
    by_check = {one.check: (at, one) for at, one in enumerate(work.held.seen)}
    for hypothesis in operator_hypotheses_of(work, netlist):
        found = _worth(work, hypothesis, by_check, netlist, bench)
        if found is not None and math.isfinite(found):
            yield hypothesis, math.log(hypothesis.odds) + found


def operator_hypotheses_of(work: Slips, netlist: Netlist) -> tuple[Hypothesis, ...]:
    """Return the slips the readings taken leave room for."""
    return operator_hypotheses([(one.check, one.shot.function) for one in work.held.seen], netlist)


def _worth(
    work: Slips, slip: Hypothesis, by_check: dict[str, tuple[int, Seen]], netlist: Netlist, bench: Bench
) -> float | None:
    if slip.code == "leads-not-nulled":
        return _leads(work)
    if slip.code == "charged-gate":
        return _gate(work, netlist, bench)
    if not slip.check:
        return sum(_swapped(work, at, one) for at, one in by_check.values())
    at, one = by_check[slip.check]
    if slip.code == "probes-swapped":
        return _swapped(work, at, one)
    return _typed(work, at, one) if slip.code == "typed-1000" else _charge(work, at, one)


def _swapped(work: Slips, at: int, one: Seen) -> float:
    turned = replace(one, shot=one.shot.reversed)
    if turned.shot not in work.predictions.shots:
        return 0.0
    return work.again(turned) - work.terms[at]


def _typed(work: Slips, at: int, one: Seen) -> float | None:
    if math.isnan(one.value) or not one.value:
        return None
    tries = ((1e3, _THOUSAND), (1e-3, -_THOUSAND))
    return max(work.again(replace(one, value=one.value * by)) + more for by, more in tries) - work.terms[at]


def _charge(work: Slips, at: int, one: Seen) -> float | None:
    charged = work.evidence.charged & {one.shot.red, one.shot.black}
    if not charged and not one.value < 0.0:
        return None
    return (_CHARGED if charged else 0.0) + float(work.held.anything[at]) - work.terms[at]


def _leads(work: Slips) -> float:
    read = work.evidence.leads_ohm
    low = [(at, one) for at, one in enumerate(work.held.seen) if one.shot.function is Function.OHMS]
    left = (work.errors.leads_ohm(Function.OHMS, read)[0]) + _LEADS_OHM
    return sum(work.again(one, left) - work.terms[at] for at, one in low)


def _gate(work: Slips, netlist: Netlist, bench: Bench) -> float | None:
    """Try a stored charge on every gate that nothing holds, where the channel was read."""
    joined, found = groups(netlist), None
    for device in netlist.devices:
        if not isinstance(device, Mosfet) or joined.together(device.gate, device.source):
            continue
        channel = {device.drain, device.source}
        sign = 1.0 if device.channel == "N" else -1.0
        charged = netlist.replacing(device.designator, replace(device, stored_gate_v=sign * _STORED_V))
        read = [(at, one) for at, one in enumerate(work.held.seen) if {one.shot.red, one.shot.black} == channel]
        gained = sum(_on_charged(work, charged, bench, at, one) for at, one in read)
        found = gained if found is None else max(found, gained)
    return found


def _on_charged(work: Slips, charged: Netlist, bench: Bench, at: int, one: Seen) -> float:
    excitation = excitation_for(bench, one.shot.function)
    try:
        value = None if excitation is None else solve_reading(charged, one.shot.red, one.shot.black, excitation).value
    except CircuitError:
        return 0.0
    if value is None or math.isnan(one.value):
        return 0.0
    spread = float(np.hypot(0.1 * abs(value) + 0.02, 0.0))
    near = -0.5 * ((one.value - value) / spread) ** 2 - math.log(spread)
    return max(near, float(work.held.anything[at])) - work.terms[at]
