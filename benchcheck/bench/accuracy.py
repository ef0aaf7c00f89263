"""What a meter's maker promises: limits of error as "0.8 % + 3" or "0.015 % + 0.004 % range".

The terms of one specification add linearly and make one limit of error; only then comes a distribution
(GUM 4.3.7, example 2, divides the sum by the square root of three, once). One count is a whole digit of
the display, so the counts already hold its resolution. Outside the temperature window the excess counts
from the edge of the window, never from its middle.
"""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.errors import QuantityError

__all__ = ["Accuracy", "Coverage", "TemperatureWindow"]


class Coverage(StrEnum):
    """What the maker means by the accuracy: bounds nothing exceeds, or an expanded uncertainty."""

    LIMITS = "limits"  # rectangular between the limits of error
    K2 = "k=2"  # normal, the half-width is two standard deviations
    P95 = "95 %"  # normal, the half-width holds 95 %


_TERM = re.compile(
    r"(?P<number>\d+(?:\.\d*)?(?:[eE][+-]?\d+)?|\.\d+(?:[eE][+-]?\d+)?)\s*"
    r"(?:(?P<ratio>%|ppm)\s*(?:of\s+)?(?P<of>range|full scale|reading|rdg)?"
    r"|(?P<counts>counts?|digits?|dgts?|lsd)?)"
)
_BRACKETS = str.maketrans("", "", "±()")
_RATIO = {"%": 1e-2, "ppm": 1e-6}


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error: ratios of reading and of full scale, and counts of a whole digit each.

    >>> Accuracy.parse("0.8 % + 3").half_width(4700.0, full_scale=6000.0, resolution=1.0)
    40.6
    """

    of_reading: float = 0.0
    counts: float = 0.0
    of_range: float = 0.0

    @classmethod
    def parse(cls, text: str) -> Accuracy:
        """Read the form data sheets print; terms are joined by "+" and come in any order.

        Raises QuantityError naming the text and the forms allowed.
        """
        found = {"of_reading": 0.0, "counts": 0.0, "of_range": 0.0}
        seen: set[str] = set()
        for term in text.translate(_BRACKETS).split("+"):
            match = _TERM.fullmatch(term.strip())
            if match is None:
                raise _unreadable(text)
            kind, amount = _term(match)
            if kind in seen:
                raise _unreadable(text)
            seen.add(kind)
            found[kind] = amount
        return cls(**found)

    def __str__(self) -> str:
        """Return the accuracy as data sheets print it, such as "0.8 % + 3"."""
        return _printed(self.of_reading, self.counts, self.of_range)

    def half_width(self, value: float, *, full_scale: float, resolution: float) -> float:
        """Return the limit of error at `value`; all in the function's quantity unit."""
        return self.of_reading * abs(value) + self.counts * resolution + self.of_range * full_scale


@functools.lru_cache(maxsize=512)  # said in every budget line, and a bench has a few dozen of them
def _printed(of_reading: float, counts: float, of_range: float) -> str:
    terms = (
        f"{of_reading * 100:.6g} %" if of_reading else "",
        f"{counts:g}" if counts else "",
        f"{of_range * 100:.6g} % range" if of_range else "",
    )
    return " + ".join(filter(None, terms)) or "0 %"


def _term(match: re.Match[str]) -> tuple[str, float]:
    number = float(match["number"])
    if match["ratio"] is None:
        return "counts", number
    kind = "of_range" if match["of"] in ("range", "full scale") else "of_reading"
    return kind, number * _RATIO[match["ratio"]]


def _unreadable(text: str) -> QuantityError:
    return QuantityError(
        f'"{text}" is not an accuracy; write "0.8 % + 3" (of reading, counts), '
        '"0.015 % + 0.004 % range" or "8 ppm + 0.3 ppm range"'
    )


@dataclass(frozen=True, slots=True)
class TemperatureWindow:
    """Where the accuracy holds, in degree Celsius, and what each kelvin beyond the edge adds.

    `of_spec_per_k` is a ratio of the whole accuracy; `per_k` an accuracy of its own that each kelvin adds.
    """

    lower_c: float = 18.0
    upper_c: float = 28.0
    of_spec_per_k: float = 0.1
    per_k: Accuracy = Accuracy()

    @staticmethod
    def parse_coefficient(text: str) -> tuple[float, Accuracy]:
        """Read "0.1 spec/K" or "0.001 % + 0.0005 % range /K"; returns (of_spec_per_k, per_k)."""
        bare = re.sub(r"\s*(?:/\s*(?:K|°C|degC)|per (?:K|°C|degC))$", "", text.strip())
        if bare != text.strip():
            match = re.fullmatch(r"(\d+(?:\.\d*)?|\.\d+)\s*(?:x|×)?\s*(?:spec|accuracy)", bare)
            if match is not None:
                return float(match[1]), Accuracy()
            return 0.0, Accuracy.parse(bare)
        raise QuantityError(
            f'"{text}" is not a temperature coefficient; write "0.1 spec/K" or "0.001 % + 0.0005 % range /K"'
        )

    def excess_k(self, ambient_c: float) -> float:
        """Return how far the ambient lies outside the window, in kelvin from its edge, 0 inside."""
        return max(self.lower_c - ambient_c, ambient_c - self.upper_c, 0.0)

    def widen(
        self, half_width: float, value: float, ambient_c: float, *, full_scale: float, resolution: float
    ) -> float:
        """Return the limit of error at this ambient; linear, as the makers' own examples add it."""
        excess_k = self.excess_k(ambient_c)
        if excess_k == 0.0:
            return half_width
        extra = self.per_k.half_width(value, full_scale=full_scale, resolution=resolution)
        return half_width * (1.0 + self.of_spec_per_k * excess_k) + extra * excess_k

    def __post_init__(self) -> None:
        """Refuse a window that is no window."""
        if not (math.isfinite(self.lower_c) and self.lower_c < self.upper_c):
            raise QuantityError(f"temperature window {self.lower_c:g} to {self.upper_c:g} degC is empty")
