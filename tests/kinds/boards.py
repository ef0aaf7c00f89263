"""A small invented board for tests of kinds: what a part may know of its surroundings, and entries to put on it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from benchcheck.kinds.catalogue import KINDS, part_checks
from benchcheck.kinds.check import Check
from benchcheck.kinds.part import Part

__all__ = ["KIND_OF", "Around", "checks_of", "entry", "one"]

KIND_OF = {kind.name: kind for kind in KINDS}


@dataclass
class Around:
    """Surroundings made of parts, complete nets and volts."""

    parts: dict[str, Part] = field(default_factory=dict)
    complete_nets: frozenset[str] = frozenset()
    volts: Mapping[str, float] = field(default_factory=dict)
    ground_net: str | None = "GND"

    @property
    def ambient_c(self) -> float:
        return 23.0

    def complete(self, net: str) -> bool:
        return net in self.complete_nets

    def touching(self, net: str) -> tuple[tuple[str, str], ...]:
        return tuple((name, pin) for name, part in self.parts.items() for pin, at in part.pins.items() if at == net)

    def nets_of(self, designator: str) -> Mapping[str, str]:
        return self.parts[designator].pins

    def voltage(self, net: str) -> float | None:
        return self.volts.get(net)

    def ground(self) -> str | None:
        return self.ground_net


def entry(kind: str, designator: str, nets: Iterable[str] | Mapping[str, str] = (), **keys: Any) -> Part:
    """Return an entry as a spec would give it, `nets` as a list of two or by pin."""
    pins = dict(nets) if isinstance(nets, Mapping) else {str(at): net for at, net in enumerate(nets, 1)}
    return KIND_OF[kind].entry(designator=designator, kind=kind, pins=pins, **keys)


def checks_of(part: Part, around: Around | None = None) -> dict[str, Check]:
    """Return the checks of a part by id, the part itself being among its surroundings."""
    around = around or Around()
    around.parts.setdefault(part.designator, part)
    checks = part_checks(KIND_OF[part.kind], part, around)
    assert len({check.id for check in checks}) == len(checks), "ids are unique"
    return {check.id: check for check in checks}


def one(part: Part, measurand: str, around: Around | None = None) -> Check:
    """Return one check of a part, by what follows its designator in the id."""
    return checks_of(part, around)[f"{part.designator}.{measurand}"]
