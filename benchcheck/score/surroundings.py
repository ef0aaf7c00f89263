"""The seam for the circuit around a part: a reading there, the part's own value here.

Whoever can solve the circuit turns the budget of a reading into the budget of the part itself, the reading
going through its sensitivity and each neighbour's tolerance as a contribution of its own. Only where every net
involved is complete does that value speak for the part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Protocol

from benchcheck.kinds.check import Check
from benchcheck.metrology import Budget, Verdict
from benchcheck.score.finding import Finding, undecided
from benchcheck.score.model import Reason
from benchcheck.score.on_board import OnBoard
from benchcheck.score.words import lifted

__all__ = ["Circuit", "Solved", "Solver", "good_value"]

_DECIDED = (Verdict.PASS, Verdict.FAIL)
_BESIDE = "the part is low, or a path the spec does not have lies beside it: a bridge, a splash, residue"


@dataclass(frozen=True, slots=True)
class Solved:
    """The part's own value: its budget, the contribution ids of the parts around it by designator, and
    whether every net involved is complete; `masked` where the parts around carry the meter's current past it.
    `unsolved` says why the circuit could not be solved, and the budget is then the reading's. `unstated` names parts
    whose number the spec does not give and the reading goes with. `review` asks of a
    finding whether another state of the board would have given the same reading.
    """

    budget: Budget
    neighbours: tuple[tuple[str, str], ...] = ()
    complete: bool = False
    masked: bool = False
    unsolved: str = ""
    unstated: str = ""
    review: Callable[[Check, Finding], Finding] | None = field(default=None, compare=False, repr=False)

    def reviewed(self, check: Check, finding: Finding) -> Finding:
        """Return the finding after the tolerances around have had their say, and other faults theirs."""
        hidden = self.hides(check, finding)
        return hidden if self.review is None else self.review(check, hidden)

    def hides(self, check: Check, finding: Finding) -> Finding:
        """Return undecided (circuit) where the tolerances around dominate a finding that is not clear."""
        if self.unsolved and finding.verdict is Verdict.UNDECIDED:
            return replace(finding, because=f"{finding.because}; {self.unsolved}")
        if self.unstated:
            because = f"the spec gives no inductance of {self.unstated}, and the reading goes with it"
            return undecided(Reason.CIRCUIT, because, f"give it in the spec, or {lifted(check)}")
        if self.masked:
            names = ", ".join(name for _, name in self.shares_around()[:3])
            return undecided(Reason.CIRCUIT, f"{names} beside it carry the meter's current past it", lifted(check))
        if finding.verdict is Verdict.FAIL and self._below(check):
            return replace(finding, because=f"{finding.because}; {_BESIDE}")
        if finding.verdict in _DECIDED or not self.complete:
            return finding
        shares = self.shares_around()
        if sum(share for share, _ in shares) <= 0.5:
            return finding
        names = ", ".join(name for _, name in shares[:3])
        because = f"the tolerances of the parts around it ({names}) hide it"
        return undecided(Reason.CIRCUIT, because, lifted(check))

    def shares_around(self) -> list[tuple[float, str]]:
        """Return what each part around has in the variance of the own value, with its designator, largest first."""
        owner = {contribution: designator for designator, contribution in self.neighbours}
        parts = zip(self.budget.contributions, self.budget.shares, strict=True)
        return sorted(((share, owner[each.id]) for each, share in parts if each.id in owner), reverse=True)

    def _below(self, check: Check) -> bool:
        return check.limits.lower is not None and self.budget.value < check.limits.lower


def good_value(check: Check) -> float | None:
    """Return what a good part has, in the check's quantity unit: as stated, or half-way between two limits."""
    lower, upper = check.limits.lower, check.limits.upper
    if check.expected is not None or lower is None or upper is None:
        return check.expected
    return (lower + upper) / 2.0


class Circuit(Protocol):
    """A board whose circuit can be solved both ways."""

    def __call__(self, check: Check, budget: Budget) -> Solved | None:
        """Return the part's own value from the budget of a reading, None where the circuit does not settle it."""
        ...  # pragma: no cover

    def shown(self, check: Check, value_ohm: float, /) -> float | None:
        """Return what the meter would read, in ohm, if the part had this value; None where nobody can say."""
        ...  # pragma: no cover

    def both_ways(self, check: Check) -> OnBoard | None:
        """Return what the good board reads between the check's nets; None where nobody can say."""
        ...  # pragma: no cover


#: from a check and the budget of its reading to the part's own value, None where the circuit cannot be solved.
Solver = Callable[[Check, Budget], Solved | None]
