"""Where a hypothesis suits the readings best: the search from point to point, and hypotheses compared at one.

Each point gives straight lines, their fit a point to go to. Where each step is likelier than the last the search is
sure of its way; where the circuit bends too much for that it goes on freely for some steps and keeps the best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from benchcheck.diagnosis.fits import Fit, Local, fitted
from benchcheck.diagnosis.likelihood import Held, unexplained
from benchcheck.diagnosis.robust import BLUR, NEARBY, STAYING
from benchcheck.diagnosis.unit import UnitSolver

__all__ = ["compared", "gone_to_from_designed", "near_enough", "settled"]

Floats = NDArray[np.float64]

#: with no stray moving further than this, in standard deviations, straight lines are drawn from the right point;
#: with none moving further than that, they are near enough to be compared.
_NEAR, _NEAR_ENOUGH = 0.25, 1.0
#: and where a line does not lead to what was read.
_VERY_NEAR = 0.01
#: once a step gained nothing, what aims no further than this has come out: in standard deviations, and off its line.
_HERE = 0.02
#: a line off by no more than this share of a reading's deviation is as good as the reading's own curve.
_STRAIGHT = 1.0
#: two fits in turn whose likelihoods, as logarithms, are nearer than this are one.
_ALIKE = 0.5
_MOST_FITS, _MOST_FREE = 10, 8
#: a search ends where so many steps in turn gained no more than `_ALIKE`; one that goes on freely, nothing.
_VAIN, _VAIN_FREE = 4, 3
#: what lines must promise, as a logarithm, for a search that came to a stand to go on.
_PROMISING = 2.0
#: how far a stray is followed at once: further than that straight lines lead astray.
_FURTHEST_STEP = 1.5
#: so far behind another hypothesis, as a logarithm, with what lines promise, one is left alone.
_HOPELESS, _GRANTED = 30.0, 3.0
#: so far off its reading's curve, in deviations, a line leads astray.
_FURTHEST_OFF = 36.0
#: a step that led where readings are less likely is taken again this many times shorter.
_SHORTER = 3.0


def settled(
    solver: UnitSolver, held: Held, row: int, begin: Floats, *, rival: float = -math.inf
) -> tuple[Fit, Floats]:
    """Return the likeliest fit of one hypothesis near the point it comes out at, and that point.

    No step is taken to where the readings are less likely: one from there is shorter, and aims at what is nearby. A
    search that comes to a stand where lines promise more then goes on regardless, and the best is kept. It ends
    before where lines promise far less than `rival`, the logarithm of what another makes of the readings.
    """
    common = solver.common
    search = _Search(begin, held, common)
    for _ in range(_MOST_FITS):
        if not search.goes_on(solver.near(search.point, (row,))[row]) or search.is_behind(rival):
            break
        if search.in_vain(_VAIN, _ALIKE):
            break
    if search.is_behind(rival) or not search.stands_short:
        return search.found
    freely = _Search(search.found[1], held, common)
    for _ in range(_MOST_FREE):
        if not freely.goes_on_regardless(solver.near(freely.point, (row,))[row]) or freely.in_vain(_VAIN_FREE, 0.0):
            break
    return max(search.found, freely.found, key=_likely)


class _Search:
    """A search for the strays that suit readings best: where it stands, what it aims at, how far it goes."""

    def __init__(self, begin: Floats, held: Held, common: int) -> None:
        self._held, self._common = held, common
        self.point = self._base = begin
        self._stays: Fit | None = None
        self._lines: Local | None = None
        self._aim: Fit
        self._other: Fit
        self._reached: list[float] = []

    def goes_on(self, lines: Local) -> bool:
        """Take in straight lines from the point; return whether there is another to go to."""
        here, before = self._taken_in(lines)
        gained = math.inf if before is None else here.log_likelihood - before.log_likelihood
        if gained > 0.0:
            self._base, self._stays, self._lines = self.point, here, lines
            self._aims()
            promised = self._aim.log_likelihood - here.log_likelihood
            close = lines.leads_there and near_enough(self._aim)
            if promised < _ALIKE or (close and (self._aim.moved < _NEAR or gained < _ALIKE)):
                return False
            if gained < _ALIKE and self._aim.moved < _HERE and self._aim.off_line < _HERE:
                return False
        elif before is not None and self._other.log_likelihood > before.log_likelihood + _ALIKE:
            self._aim, self._other = self._other, before
            self._share = _share(self._aim)
        else:
            self._share /= _SHORTER
            sure = self._lines is None or self._lines.leads_there
            if self._share * self._aim.moved < (_NEAR if sure else _VERY_NEAR):
                return False
        self.point = self._base + self._share * (self._aim.stray - self._base)
        return True

    def _taken_in(self, lines: Local) -> tuple[Fit, Fit | None]:
        """Return the fit at the point and the one kept before."""
        here, before = fitted(lines, self._held, self._common, STAYING), self._stays
        self._reached.append(here.log_likelihood if before is None else max(here.log_likelihood, self._reached[-1]))
        return here, before

    def goes_on_regardless(self, lines: Local) -> bool:
        """Take in straight lines from the point; return whether what they aim at is another, likelier or not."""
        here, before = self._taken_in(lines)
        aim = fitted(lines.aiming, self._held, self._common, BLUR)
        if before is None or here.log_likelihood > before.log_likelihood:
            self._base, self._stays, self._lines = self.point, here, lines
            self._aims()
        self.point = self.point + _share(aim) * (aim.stray - self.point)
        return aim.log_likelihood > here.log_likelihood + _ALIKE

    def in_vain(self, steps: int, gain: float) -> bool:
        """Whether as many steps, the last ones, gained no more than this."""
        return len(self._reached) > steps and self._reached[-1] - self._reached[-1 - steps] <= gain

    def is_behind(self, rival: float) -> bool:
        """Whether what lines aim at, near or far, is hopelessly less likely than something else.

        Lines from far off promise too little: where what they aim at is not near, further steps are granted some
        times what the last one gained, and none is denied after one that was too long.
        """
        assert self._lines is not None
        gained = self._reached[-1] - self._reached[-2] if len(self._reached) > 1 else 0.0
        promised = max(self._reached[-1], self._aim.log_likelihood, self._other.log_likelihood)
        if self._lines.leads_there and near_enough(self._aim):
            return promised < rival - _HOPELESS
        return gained > 0.0 and promised + _GRANTED * gained < rival - _HOPELESS

    @property
    def stands_short(self) -> bool:
        """Whether lines promise more than there is where the search stands."""
        if self._lines is None or self._stays is None:
            return False
        promised = fitted(self._lines.aiming, self._held, self._common, BLUR)
        return promised.log_likelihood > self._stays.log_likelihood + _PROMISING

    def _aims(self) -> None:
        """Aim at what lines make likeliest: seen widely, which may be another basin and a worse one, or nearby."""
        assert self._lines is not None
        aims = (fitted(self._lines.aiming, self._held, self._common, blur) for blur in (BLUR, NEARBY))
        self._other, self._aim = sorted(aims, key=lambda each: each.log_likelihood)
        self._share = _share(self._aim)

    @property
    def found(self) -> tuple[Fit, Floats]:
        """The fit where the search stands, and the point; where it aims further, what is likely without going."""
        stays = self._stays
        assert stays is not None
        assert self._lines is not None
        aim = self._aim if self._lines.leads_there else fitted(self._lines, self._held, self._common, NEARBY)
        reached = near_enough(aim) and aim.log_likelihood > stays.log_likelihood
        return (aim if reached else stays), self._base


def _share(aim: Fit) -> float:
    """Return how much of the way to where lines aim at is gone at once."""
    return min(1.0, _FURTHEST_STEP / max(aim.moved, 1e-9), math.sqrt(_FURTHEST_OFF / max(aim.off_line, 1e-9)))


def near_enough(fit: Fit) -> bool:
    """Return whether the strays came out so near to where lines start that the likelihood can be believed."""
    return fit.moved < _NEAR_ENOUGH and fit.off_line < _STRAIGHT


def better(fit: Fit, other: Fit) -> bool:
    """Return whether a fit is to be kept and not another: the likelier of two that can be believed.

    Of two that cannot, the one whose lines start nearer to where it comes out.
    """
    if near_enough(fit) and near_enough(other):
        return fit.log_likelihood > other.log_likelihood
    return fit.moved < other.moved


def compared(
    solver: UnitSolver, held: Held, fits: dict[int, Fit], rows: Sequence[int], around: int, final: set[int]
) -> Sequence[int]:
    """Hold some hypotheses against the readings around the point that suits one of them; keep the better fits.

    Return which were held so. `final` are those that were gone to; one that was not is gone to first, from a fit of
    straight lines. Of others the likelier fit is kept: what straight lines promise is seen when they are gone to.
    """
    point = fits[around].stray if around in final else _gone_to(solver, held, fits, around, final)
    for row, local in solver.near(point, rows).items() if rows else ():
        fit = fitted(local, held, solver.common)
        likelier = row not in fits or fit.log_likelihood > fits[row].log_likelihood
        if likelier and (row not in final or near_enough(fit)):
            fits[row] = fit
    return rows


def _gone_to(solver: UnitSolver, held: Held, fits: dict[int, Fit], around: int, final: set[int]) -> Floats:
    """Go to where a hypothesis suits the readings best, keep its fit and the good board's, and return the point.

    The first to be gone to has no rival but what straight lines from the designed board promise others.
    """
    rival = max(fits[at].log_likelihood for at in final or fits)
    found = [settled(solver, held, around, fits[around].stray, rival=rival)]
    _keep(fits, around, found[0][0], final)
    if around:  # a good unit may seem to be elsewhere: it is looked for near every fault that leads
        likelier = max(rival, found[0][0].log_likelihood)
        good, _ = settled(solver, held, 0, found[0][0].stray, rival=likelier)
        _keep(fits, 0, good, final)
        if fits[0].log_likelihood > found[0][0].log_likelihood:  # and then the fault near the good unit
            found.append(settled(solver, held, around, fits[0].stray, rival=rival))
            _keep(fits, around, found[-1][0], final)
    best = max(found, key=_likely)
    if around and unexplained(held, best[0].terms).any():
        likelier = max(rival, best[0].log_likelihood)
        found.append(gone_to_from_designed(solver, held, fits, around, final, rival=likelier))
    return max(found, key=_likely)[1]


def gone_to_from_designed(
    solver: UnitSolver, held: Held, fits: dict[int, Fit], row: int, final: set[int], *, rival: float
) -> tuple[Fit, Floats]:
    """Go to where a hypothesis suits the readings best from the board as designed: some come out elsewhere then.

    Its fit is kept where it is the better one; returned are the fit found so and the point.
    """
    found = settled(solver, held, row, np.zeros_like(fits[row].stray), rival=rival)
    _keep(fits, row, found[0], final)
    return found


def _likely(found: tuple[Fit, Floats]) -> float:
    return found[0].log_likelihood


def _keep(fits: dict[int, Fit], row: int, fit: Fit, final: set[int]) -> None:
    """Put the fit of a hypothesis that was gone to in its place."""
    if row not in final or better(fit, fits[row]):
        fits[row] = fit
    final.add(row)
