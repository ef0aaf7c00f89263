"""Whether a verdict reached on the board stands: a pass against the part's own gross fault, a fail against others'.

No part passes on a reading that the board would give without it. None fails where one other part, gone, shorted,
reversed or a decade off, explains the reading with this one within its limits, unless a gross fault of its own does
too: then it fails and the others are named, so that on a faulty board at least one check always fails.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from benchcheck.kinds.check import Check
from benchcheck.metrology import Verdict
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.gross import Supposed, Supposing
from benchcheck.score.model import Reason
from benchcheck.score.words import lifted, shown

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist

__all__ = ["Review"]

_INSIDE = (Verdict.PASS, Verdict.CONDITIONAL_PASS)
_OUTSIDE = (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
#: suspects that are named, and parts beside that are.
_NAMED = 3
#: a fault that moves the reading by less than this share cannot have made it; nor does the spread of good parts
#: bring a reading nearer than by such a share, and so many volt.
_UNMOVED, _NEAR, _NEAR_V = 1e-6, 0.3, 0.15
_IF_RIGHT = "if the parts beside it are right"


@dataclass(frozen=True, slots=True)
class Review:
    """What else might have given the reading a finding was made from.

    `settled` says that no unknown path matters; `no_value` that the part has no value at all that gives it.
    """

    supposing: Supposing
    settled: bool
    no_value: bool = False

    def __call__(self, check: Check, finding: Finding) -> Finding:
        """Return the finding, or what has to be said instead."""
        # a value found near an end of what is possible has slopes of no use: the good board's own are
        fails = finding.verdict is Verdict.FAIL or (finding.verdict in _OUTSIDE and not self.settled)
        if fails and self._is_good(check):
            return self._masked(check)
        if self.settled and (self.no_value or finding.verdict is Verdict.UNDECIDED):
            finding = self._looked_into(check, finding)
        elif finding.verdict in _OUTSIDE:
            return self._convicted(check, finding)
        return self._shown_there(check, finding) if finding.verdict in _INSIDE else finding

    # a pass ------------------------------------------------------------------------------------------------------

    def _shown_there(self, check: Check, finding: Finding) -> Finding:
        """Return a pass only where the part gone, or reversed, would have read otherwise."""
        if check.limits.upper is None:
            return finding  # what blocks or insulates is not shown to be there by it
        for fault in self.supposing.own_faults(absent_only=True):
            value = self.supposing.shown(fault.netlist)
            if value is None or not math.isfinite(value):
                continue
            gap, wide = abs(value - self._read), self.supposing.uncertainty(fault.netlist, value)
            if gap <= wide:
                return undecided(Reason.CIRCUIT, self._no_different(check, fault, value, wide), lifted(check))
        return finding

    def _no_different(self, check: Check, fault: Supposed, value: float, wide: float) -> str:
        beside = ", ".join(self.supposing.beside()[:_NAMED])
        by = f"; {beside} beside it" if beside else ""
        within = f", with an uncertainty of {shown(check, wide, 2)}" if math.isfinite(wide) else ""
        return (
            f"{shown(check, self._read)} was read, and with {fault} the board would read {shown(check, value)}"
            f"{within}: this does not show {check.subject}{by}"
        )

    # a fail ------------------------------------------------------------------------------------------------------

    def _convicted(self, check: Check, finding: Finding) -> Finding:
        own = self._explaining(self.supposing.own_faults())
        others = list(self._others(check))
        if own:
            return replace(finding, because=f"{finding.because}; {self._as_would(own, others)}")
        if others:
            return self._not_shown(check, others)
        if not self.settled or not self.supposing.beside():
            return finding
        return replace(finding, because=f"{finding.because}; {_IF_RIGHT}")

    def _looked_into(self, check: Check, finding: Finding) -> Finding:
        """Return what a reading that decided nothing, or that no value of the part gives, comes to after all."""
        if not self._within_limits(check, self.supposing.netlist):
            return finding
        if self._is_good(check):
            return self._masked(check) if self.no_value else finding
        own = self._explaining(self.supposing.own_faults())
        others = list(self._others(check))
        if own:
            because = f"{shown(check, self._read)} was read; {self._as_would(own, others)}"
            return Finding(Verdict.FAIL, None, because, lifted(check))
        return self._not_shown(check, others) if others else finding

    def _is_good(self, check: Check) -> bool:
        """Whether the good board reads what was read, the part within its limits: then nothing convicts it."""
        good = self._within_limits(check, self.supposing.netlist)
        return bool(good) and self.supposing.explains(*good, without=check.subject)

    def _masked(self, check: Check) -> Finding:
        names = ", ".join(self.supposing.beside()[:_NAMED])
        return undecided(Reason.CIRCUIT, f"{names} beside it carry the meter's current past it", lifted(check))

    def _not_shown(self, check: Check, others: list[Supposed]) -> Finding:
        names = ", ".join(dict.fromkeys(fault.part for fault in others))
        because = f"{shown(check, self._read)} reads as {_either(others)} would; {check.subject} is not shown"
        return undecided(
            Reason.CIRCUIT, because, f"lift one leg of {check.subject} and read again, or measure {names}"
        )

    def _as_would(self, own: list[Supposed], others: list[Supposed]) -> str:
        words = f"it reads as {own[0]} would"
        return f"{words}, and as {_either(others)} would too" if others else words

    # what explains it --------------------------------------------------------------------------------------------

    @property
    def _read(self) -> float:
        return self.supposing.budget.value

    def _explaining(self, faults: Iterable[Supposed]) -> list[Supposed]:
        return [fault for fault in faults if self.supposing.explains(fault.netlist)]

    def _within_limits(self, check: Check, netlist: Netlist) -> tuple[Netlist, ...]:
        """Return the board with the part at both its limits, as it is where the check asks for no number of it;
        nothing where it has no upper limit.
        """
        own = self.supposing.asked.own
        upper = check.limits.upper
        if own is None:
            return netlist, netlist
        if upper is None:
            return ()
        lower = check.limits.lower if check.limits.lower is not None else own.least
        return own.given(netlist, lower), own.given(netlist, upper)

    def _others(self, check: Check) -> Iterator[Supposed]:
        """Yield the faults of one other part each that explain the reading with this part within its limits.

        Only those that move the reading, and may bring it where it was: most of a board does neither.
        """
        supposing = self.supposing
        good = supposing.shown(supposing.netlist)
        if good is None or not self._within_limits(check, supposing.netlist):
            return
        faults = supposing.others_faults()
        nominal = supposing.all_shown([fault.netlist for fault in faults])
        moved = [fault for fault, value in zip(faults, nominal, strict=True) if self._moves(value, good)]
        ends = [self._within_limits(check, fault.netlist) for fault in moved]
        shown = supposing.all_shown([end for both in ends for end in both])
        found = 0
        for fault, both, *reached in zip(moved, ends, shown[::2], shown[1::2], strict=True):
            if self._may_be(reached) and supposing.explains(*both, without=check.subject):
                yield fault
                found += 1
            if found > _NAMED:
                return

    def _moves(self, value: float | None, good: float) -> bool:
        if value is None or not math.isfinite(good):
            return value is not None and math.isfinite(value)
        return not abs(value - good) <= _UNMOVED * abs(good)

    def _may_be(self, ends: list[float | None]) -> bool:
        """Whether what was read lies between two readings, or so near that the spread around may bring it there."""
        known = [end for end in ends if end is not None]
        margin = _NEAR * abs(self._read) + (_NEAR_V if self.supposing.budget.quantity_unit == "V" else 0.0)
        return bool(known) and min(known) - margin <= self._read <= max(known) + margin


def _either(faults: list[Supposed]) -> str:
    named = [str(fault) for fault in faults[:_NAMED]]
    return " or ".join(named) + (" and others" if len(faults) > _NAMED else "")
