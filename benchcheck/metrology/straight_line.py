"""A straight line through readings, with the uncertainty of everything read off it (GUM H.3).

Intercept and slope come from one set of readings and are correlated; both budgets carry that, so a value
predicted by the line, or a difference of two, gets the uncertainty it has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, localcontext

from benchcheck.errors import MetrologyError
from benchcheck.metrology.budget import Budget
from benchcheck.metrology.contribution import Contribution
from benchcheck.metrology.correlation import Correlation
from benchcheck.metrology.repeatability import EXACT, decimals

__all__ = ["StraightLine", "straight_line"]


@dataclass(frozen=True, slots=True)
class StraightLine:
    """y = intercept + slope (x - reference), fitted by least squares; y uncertain, x not.

    `intercept` is in the quantity unit of y, `slope` in that of y over that of x. `residual_deviation` is the
    standard deviation of the readings about the line, `correlation` that of intercept and slope.
    """

    intercept: Budget
    slope: Budget
    reference: float
    residual_deviation: float
    degrees_of_freedom: float
    correlation: float

    def at(self, x: float) -> Budget:
        """Return the value of the line at x, in the quantity unit of y, without the scatter of a new reading."""
        distance = x - self.reference
        parts = (*self.intercept.contributions, *(each.times(distance) for each in self.slope.contributions))
        value = self.intercept.value + self.slope.value * distance
        return Budget(value, self.intercept.quantity_unit, parts, self.intercept.correlations)


def straight_line(
    x: Sequence[float], y: Sequence[float], *, reference: float = 0.0, name: str = "line", quantity_unit: str = ""
) -> StraightLine:
    """Return the least-squares line through three or more points, equal weights (GUM H.3.2).

    `name` opens the ids of the two contributions. Raises MetrologyError for fewer points, unequal numbers of
    x and y, and x that do not differ.

    >>> line = straight_line([0.0, 1.0, 2.0, 3.0], [1.0, 3.1, 4.9, 7.0])
    >>> round(line.slope.value, 3), round(line.at(10.0).value, 3)
    (1.98, 20.83)
    """
    if len(x) != len(y) or len(x) < 3:
        raise MetrologyError(f"{name}: {len(x)} values of x and {len(y)} of y: 3 or more pairs are needed")
    with localcontext(EXACT):
        across = [each - Decimal(repr(float(reference))) for each in decimals(x, f"{name}: x")]
        up = decimals(y, f"{name}: y")
        count = len(across)
        middle, height = sum(across, Decimal(0)) / count, sum(up, Decimal(0)) / count
        spread = sum(((each - middle) ** 2 for each in across), Decimal(0))
        if spread == 0:
            raise MetrologyError(f"{name}: all x are {x[0]!r}: a line needs x that differ")
        both = sum(((a - middle) * (b - height) for a, b in zip(across, up, strict=True)), Decimal(0))
        slope = both / spread
        start = height - slope * middle
        rest = sum(((b - start - slope * a) ** 2 for a, b in zip(across, up, strict=True)), Decimal(0))
        scatter = (rest / (count - 2)).sqrt()
        squares = sum((each**2 for each in across), Decimal(0))
        figures = start, slope, scatter * (squares / (count * spread)).sqrt(), scatter / spread.sqrt()
        coefficient = -middle * count / (count * squares).sqrt() if squares else Decimal(0)
    return _line(name, quantity_unit, reference, count, [float(each) for each in (*figures, scatter, coefficient)])


def _line(name: str, unit: str, reference: float, count: int, figures: list[float]) -> StraightLine:
    start, slope, u_start, u_slope, scatter, coefficient = figures
    dof = float(count - 2)
    origin = f"line through {count} points"
    first = Contribution.from_standard(
        f"{name}.intercept", "intercept", u_start, degrees_of_freedom=dof, origin=origin
    )
    second = replace(first, id=f"{name}.slope", label="slope", standard_uncertainty=u_slope)
    stated = (Correlation(first.id, second.id, max(-1.0, min(1.0, coefficient))),)
    return StraightLine(
        # each carries the other without effect, so that the correlation has both its ends
        Budget(start, unit, (first, second.times(0.0)), stated),
        Budget(slope, "", (first.times(0.0), second), stated),
        reference,
        scatter,
        dof,
        coefficient,
    )
