"""A meter with errors of its own: gain, offset, a bent converter with unequal steps, noise and a display.

Its errors are drawn inside its accuracy specification and are not made of the terms a budget is made of; the
curve is a bow and an S over the range, as integrating and successive-approximation converters show.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Specification:
    """Accuracy as ratio of reading plus counts of `resolution`, on a range of `full_scale`; one quantity unit."""

    of_reading: float = 0.005
    counts: float = 3.0
    resolution: float = 0.001
    full_scale: float = 6.0

    def half_width(self, value: float) -> float:
        return self.of_reading * abs(value) + self.counts * self.resolution


class SimulatedMeter:
    """One specimen of a meter."""

    def __init__(self, spec: Specification, generator: np.random.Generator, curve_counts: float) -> None:
        self._spec, self._generator = spec, generator
        self.gain = generator.uniform(-0.8, 0.8) * spec.of_reading
        # offset and curve share the counts of the specification, half a count is the display's
        bow = generator.uniform(-1.0, 1.0) * curve_counts
        self._bow, self._s = bow, generator.choice([-1.0, 1.0]) * (curve_counts - abs(bow))
        self._offset = generator.uniform(-1.0, 1.0) * max(0.0, spec.counts - curve_counts - 0.5)
        self._steps = generator.uniform(-0.4, 0.4, 4096)
        self._noise = 0.15

    def curve(self, value: float) -> float:
        """Return the stray from the straight line at a value, in counts."""
        x = value / self._spec.full_scale
        return float(self._bow * 4 * x * (1 - x) + self._s * math.sin(2 * math.pi * x))

    def read(self, value: float) -> float:
        """Return what the display shows for a true value."""
        spec = self._spec
        counts = value * (1 + self.gain) / spec.resolution + self._offset + self.curve(value)
        counts += self._steps[int(counts) % len(self._steps)] + self._noise * self._generator.standard_normal()
        return float(round(counts) * spec.resolution)
