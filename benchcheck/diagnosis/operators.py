"""What the hand and the meter may have done, held against the good board: slips change readings, not the circuit.

Each is tried on the unit as all readings together have it: its values and forward voltages, not the designed ones.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.functions import Function
from benchcheck.circuit.connectivity import groups
from benchcheck.circuit.devices import Mosfet
from benchcheck.circuit.netlist import Netlist
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.fits import Fit, Local, fitted
from benchcheck.diagnosis.hypotheses import Hypothesis, operator_hypotheses
from benchcheck.diagnosis.likelihood import NEVER_BY_CONTACT, Held, hold, logarithmic_mean, unexplained
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.robust import INFLATED, NEARBY, log_t
from benchcheck.diagnosis.shots import DIRECT, MeterErrors, Shot
from benchcheck.diagnosis.strays import OHMS
from benchcheck.errors import CircuitError

__all__ = ["Slips", "slips"]

Floats = NDArray[np.float64]

#: what leads and jacks may add and was not taken off, in ohm (common practice).
_LEADS_OHM = (0.1, 0.2, 0.3, 0.5)
#: tips that touch: half of what leads read at most, by how much they differ from touch to touch, what diode mode
#: shows; what open leads show of a capacitance; one reading alone is no sign of either (common practice, no source).
_JOINED_OHM, _TOUCH_OHM, _JOINED_V, _OPEN_FARAD, _NEVER_ALONE = 0.75, 0.3, 0.01, 100e-12, 2
#: readings nearer than this, as a ratio, are one to any meter.
_ALIKE = 1e-3
_THOUSAND = math.log(1000.0)
_STORED_V = 6.0
_AGAIN = math.log(0.05)  # probes that were exchanged at a part once: the part turned round is far likelier
_WHOLE_BEFORE = math.log(0.2)  # leads that break after the tips read together as they should
_TIPS_OPEN = math.log(100.0)  # tips that read overload together
_CHARGED = math.log(200.0)  # charge that was seen and left
#: how far a reading of the unit that was not taken is known: as a ratio, in volt; with a gate charged by chance.
_UNIT_RATIO, _UNIT_V, _BY_GATE = 0.05, 0.02, 0.5


@dataclass(frozen=True)
class Slips:
    """What slips are tried with: the good board's predictions alone, how the readings stand against it.

    `fit` is the good board where the unit is, `lines` start there, `unit` is that board's netlist, and `reads` what
    shots read on such a netlist (NaN for overload). `exchanged` is what all readings gain with the probes exchanged,
    None where a fault explains them all.
    """

    predictions: Predictions
    errors: MeterErrors
    evidence: Evidence
    held: Held
    fit: Fit
    lines: Local
    unit: Netlist
    reads: Callable[[Netlist, Sequence[Shot]], Floats]
    exchanged: Callable[[], float] | None = None

    @cached_property
    def odd(self) -> frozenset[int]:
        """The places of the readings that the good board does not explain."""
        return frozenset(int(at) for at in np.flatnonzero(unexplained(self.held, self.fit.terms)))

    @property
    def leads_taken_off(self) -> bool:
        """Whether the tips were read together and showed what leads do; a meter nulled for that shows nothing."""
        return (self.evidence.leads_ohm or 0.0) >= _LEADS_OHM[0]

    @cached_property
    def odd_turned(self) -> dict[int, float]:
        """What the direct readings that the good board does not explain are with the probes exchanged, by place."""
        return self._of(self.unit, {at: self.held.seen[at].shot.reversed for at in self._direct if at in self.odd})

    @cached_property
    def rest_turned(self) -> dict[int, float]:
        """What the other direct readings are on the unit with the probes exchanged, by place."""
        return self._of(
            self.unit, {at: self.held.seen[at].shot.reversed for at in self._direct if at not in self.odd}
        )

    @cached_property
    def as_taken(self) -> dict[int, float]:
        """What the direct readings that the good board does not explain are on the unit, by place."""
        return self._of(self.unit, {at: self.held.seen[at].shot for at in self._direct if at in self.odd})

    def on(self, netlist: Netlist) -> dict[int, float]:
        """Return what the direct readings taken are on another board, by place."""
        return self._of(netlist, {at: self.held.seen[at].shot for at in self._direct})

    @property
    def _direct(self) -> list[int]:
        return [at for at, one in enumerate(self.held.seen) if one.shot.function in DIRECT]

    def _of(self, netlist: Netlist, shots: dict[int, Shot]) -> dict[int, float]:
        try:
            found = self.reads(netlist, list(shots.values()))
        except CircuitError:
            return {}
        return dict(zip(shots, (float(value) for value in found), strict=True))

    def as_unit(self, at: int, value: float) -> float:
        """Return how likely the good unit makes another value of a reading, as the logarithm.

        The unit is where all readings have it, in the range the meter would have taken; else the board as designed.
        """
        one, fit, column = self.held.seen[at], self.fit, self.held.columns[at]
        alone = hold(self.predictions, (replace(one, value=value),), self.errors, self.evidence.leads_ohm)
        there = self.as_taken.get(at, math.nan)
        if math.isnan(there):
            return float(alone.terms[0, 0])
        by = self.predictions.good[:, column]
        left = math.hypot(math.sqrt(max(float(by @ fit.covariance @ by), 0.0)), self.predictions.own[0, column])
        return self._dense(one.shot.function, value - float(alone.leads[0]), there, float(alone.meter[0]), left)

    def elsewhere(self, at: int, there: float, spread: float) -> float:
        """Return how likely what was read is where the unit reads so (NaN for overload), as the logarithm."""
        one, held = self.held.seen[at], self.held
        if math.isnan(there) and math.isnan(one.value):
            return 0.0
        if math.isnan(there) or math.isnan(one.value):
            return -math.inf
        return self._dense(one.shot.function, one.value - float(held.leads[at]), there, float(held.meter[at]), spread)

    @staticmethod
    def _dense(function: Function, true: float, there: float, meter: float, spread: float) -> float:
        scale = float(logarithmic_mean(np.array(true), np.array(there))) if function in OHMS else 1.0
        sigma = math.hypot(meter, INFLATED * scale * spread)
        return float(log_t(np.array(true - there), np.array(sigma)))


def slips(work: Slips) -> Iterator[tuple[Hypothesis, float]]:
    """Yield slips that explain what the good board does not, and what each adds to its log odds with its own odds."""
    by_check = {one.check: at for at, one in enumerate(work.held.seen) if at in work.odd}
    readings = [(check, work.held.seen[at].shot.function) for check, at in by_check.items()]
    exchanged: dict[str, list[tuple[Hypothesis, float]]] = {}
    for hypothesis in operator_hypotheses(readings, work.unit):
        found = _worth(work, hypothesis, by_check)
        if found is None or not math.isfinite(found):
            continue
        yield hypothesis, math.log(hypothesis.odds) + found
        if hypothesis.check and hypothesis.code == "probes-swapped":
            exchanged.setdefault(hypothesis.check.partition(".")[0], []).append((hypothesis, found))
    for (first, worth), *more in exchanged.values():  # whoever does it once at a part is like to do it again there
        if more:
            odds = math.log(first.odds) + len(more) * _AGAIN
            yield replace(first, also=tuple(one for one, _ in more)), odds + worth + sum(each for _, each in more)


def _worth(work: Slips, slip: Hypothesis, by_check: dict[str, int]) -> float | None:
    if slip.code == "leads-not-nulled":
        return None if work.leads_taken_off else _leads(work)
    if slip.code == "charged-gate":
        return _gate(work) if work.odd else None
    if slip.code in ("lead-open", "tips-joined"):
        return _not_on_the_board(work, joined=slip.code == "tips-joined")
    if not slip.check:
        return _all_swapped(work)
    at = by_check[slip.check]
    if slip.code == "probes-swapped":
        return None if _unchanged(work, at) else _swapped(work, at, work.odd_turned)
    return _typed(work, at) if slip.code == "typed-1000" else _charge(work, at)


def _all_swapped(work: Slips) -> float | None:
    """Return what readings gain with the probes exchanged in all of them, None where the odd ones gain nothing."""
    gained = sum(_swapped(work, at, work.odd_turned) for at in work.odd_turned if not _unchanged(work, at))
    if gained <= 0.0:
        return None
    on_this_unit = gained + sum(_swapped(work, at, work.rest_turned) for at in work.rest_turned)
    return on_this_unit if work.exchanged is None else max(on_this_unit, work.exchanged())


def _not_on_the_board(work: Slips, *, joined: bool) -> float | None:
    """Return what readings gain where the meter never had the board between its tips, None where one says it did.

    A lead is broken or in another jack: all is overload, and no capacitance. The tips touch: all is what leads read.
    """
    direct = [at for at, one in enumerate(work.held.seen) if one.shot.function in DIRECT]
    if len(work.odd.intersection(direct)) < _NEVER_ALONE or work.evidence.charged:
        return None
    if work.evidence.tips_open:
        gained = -math.inf if joined else _TIPS_OPEN
    else:
        gained = 0.0 if joined or work.evidence.leads_ohm is None else _WHOLE_BEFORE
    by_tips = _by_joined_tips if joined else _by_open_leads
    alike = direct + [at for at, one in enumerate(work.held.seen) if _by_the_ohmmeter(work, one.shot.function)]
    gained += sum(by_tips(work, at) - float(work.fit.terms[at]) for at in alike)
    return gained if math.isfinite(gained) else None


def _by_the_ohmmeter(work: Slips, function: Function) -> bool:
    """Return whether this is capacitance, and the meter that reads ohms reads it too."""
    return function is Function.CAPACITANCE and work.errors.on_one_meter(Function.OHMS, function)


def _by_open_leads(work: Slips, at: int) -> float:
    """Return how likely nothing between the tips makes a reading, as the logarithm."""
    one = work.held.seen[at]
    if one.shot.function is not Function.CAPACITANCE:
        return 0.0 if math.isnan(one.value) else -math.inf
    most = _OPEN_FARAD + float(work.errors.limit_of_error(Function.CAPACITANCE, np.zeros(1))[0])
    return -math.log(2.0 * most) if abs(one.value) <= most else -math.inf


def _by_joined_tips(work: Slips, at: int) -> float:
    """Return how likely tips that touch make a reading, as the logarithm."""
    one, known = work.held.seen[at], work.evidence.leads_ohm
    if one.shot.function is Function.CAPACITANCE:
        return 0.0 if math.isnan(one.value) else -math.inf
    if one.shot.function is Function.DIODE:
        centre, most = 0.0, _JOINED_V
    elif known is None:
        centre, most = _JOINED_OHM, _JOINED_OHM
    else:
        centre, most = known, _TOUCH_OHM
    return -math.log(2.0 * most) if abs(one.value - centre) <= most else -math.inf


def _swapped(work: Slips, at: int, turned: Mapping[int, float]) -> float:
    function = work.held.seen[at].shot.function
    there = turned.get(at)
    if there is None:
        return -math.inf
    spread = _UNIT_V if function is Function.DIODE else _UNIT_RATIO
    return float(work.elsewhere(at, there, spread) - work.fit.terms[at])


def _unchanged(work: Slips, at: int) -> bool:
    """Return whether the exchange of probes changes nothing in an odd reading: then it explains nothing there."""
    turned, taken = work.odd_turned.get(at, math.inf), work.as_taken.get(at, -math.inf)
    return (math.isnan(turned) and math.isnan(taken)) or math.isclose(turned, taken, rel_tol=_ALIKE)


def _typed(work: Slips, at: int) -> float | None:
    one = work.held.seen[at]
    if math.isnan(one.value) or not one.value:
        return None
    tries = ((1e3, _THOUSAND), (1e-3, -_THOUSAND))
    there = work.as_taken.get(at, math.nan)
    if there * one.value > 0.0 and abs(math.log(one.value / there)) < 0.5 * _THOUSAND:
        return None  # nearer to what the unit reads than a thousand times more or less
    return float(max(work.as_unit(at, one.value * by) + more for by, more in tries) - work.fit.terms[at])


def _charge(work: Slips, at: int) -> float | None:
    one = work.held.seen[at]
    charged = work.evidence.charged & {one.shot.red, one.shot.black}
    if not charged and not one.value < 0.0:
        return None
    negative = NEVER_BY_CONTACT if one.value < 0.0 else 0.0
    return float((_CHARGED if charged else 0.0) + negative + work.held.anything[at] - work.fit.terms[at])


def _leads(work: Slips) -> float:
    """Return what readings of ohms gain, all taken together, where the leads are still in them.

    A meter may be off at nothing as well, in every range for itself: that is among the strays.
    """
    ohms = np.array([one.shot.function is Function.OHMS for one in work.held.seen], float)

    def fit(more: float) -> float:
        less = replace(work.lines, error=work.lines.error - more * ohms)
        return fitted(less, work.held, work.predictions.common, NEARBY).log_likelihood

    added = float(np.logaddexp.reduce([fit(more) for more in _LEADS_OHM])) - math.log(len(_LEADS_OHM))
    return added - max(fit(0.0), work.fit.log_likelihood)


def _gate(work: Slips) -> float | None:
    """Try a stored charge on every gate that nothing holds: what is read may then be through the channel, or not."""
    joined, found = groups(work.unit), None
    for device in work.unit.devices:
        if not isinstance(device, Mosfet) or joined.together(device.gate, device.source):
            continue
        sign = 1.0 if device.channel == "N" else -1.0
        charged = work.unit.replacing(device.designator, replace(device, stored_gate_v=sign * _STORED_V))
        gained = sum(_on_charged(work, at, there) for at, there in work.on(charged).items())
        found = gained if found is None else max(found, gained)
    return found


def _on_charged(work: Slips, at: int, there: float) -> float:
    without = float(work.fit.terms[at])
    volts = work.held.seen[at].shot.function is Function.DIODE
    charged = work.elsewhere(at, there, _UNIT_V + 0.1 * abs(np.nan_to_num(there)) if volts else _BY_GATE)
    return float(np.logaddexp(charged, without) - math.log(2.0) - without)
