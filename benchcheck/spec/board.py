"""A board as the spec describes it, whole and valid: its nets, supplies, rails, parts and their checks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from benchcheck.errors import Fault
from benchcheck.kinds.check import Check
from benchcheck.kinds.isolation import Isolation
from benchcheck.kinds.part import Kind, Part
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.spec.potentials import potentials

__all__ = ["Board", "Net", "ceiling_faults"]


@dataclass(frozen=True, slots=True)
class Net:
    """What the spec says of a net: `complete` when every path on it is in the file; voltages in volt."""

    name: str
    complete: bool = False
    voltage: float | None = None
    max_probe_voltage: float | None = None
    ac_voltage: float | None = None
    peak_voltage: float | None = None


@dataclass(frozen=True, slots=True)
class Board:
    """A valid spec, and what kinds may know of it (`kinds.part.Surroundings`).

    `hazards` is None where the key was not written. `power_refusals` says, one sentence each, why this board
    gets no power; empty when it may. Where the scope of safety forbids power altogether, powered checks are
    not in `checks` and their ids are in `withheld`. `notes` are remarks that are no faults. `nets` holds every
    net of the file, `kinds` the kinds its parts are of. `checks` stand in file order; the checklist room
    orders them. `source` is the spec's text, `digest` its SHA-256, `name` how messages name the file.
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
    checks: tuple[Check, ...] = ()
    by_id: Mapping[str, Check] = field(default_factory=dict)
    power_refusals: tuple[str, ...] = ()
    isolations: tuple[Isolation, ...] = ()
    kinds: Mapping[str, Kind] = field(default_factory=dict)
    notes: tuple[Fault, ...] = ()
    withheld: frozenset[str] = frozenset()
    _touching: Mapping[str, tuple[tuple[str, str], ...]] = field(init=False, repr=False, compare=False)
    _potentials: Mapping[str, float] = field(init=False, repr=False, compare=False)
    _ground: str | None = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        touching: dict[str, list[tuple[str, str]]] = {}
        for designator, part in self.parts.items():
            for pin, net in part.pins.items():
                touching.setdefault(net, []).append((designator, pin))
        ground = _most_used_minus((*self.supplies.values(), *self.rails.values()))
        stated = {name: net.voltage for name, net in self.nets.items() if net.voltage is not None}
        fed: tuple[Rail | Supply, ...] = (*self.rails.values(), *self.supplies.values())
        poles = [(entry.nets["plus"], entry.nets["minus"], entry.voltage) for entry in fed]
        object.__setattr__(self, "_touching", {net: tuple(pins) for net, pins in touching.items()})
        object.__setattr__(self, "_ground", ground)
        object.__setattr__(self, "_potentials", potentials(ground, stated, poles))

    def complete(self, net: str) -> bool:
        """Return whether the spec says every path on this net is in the file."""
        return net in self.nets and self.nets[net].complete

    def touching(self, net: str) -> tuple[tuple[str, str], ...]:
        """Return (designator, pin) of every part on the net, in file order."""
        return self._touching.get(net, ())

    def nets_of(self, designator: str) -> Mapping[str, str]:
        """Return the nets of a part by pin; empty where the spec gives none, or has no such part."""
        part = self.parts.get(designator)
        return part.pins if part is not None else {}

    def voltage(self, net: str) -> float | None:
        """Return the DC voltage of the net to ground under power, in volt, where the spec lets it be known.

        A net's own `voltage` comes first, then rails, then the nominal voltage of supplies.
        """
        return self._potentials.get(net)

    def ground(self) -> str | None:
        """Return the net most rails and supplies name as their minus; None on a board with neither."""
        return self._ground


def _most_used_minus(entries: tuple[Rail | Supply, ...]) -> str | None:
    uses = Counter(entry.nets["minus"] for entry in entries)
    return uses.most_common(1)[0][0] if uses else None


def ceiling_faults(board: Board, voltage_v: float, current_a: float) -> tuple[Fault, ...]:
    """Return a fault for every supply voltage and current limit above what a bench supply may give.

    `voltage_v` in volt and `current_a` in ampere are the bench's ceiling, which no spec may exceed.
    """
    faults: list[Fault] = []
    for name, supply in board.supplies.items():
        stated = {"voltage": supply.voltage} | {f"voltages.{key}": value for key, value in supply.voltages.items()}
        faults.extend(
            _above(board, f"supply.{name}.{key}", volts, voltage_v, "V")
            for key, volts in stated.items()
            if volts > voltage_v
        )
        if supply.current_limit is not None and supply.current_limit > current_a:
            faults.append(_above(board, f"supply.{name}.current_limit", supply.current_limit, current_a, "A"))
    return tuple(faults)


def _above(board: Board, key: str, found: float, ceiling: float, unit: str) -> Fault:
    message = f"{found:g} {unit} is above the bench's ceiling of {ceiling:g} {unit}; use another supply"
    return Fault(board.name, key, message)
