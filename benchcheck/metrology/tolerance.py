"""A tolerance interval in the sense of JCGM 106: the permissible values of a property, one- or two-sided.

Not to be confused with the statistical tolerance intervals of `tolerance_interval`, which contain a share of
a population.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.errors import MetrologyError

__all__ = ["ToleranceInterval"]


@dataclass(frozen=True, slots=True)
class ToleranceInterval:
    """Permissible values from `lower` to `upper`, in their quantity unit; None where there is no limit.

    Raises MetrologyError for a limit that is not finite, a lower one above the upper, and no limit at all.

    >>> ToleranceInterval(4653.0, 4747.0).contains(4700.0)
    True
    """

    lower: float | None = None
    upper: float | None = None

    def __post_init__(self) -> None:
        """Refuse limits that leave nothing or say nothing."""
        for name, limit in (("lower", self.lower), ("upper", self.upper)):
            if limit is not None and not -math.inf < limit < math.inf:
                raise MetrologyError(
                    f"{name} tolerance limit {limit!r}: a finite number is needed, or None for no limit"
                )
        if self.lower is None and self.upper is None:
            raise MetrologyError("a tolerance interval needs a lower limit, an upper limit or both; found neither")
        if self.lower is not None and self.upper is not None and self.lower > self.upper:
            raise MetrologyError(
                f"lower tolerance limit {self.lower!r} lies above the upper limit {self.upper!r}; exchange them"
            )

    @property
    def bottom(self) -> float:
        """Return the lower limit, minus infinity where there is none."""
        return -math.inf if self.lower is None else self.lower

    @property
    def top(self) -> float:
        """Return the upper limit, infinity where there is none."""
        return math.inf if self.upper is None else self.upper

    @property
    def span(self) -> float:
        """Return the distance of the limits, infinity for a one-sided tolerance."""
        return self.top - self.bottom

    def contains(self, value: float) -> bool:
        """Return whether a value conforms; a value on a limit does (JCGM 106 3.3.5)."""
        return self.bottom <= value <= self.top

    def narrowed(self, w: float) -> ToleranceInterval | None:
        """Return the acceptance interval for a guard band of width `w` at each limit; None when none is left."""
        lower = None if self.lower is None else self.lower + w
        upper = None if self.upper is None else self.upper - w
        if lower is not None and upper is not None and not lower < upper:
            return None
        return ToleranceInterval(lower, upper)
