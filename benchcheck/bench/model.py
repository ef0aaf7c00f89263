"""The bench: meters, supply, load, which instrument serves which function, and the decision rule. No I/O.

Supplies and loads read themselves back; seen that way they are meters too, so `[use] dc_current = "psu"`
works, with the read-back's accuracy in the budget.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Link, Meter, MeterRange
from benchcheck.metrology import DecisionRule

__all__ = ["Bench", "Ceiling", "Load", "Supply"]


@dataclass(frozen=True, slots=True)
class Ceiling:
    """What the bench never gives, in volt and ampere; no spec may exceed it and nothing waives it."""

    voltage_v: float
    current_a: float


@dataclass(frozen=True, slots=True)
class Supply:
    """A programmable supply; `readback` is the supply seen as a meter of its own output."""

    name: str
    ceiling: Ceiling
    readback: Meter
    channel: int = 1
    link: Link | None = None


@dataclass(frozen=True, slots=True)
class Load:
    """An electronic load; `ceiling` None where the bench file gives none."""

    name: str
    readback: Meter
    ceiling: Ceiling | None = None
    channel: int = 1
    link: Link | None = None


@dataclass(frozen=True, slots=True)
class Bench:
    """A valid bench file. `name` is how messages name it, `source` its text, `digest` the text's SHA-256."""

    name: str
    decision: DecisionRule
    meters: Mapping[str, Meter] = field(default_factory=dict)
    supplies: Mapping[str, Supply] = field(default_factory=dict)
    loads: Mapping[str, Load] = field(default_factory=dict)
    use: Mapping[Function, str] = field(default_factory=dict)
    source: str = ""
    digest: str = ""

    def instrument(self, name: str) -> Meter | None:
        """Return the instrument of this name as a meter, read-backs included, or None."""
        if name in self.meters:
            return self.meters[name]
        other = self.supplies.get(name) or self.loads.get(name)
        return other.readback if other is not None else None

    def meter_for(self, function: Function, name: str = "") -> Meter | None:
        """Return what takes readings of this function: `name` if given, else what `use` names, else the
        first meter of the file that has it; None when that instrument, or every one, lacks the function.
        """
        name = name or self.use.get(function, "")
        candidates = (self.instrument(name),) if name else self.meters.values()
        return next((each for each in candidates if each is not None and each.ranges_of(function)), None)

    def range_for(self, function: Function, value: float, name: str = "") -> MeterRange | None:
        """Return the range `meter_for` takes a reading of `value` on, or None."""
        meter = self.meter_for(function, name)
        return meter.range_for(function, value) if meter is not None else None

    def cautions(self, today: date) -> tuple[str, ...]:
        """Return what to say before a visit: a calibration past its due date is a caution, not an error."""
        instruments = (
            *self.meters.values(),
            *(supply.readback for supply in self.supplies.values()),
            *(load.readback for load in self.loads.values()),
        )
        return tuple(
            f"{each.name}: calibration was due {each.calibration_due.isoformat()}; "
            "its readings count, but its accuracy is no longer vouched for"
            for each in instruments
            if each.calibration_due is not None and each.calibration_due < today
        )

    def linked(self, links: Mapping[str, Link]) -> Bench:
        """Return the same bench with instruments reached by these links (instrument name -> link)."""
        return replace(
            self,
            meters={n: replace(m, link=links.get(n, m.link)) for n, m in self.meters.items()},
            supplies={n: replace(s, link=links.get(n, s.link)) for n, s in self.supplies.items()},
            loads={n: replace(each, link=links.get(n, each.link)) for n, each in self.loads.items()},
        )
