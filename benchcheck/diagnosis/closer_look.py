"""What leads, weighed again on the circuit solved where the unit seems to be: by the good board, then by the leader.

Straight lines from the designed board say who may lead. Whoever leads around a point is the next to be gone to, and
while the leader leaves readings unexplained, whoever explains them better.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.diagnosis.estimates import beside_good, corrected, fitted_anew
from benchcheck.diagnosis.fits import Fit
from benchcheck.diagnosis.likelihood import Held, unexplained
from benchcheck.diagnosis.predicted import Predictions
from benchcheck.diagnosis.search import compared, gone_to_from_designed, near_enough
from benchcheck.diagnosis.unit import UnitSolver

__all__ = ["CloserLook"]

Floats = NDArray[np.float64]

#: how many are compared where the circuit is solved again, and at how many points at most.
_LOOKED_AT, _POINTS = 8, 6
#: how often others are looked at around a point beside those that led when it was gone to.
_MOST_HERE = 1
#: how far behind the leader, as a logarithm, whoever may yet explain what that leaves, and by how much more he must.
_BEHIND, _MORE = 40.0, 1.0
#: how many of those that explain what the good board does not are looked at, and by how much, as a logarithm.
_TELLING, _TELLS = 6, 5.0
#: how many of those that do best with the strays found again, and no further behind the leader, as a logarithm.
_PROMISING, _FAR_BEHIND = 16, 20.0
#: and how far behind the good board where that leaves no reading: of 1,993 estimated more than 16 behind none came
#: within 8 (four boards, our readings and ngspice's).
_FAR_BEHIND_GOOD = 14.0
#: how far, in standard deviations, the good board's strays must have moved to be a point of its own.
_ELSEWHERE = 0.25


class CloserLook:
    """The points that were gone to, and what was looked at there; `beside` are the log odds before any reading.

    What lines from a point were near enough to is not compared around the same hypothesis again.
    """

    def __init__(
        self, solver: UnitSolver, predictions: Predictions, held: Held, beside: Floats, groups: Sequence[int]
    ) -> None:
        """Take readings, what they are held against, and which hypotheses no reading separates."""
        self._solver, self._predictions, self._held = solver, predictions, held
        self._beside, self._group = beside, np.array(groups)
        self._been: set[int] = set()
        self._compared: dict[int, set[int]] = {}
        self._looked: set[int] = set()
        self._good_at = np.full(len(predictions.good), np.inf)
        self._looked_elsewhere = False

    def weigh(self, odds: Floats, fits: dict[int, Fit]) -> None:
        """Weigh again; log odds and fits are put in their places.

        What no reading between nets separates from a fault that was looked at gets the same fit: it leaves no reading
        unexplained that the other explains.
        """
        if not self._solver.solves:
            return
        telling = self._gone_about(odds, fits)
        self._beside_good_again(odds, fits, telling)
        for group in {int(self._group[at]) for at in self._looked} - {int(self._group[0])}:
            alike = np.flatnonzero(self._group == group)
            fits |= dict.fromkeys(alike.tolist(), self._best_of(int(alike[0]), fits))

    def _gone_about(self, odds: Floats, fits: dict[int, Fit]) -> list[int]:
        """Go to where whoever leads suits the readings, point after point; return which faults were screened."""
        around, telling, here, screened = 0, list[int](), 0, False
        for _ in range(_POINTS):
            lead = self._one_of_each(self._in_reach([*self._leading(odds), *telling], odds, fits))
            here = here + 1 if self._was_at(around) else 0
            if here > _MOST_HERE or (here and self._looked_at(lead)):
                further = self._further(odds, fits)
                if further is None:
                    break
                around, lead, here = further, lead[:1], 0
            rows = self._one_of_each([0, around, *lead, *(() if self._been else fits)])
            self._compare(rows, around, fits)
            if around and unexplained(self._held, fits[around].terms).any():
                self._compare(self._one_of_each(self._solver.kin(around)), around, fits)
            self._look_elsewhere_for_good(rows, fits)
            if around == 0:
                self._good_at = fits[0].stray
            if not screened:
                telling, screened = self._screened(odds, fits), True
            self._entered(odds, fits)
            around = max(self._looked, key=lambda at: odds[at])
        return telling

    def _compare(self, rows: Sequence[int], around: int, fits: dict[int, Fit]) -> None:
        """Hold hypotheses against the readings around the point of one, but for what is known there."""
        known = self._compared.setdefault(around, set())
        rows = [at for at in rows if at not in known or not near_enough(fits[at])]
        self._looked.update(compared(self._solver, self._held, fits, rows, around, self._been))
        known.update(rows)

    def _look_elsewhere_for_good(self, rows: Sequence[int], fits: dict[int, Fit]) -> None:
        """Look for the good board from the designed one too, once, where it leaves readings.

        Every fault makes it leave some: not before whoever is far ahead was gone to, nor where he then leaves none.
        """
        before, ahead = fits[0], max(self._looked, key=lambda at: fits[at].log_likelihood)
        if self._looked_elsewhere or not unexplained(self._held, before.terms).any():
            return
        far = before.log_likelihood < fits[ahead].log_likelihood - _BEHIND
        if far and not (self._was_at(ahead) and unexplained(self._held, self._best_of(ahead, fits).terms).any()):
            return
        self._looked_elsewhere = True
        gone_to_from_designed(self._solver, self._held, fits, 0, self._been, rival=fits[ahead].log_likelihood)
        if fits[0].log_likelihood > before.log_likelihood:
            del self._compared[0]
            self._compare(rows, 0, fits)
        else:
            fits[0] = before

    def _beside_good_again(self, odds: Floats, fits: dict[int, Fit], telling: Sequence[int]) -> None:
        """Hold what leads against the readings once more where the good board came to suit them better since."""
        if not self._good_moved(fits):
            return
        rows = self._one_of_each([0, *self._leading(odds), *telling])
        self._looked.update(compared(self._solver, self._held, fits, rows, 0, self._been))
        self._entered(odds, fits)

    def _good_moved(self, fits: dict[int, Fit]) -> bool:
        """Return whether the good board suits the readings elsewhere than where others were looked at beside it."""
        return bool(np.abs(fits[0].stray - self._good_at).max(initial=0.0) >= _ELSEWHERE)

    def _leading(self, odds: Floats) -> list[int]:
        """Return the likeliest hypotheses, one of each group, the likeliest first."""
        order = np.argsort(-odds)
        _, first = np.unique(self._group[order], return_index=True)
        return [int(at) for at in order[np.sort(first)[:_LOOKED_AT]]]

    def _in_reach(self, rows: Sequence[int], odds: Floats, fits: dict[int, Fit]) -> list[int]:
        """Return which may yet lead: none far behind whoever leads of those looked at if he leaves no reading.

        But where the good board came out elsewhere since: what is estimated from where it was is nothing to go by.
        """
        leader = max(self._looked, key=lambda at: odds[at], default=None)
        if leader is None or self._good_moved(fits):
            return list(rows)
        if unexplained(self._held, self._best_of(leader, fits).terms).any():
            return list(rows)
        return [at for at in rows if odds[at] > odds[leader] - _BEHIND]

    def _one_of_each(self, rows: Sequence[int]) -> list[int]:
        """Return the first of each group among some rows."""
        first: dict[int, int] = {}
        for row in rows:
            first.setdefault(int(self._group[row]), row)
        return list(first.values())

    def _looked_at(self, rows: Sequence[int]) -> bool:
        """Return whether every one of these was looked at, or one that reads the same."""
        return {int(self._group[at]) for at in rows} <= {int(self._group[at]) for at in self._looked}

    def _entered(self, odds: Floats, fits: dict[int, Fit]) -> None:
        """Enter what fits make likely; what no reading separates from one that was looked at is as likely."""
        best: dict[int, float] = {}
        for at in self._looked:
            group = int(self._group[at])
            best[group] = max(best.get(group, -np.inf), fits[at].log_likelihood)
        for at, fit in fits.items():
            odds[at] = self._beside[at] + fit.log_likelihood
        for group, likelihood in best.items():
            odds[self._group == group] = self._beside[self._group == group] + likelihood

    def _was_at(self, row: int) -> bool:
        """Return whether the point of a hypothesis was gone to, or of one that reads the same."""
        return any(self._group[row] == self._group[at] for at in self._been)

    def _further(self, odds: Floats, fits: dict[int, Fit]) -> int | None:
        """Return whom to go to while the leader leaves readings unexplained: the next who explains more of them."""
        leader = max(fits, key=lambda at: float(odds[at]))
        best = self._best_of(leader, fits)
        left = unexplained(self._held, best.terms)
        least = best.terms[left].sum() + _MORE
        near = [
            at
            for at in self._looked
            if odds[at] > odds[leader] - _BEHIND and not self._was_at(at) and fits[at].terms[left].sum() > least
        ]
        return max(near, key=lambda at: float(odds[at]), default=None)

    def _best_of(self, row: int, fits: dict[int, Fit]) -> Fit:
        """Return the fit to believe of those looked at that no reading separates from one, else its own.

        That is the likeliest of those that were gone to or came out near enough, where there are any.
        """
        alike = [at for at in self._looked if self._group[at] == self._group[row]]
        sure = [at for at in alike if at in self._been or near_enough(fits[at])]
        return fits[max(sure or alike or [row], key=lambda at: fits[at].log_likelihood)]

    def _screened(self, odds: Floats, fits: dict[int, Fit]) -> list[int]:
        """Estimate what was not looked at closely by the good board's fit.

        Readings a fault leaves alone are the good board's, others lie on lines from the designed board, or are moved
        from where the unit is. Return which faults may be likelier so, or explain what the good board does not.
        """
        predictions, held, beside = self._predictions, self._held, self._beside
        untouched = (predictions.entry[:, held.columns] < 0) & ~np.isnan(held.error[0])
        ways = [
            np.where(untouched, fits[0].terms, way(predictions, held, fits[0])) for way in (corrected, beside_good)
        ]
        rough = ways[0].sum(axis=1) + beside
        rough += fits[0].log_likelihood + beside[0] - rough[0]
        rest = np.setdiff1d(np.arange(len(odds)), list(fits))
        anew = self._found_anew(fits[0])
        odds[rest] = np.maximum(rough, fits[0].log_likelihood + beside + np.minimum(anew, 0.0))[rest]
        left, telling = unexplained(held, fits[0].terms), list[int]()
        if left.any():
            best = np.maximum(*ways)
            told = (best - fits[0].terms)[:, left].clip(min=0.0).sum(axis=1)
            telling += [at for at in self._faults(told)[:_TELLING] if told[at] > _TELLS]
            telling += self._faults(best.sum(axis=1) + beside)[:_TELLING]
            least = odds.max() - fits[0].log_likelihood - _FAR_BEHIND
        else:
            least = beside[0] - _FAR_BEHIND_GOOD
        return telling + [at for at in self._faults(anew + beside)[:_PROMISING] if anew[at] + beside[at] > least]

    def _found_anew(self, good: Fit) -> Floats:
        """Return how much likelier every hypothesis is than the good board with the strays found again."""
        first = np.unique(self._group, return_index=True)[1]
        lines = self._solver.lines(0, good.stray)
        anew = fitted_anew(self._predictions, self._held, lines, good, first)
        return np.asarray(anew[self._group])

    def _faults(self, worth: Floats) -> list[int]:
        """Return the hypotheses that readings tell from the good board, one of each group, the worthiest first."""
        return self._one_of_each([int(at) for at in np.argsort(-worth) if self._group[at] != self._group[0]])
