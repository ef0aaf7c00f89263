"""A scripted hand and the meter it feeds, reading by reading: touch, wobble, hold, lift; capacitors that charge.

A reading averages what the tips made of the part during one conversion; one in which the tips were in the air for
any time is overload. While the hand finds its place the contact adds resistance that jumps, at times it opens. All
of it comes from one seed, and no time passes but what the reader's clock is told.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass

__all__ = ["CONTACT_KINDS", "Contact", "MeterPace", "contact", "indications"]

CONTACT_KINDS = ("clean", "wobbly", "bouncing", "charging 1 s", "charging 20 s", "short", "poor")
_SLICES = 8  # moments a conversion averages over


@dataclass(frozen=True, slots=True)
class MeterPace:
    """How a meter reads: readings a second, full scale in counts, noise (standard deviation) in counts."""

    rate_hz: float = 10.0
    counts: int = 6000
    noise_counts: float = 0.15
    lowest_ohm: float = 600.0
    highest_ohm: float = 60e6

    def count_at(self, value: float) -> float:
        """Return one step of the display, in ohm, on the smallest range that holds `value` (inf: the highest)."""
        full_scale = self.lowest_ohm
        while abs(value) > full_scale and full_scale < self.highest_ohm:
            full_scale *= 10.0
        return full_scale / self.counts


@dataclass(frozen=True, slots=True)
class Contact:
    """One placing of the tips: in seconds from the touch, in ohm.

    `settled_ohm` is what the meter shows at last. Until `wobble_s` the contact adds up to `rough_ohm`, on the way
    to another value about every `dwell_s`, and opens with the chance `opens`.
    With `tau_s` the reading climbs from zero.
    """

    kind: str
    settled_ohm: float
    wobble_s: float = 0.0
    rough_ohm: float = 0.0
    dwell_s: float = 0.03
    opens: float = 0.0
    tau_s: float = 0.0
    air_s: float = 0.4

    def at(self, since_touch_s: float, rough: _Rough) -> float:
        """Return the resistance between the tips, inf while they are apart."""
        if since_touch_s < 0.0:
            return math.inf
        value = self.settled_ohm
        if self.tau_s:
            value *= -math.expm1(-since_touch_s / self.tau_s)
        return value + (rough.at(since_touch_s) if since_touch_s < self.wobble_s else 0.0)


class _Rough:
    """The extra resistance of a contact that is not there yet: a hand is never still."""

    def __init__(self, contact: Contact, chance: random.Random) -> None:
        """Start between two knots drawn by chance."""
        self._contact, self._chance = contact, chance
        self._from_s, self._until_s = 0.0, 0.0
        self._from_ohm = self._until_ohm = self._knot()

    def at(self, since_touch_s: float) -> float:
        """Return the extra resistance; times never go back."""
        while since_touch_s >= self._until_s:
            self._from_s, self._from_ohm = self._until_s, self._until_ohm
            self._until_s += self._chance.expovariate(1.0 / self._contact.dwell_s) + 1e-3
            self._until_ohm = self._knot()
        if math.isinf(self._from_ohm):
            return math.inf
        end_ohm = 2.0 * self._contact.rough_ohm if math.isinf(self._until_ohm) else self._until_ohm
        share = (since_touch_s - self._from_s) / (self._until_s - self._from_s)
        return self._from_ohm + share * (end_ohm - self._from_ohm)

    def _knot(self) -> float:
        if self._chance.random() < self._contact.opens:
            return math.inf
        return self._contact.rough_ohm * self._chance.random() ** 2


def contact(kind: str, chance: random.Random) -> Contact:
    """Return a contact of a kind of `CONTACT_KINDS`, drawn by chance (common practice, no source)."""
    value = 10.0 ** chance.uniform(0.7, 6.3)
    air_s = chance.uniform(0.3, 0.9)
    rough = max(2.0, value * chance.uniform(0.01, 0.5))
    match kind:
        case "clean":
            return Contact(kind, value, wobble_s=chance.uniform(0.0, 0.04), rough_ohm=rough, air_s=air_s)
        case "wobbly":
            return Contact(kind, value, wobble_s=chance.uniform(0.1, 0.6), rough_ohm=rough, opens=0.05, air_s=air_s)
        case "bouncing":
            return Contact(kind, value, wobble_s=chance.uniform(0.3, 1.2), rough_ohm=rough, opens=0.4, air_s=air_s)
        case "charging 1 s" | "charging 20 s":
            tau_s = 1.0 if kind == "charging 1 s" else 20.0
            value = 10.0 ** chance.uniform(2.3, 5.0)
            return Contact(kind, value, wobble_s=0.03, rough_ohm=2.0, tau_s=tau_s, air_s=air_s)
        case "short":
            return Contact(kind, chance.uniform(0.1, 0.5), wobble_s=0.03, rough_ohm=1.0, air_s=air_s)
        case "poor":
            return Contact(kind, value, wobble_s=math.inf, rough_ohm=rough, dwell_s=0.06, opens=0.03, air_s=air_s)
    raise ValueError(f'"{kind}" is no kind of contact; there are {", ".join(CONTACT_KINDS)}')


def indications(
    placing: Contact, pace: MeterPace, chance: random.Random, hold_s: float
) -> Iterator[tuple[float, float]]:
    """Yield what the meter shows as (seconds from the start, ohm or inf): air, the contact for `hold_s`, air."""
    rough = _Rough(placing, chance)
    period_s = 1.0 / pace.rate_hz
    phase_s = chance.random() * period_s
    place = 1
    end_s = placing.air_s + hold_s
    while place * period_s + phase_s < end_s + 3.0 * period_s:
        at_s = place * period_s + phase_s
        moments = (at_s - period_s * (part + 0.5) / _SLICES for part in reversed(range(_SLICES)))
        total = math.fsum(
            placing.at(moment - placing.air_s, rough) if moment < end_s else math.inf for moment in moments
        )
        yield at_s, _shown(total / _SLICES, pace, chance)
        place += 1


def _shown(ohm: float, pace: MeterPace, chance: random.Random) -> float:
    """Return what the display makes of a resistance: noise, whole counts, overload."""
    if ohm > pace.highest_ohm:
        return math.inf
    count = pace.count_at(ohm)
    return round(ohm / count + chance.gauss(0.0, pace.noise_counts)) * count
