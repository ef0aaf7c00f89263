"""A board as the spec describes it, whole and valid: its nets, supplies, rails, parts and their checks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchcheck.kinds.check import Check
from benchcheck.kinds.part import Part
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply

__all__ = ["Board", "Net"]


@dataclass(frozen=True, slots=True)
class Net:
    """What the spec says of a net: `complete` when every path on it is in the file; voltages in volt."""

    name: str
    complete: bool = False
    voltage: float | None = None
    max_probe_voltage: float | None = None


@dataclass(frozen=True, slots=True)
class Board:
    """A valid spec. `hazards` is None where the key was not written (then no power, safety.md).

    `checks` stand in file order; the checklist room orders them. `source` is the spec's text, `digest` its
    SHA-256, `name` how messages name the file.
    """

    name: str
    digest: str
    source: str
    model: str
    revision: str
    ambient_c: float
    hazards: tuple[str, ...] | None
    nets: Mapping[str, Net]
    supplies: Mapping[str, Supply]
    rails: Mapping[str, Rail]
    parts: Mapping[str, Part]
    checks: tuple[Check, ...]
    by_id: Mapping[str, Check] = field(default_factory=dict)
    power_refusals: tuple[str, ...] = ()
