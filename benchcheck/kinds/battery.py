"""Battery: its holder free of charge while parts are measured; out of the unit, its voltage at rest and loaded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import Details, check, chosen, merged_switches, part_check
from benchcheck.kinds.check import Check, Formula, Limits, Phase, Probe
from benchcheck.kinds.fields import Amperes, Ohms, Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.quantity import format_value

__all__ = ["Battery"]

#: cells that a supply on their terminals would charge without any control.
_LITHIUM: frozenset[str] = frozenset({"lithium-primary", "lithium-ion"})

_PINS = ("plus", "minus")
Cell = Literal[
    "alkaline", "zinc-carbon", "silver-oxide", "nimh", "nicd", "lithium-primary", "lithium-ion", "lead-acid"
]


@dataclass(frozen=True, slots=True)
class _Chemistry:
    """What one healthy cell shows: volts at rest, least volts at `load_a` ampere, largest ohms inside."""

    rest_v: tuple[float, float]
    loaded_v: float
    load_a: float
    inside_ohm: float
    origin: str = "common practice, no source: a healthy cell at room temperature"


_CHEMISTRIES: dict[str, _Chemistry] = {
    "alkaline": _Chemistry((1.45, 1.68), 1.30, 0.1, 0.5),
    "zinc-carbon": _Chemistry((1.45, 1.75), 1.25, 0.1, 1.0),
    "silver-oxide": _Chemistry((1.50, 1.65), 1.40, 0.001, 30.0),
    "nimh": _Chemistry((1.20, 1.50), 1.15, 0.1, 0.3),
    "nicd": _Chemistry((1.20, 1.50), 1.15, 0.1, 0.3),
    "lithium-primary": _Chemistry((2.90, 3.50), 2.70, 0.001, 50.0),
    "lithium-ion": _Chemistry(
        (3.0, 4.25), 3.0, 0.1, 0.3, "common practice, from battery makers' notes: 3.0 V cut-off, 4.2 V charge limit"
    ),
    "lead-acid": _Chemistry((2.0, 2.30), 1.95, 0.1, 0.1),
}


@attrs.frozen(kw_only=True)
class Battery(Part):
    """`kind = "battery"`: `cells` in series of one `cell` chemistry; `fixed = true` when it cannot come out.

    `load` is the current in ampere of the loaded reading.
    """

    cell: Cell
    cells: int = 1
    fixed: bool = False
    load: Amperes | None = None
    residual_voltage: Window[Volts] | None = None
    open_voltage: Window[Volts] | None = None
    loaded_voltage: Window[Volts] | None = None
    internal_resistance: Window[Ohms] | None = None

    @property
    def lithium(self) -> bool:
        """Whether a supply on its terminals would be an uncontrolled charger of lithium."""
        return self.cell in _LITHIUM

    @property
    def load_a(self) -> float:
        """The current of the loaded reading in ampere: the one given, or the usual one of its chemistry."""
        return _CHEMISTRIES[self.cell].load_a if self.load is None else self.load


def checks(part: Battery, around: Surroundings) -> tuple[Check, ...]:
    """Return `residual_voltage` of the holder, and the three checks of the battery itself."""
    usual, count = _CHEMISTRIES[part.cell], part.cells
    rest = Limits(usual.rest_v[0] * count, usual.rest_v[1] * count, usual.origin)
    at_rest = _on_its_own(
        part,
        "open_voltage",
        chosen(part.open_voltage, rest),
        0.0,
        "Take it out of the unit and let it rest",
        part.open_voltage,
    )
    loaded = _on_its_own(
        part,
        "loaded_voltage",
        chosen(part.loaded_voltage, Limits(usual.loaded_v * count, None, usual.origin)),
        part.load_a,
        f"Load it with {format_value(part.load_a, 'A')} for a few seconds",
        part.loaded_voltage,
    )
    return _residual(part), at_rest, loaded, _inside(part, (at_rest, loaded), usual)


def _residual(part: Battery) -> Check:
    edge = phrases.REST_CHARGE_V
    first = "unsolder one tag of the fixed battery" if part.fixed else "take every cell out, the backup cell too"
    return part_check(
        part,
        "residual_voltage",
        Function.DC_VOLTAGE,
        _PINS,
        Limits(-edge, edge, "common practice, no source: 50 mV or less before ohms"),
        given=part.residual_voltage,
        phase=Phase.RESIDUAL_VOLTAGE,
        expected=0.0,
        first_step=first,
        why=f"At the contacts of the board. {phrases.CHARGED}",
        workaround=phrases.DISCHARGE,
    )


def _on_its_own(
    part: Battery, measurand: str, limits: Limits, load_a: float, first: str, given: Window[Volts] | None
) -> Check:
    """A reading on the poles of the battery out of the unit; no net of the board is touched."""
    red, black = (Probe(f"{part.designator} {pole} pole, out of the unit") for pole in _PINS)
    details: Details = {
        "load_a": load_a,
        "expected": (limits.lower + limits.upper) / 2 if limits.lower and limits.upper else limits.lower,
        "first_step": first[0].lower() + first[1:],
        "why": "A tired cell looks well at rest and collapses under load; the wrong sign is a reversed cell.",
        "workaround": "Compare with a fresh cell on the same range.",
        "switches": merged_switches(given),
    }
    return check(part.designator, measurand, Function.DC_VOLTAGE, Phase.PARTS, limits, red, black, **details)


def _inside(part: Battery, sources: tuple[Check, Check], usual: _Chemistry) -> Check:
    supplied = Limits(None, usual.inside_ohm * part.cells, usual.origin)
    return check(
        part.designator,
        "internal_resistance",
        Function.DERIVED,
        Phase.PARTS,
        chosen(part.internal_resistance, supplied),
        quantity_unit="ohm",
        sources=tuple(reading.id for reading in sources),
        formula=Formula.INTERNAL_RESISTANCE,
        switches=merged_switches(part.internal_resistance),
        why="The sag under a known load over that load; both readings on one range.",
        workaround="Take a larger load for a moment, so that the sag is many counts.",
    )


KIND = Kind("battery", Battery, _PINS, checks, "empty holder; the battery itself at rest and loaded")
