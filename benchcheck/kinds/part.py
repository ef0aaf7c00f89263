"""What every part entry has in common, what a kind of part is, and what a kind may know of its board."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import attrs

from benchcheck.kinds.check import Check
from benchcheck.kinds.fields import Ohms, Volts, Window

__all__ = ["Fitted", "Kind", "Part", "Surroundings", "kind_faults"]


@attrs.frozen(kw_only=True)
class Fitted:
    """What was put in on this visit, to be seen with the eyes: `fitted = { maker = "...", lot = "..." }`.

    `fitted = true` is short for an empty table: new, and nothing known of it. `rated_voltage` is the one
    printed on the new part, in volt.
    """

    maker: str = ""
    series: str = ""
    lot: str = ""
    rated_voltage: Volts | None = None
    note: str = ""


@attrs.frozen(kw_only=True)
class Part:
    """The keys every part takes, whatever its kind; kinds subclass it and add their own.

    `joints = true` checks the joint of every lead, `joint` is the limit for them, `fitted` asks for the eyes;
    `lot` is the lot of a part fitted earlier. A `neighbour` shapes readings and is not itself checked.
    `pins` maps pin names to nets in the kind's pin order: `{"anode": "LX", "cathode": "VSW"}`, and
    `{"1": "FB", "2": "GND"}` for two-lead parts written as a list; empty where the spec gives no nets.
    """

    designator: str
    kind: str
    pins: Mapping[str, str] = attrs.field(factory=dict)
    neighbour: bool = False
    joints: bool = False
    joint: Window[Ohms] | None = None
    fitted: Fitted | None = None
    lot: str = ""
    priors: Mapping[str, float] = attrs.field(factory=dict)

    def net(self, pin: str) -> str | None:
        """Return the net a pin is on, or None where the spec does not say."""
        return self.pins.get(pin)

    @property
    def unmodelled(self) -> tuple[str, ...]:
        """Return the pins through which this part may conduct in ways that its devices do not hold."""
        return ()


class Surroundings(Protocol):
    """What a kind may know of the board around its part when it makes checks."""

    @property
    def ambient_c(self) -> float:
        """The board's stated ambient temperature in degree Celsius."""
        ...

    def complete(self, net: str) -> bool:
        """Return whether the spec says every path on this net is in the file."""
        ...

    def touching(self, net: str) -> tuple[tuple[str, str], ...]:
        """Return (designator, pin) of every part on the net, the part itself included."""
        ...

    def nets_of(self, designator: str) -> Mapping[str, str]:
        """Return the nets of a part by pin; empty where the spec gives none."""
        ...

    def voltage(self, net: str) -> float | None:
        """Return the DC voltage of the net to ground under power, where rail, supply or net entry states it."""
        ...

    def ground(self) -> str | None:
        """Return the net that most rails and supplies name as their minus."""
        ...


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of part: its name, its entry class, its pins in order, and how an entry becomes checks.

    `two_lead` kinds take `nets` as a list as well. `devices` gives the circuit devices an entry stamps into
    a netlist (room circuit); None until the kind has a model. `summary` is one line for people.
    """

    name: str
    entry: type[Part]
    pins: tuple[str, ...]
    checks: Callable[[Any, Surroundings], tuple[Check, ...]]
    summary: str
    two_lead: bool = False
    any_pins: bool = False
    devices: Callable[[Any], tuple[Any, ...]] | None = None


def kind_faults(kind: Kind) -> Iterator[str]:
    """Yield in words what a kind lacks to be one: pins, an entry class, functions that can be called."""
    entry: Any = kind.entry
    if not (isinstance(entry, type) and issubclass(entry, Part) and attrs.has(entry)):
        yield "its entry is no attrs class derived from benchcheck.kinds.part.Part"
    pins: Any = kind.pins
    summary: Any = kind.summary
    if not isinstance(pins, tuple) or not all(isinstance(pin, str) and pin for pin in pins):
        yield "its pins are no tuple of names"
    elif len(set(pins)) != len(pins) or not (pins or kind.any_pins):
        yield "its pins are not all different, or there are none"
    elif kind.two_lead and len(pins) != 2:
        yield f"it is said to have two leads and has {len(pins)} pins"
    functions: tuple[Any, Any] = (kind.checks, kind.devices or kind.checks)
    if not all(map(callable, functions)):
        yield "its checks, or its devices, cannot be called"
    if not isinstance(summary, str) or not summary.strip():
        yield "it has no summary; say in one line what is measured"
