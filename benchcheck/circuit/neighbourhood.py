"""The part of a large board that matters between two nets, with a bound on what the rest can do to a reading.

Around the two nets the board is cut, and the cut solved twice: with what leads out of it left off, and with all of
it, the rails too, led to one net. By Rayleigh's monotonicity (Doyle and Snell 1984, "Random walks and electric
networks", 1.4) the whole board reads between the two where it is made of resistances. Junctions and transistors
break that rule (Cohen and Horowitz 1991, "Paradoxical behaviour of mechanical and electrical networks"), so there
the bound is an approximation. The cut grows until both agree, in the end to the whole board.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from benchcheck.errors import CircuitError

from .connectivity import conductive_pairs
from .devices import Bjt, CurrentSource, Device, Mosfet, VoltageSource, pins, rename_nets
from .excitation import DcVoltage, DiodeTest, Excitation, Ohms
from .netlist import Netlist
from .physics import Conditions
from .reading import MeterReading, by_value, solve_reading, solved
from .shown import Solved
from .starts import Starts

__all__ = ["AGREES", "WHOLE_UP_TO", "Cut", "Near", "Neighbourhoods", "read_near"]

#: what the two readings of a cut may differ by, as a share: half of that is below a bench meter's own accuracy.
AGREES = 1e-4
#: nets in the first cut, and how much wider each next one is; smaller boards are solved whole.
_FIRST, _WIDER, WHOLE_UP_TO = 12, 2.5, 80
#: a net with more pins than this is a rail: it belongs to every cut, and no cut is widened across it.
_RAIL_PINS = 30
_OUTSIDE = "outside:"


@dataclass(frozen=True, slots=True)
class Cut:
    """A board around two nets: `netlist` with what leads out left off, `closed` with it led to one net.

    `beyond` is the net that stands for everything outside, and `outside` the nets it stands for; a cut that is
    `whole` has nothing outside, and both netlists are the board's.
    """

    netlist: Netlist
    closed: Netlist
    outside: frozenset[str] = frozenset()
    beyond: str = ""

    @property
    def whole(self) -> bool:
        """Whether nothing was cut off."""
        return not self.outside


@dataclass(frozen=True, slots=True)
class Near:
    """A reading from a cut: the mean of its two, which lie `half_width` (in the reading's unit) to either side.

    `first` is the one with what leads out left off.
    """

    reading: MeterReading
    half_width: float
    cut: Cut
    first: Solved

    def sensitivities(self) -> Mapping[str, float]:
        """Return d(reading)/d(value) by designator, as `by_value` has it; empty when the reading is OL."""
        return by_value(self.cut.netlist, self.first.slopes())


class Neighbourhoods:
    """The cuts of one board, what they all need worked out once."""

    def __init__(self, netlist: Netlist) -> None:
        self.netlist = netlist

    @cached_property
    def _rails(self) -> set[str]:
        sourced = {
            net
            for device in self.netlist.devices
            if isinstance(device, VoltageSource | CurrentSource)
            for net in pins(device).values()
        }
        return sourced | {net for net, places in self.netlist.pins_on.items() if len(places) > _RAIL_PINS}

    @cached_property
    def _between_rails(self) -> tuple[Device, ...]:
        return tuple(device for device in self.netlist.devices if self._rails.issuperset(pins(device).values()))

    def cuts(self, red: str, black: str, *, alternating: bool = False, like: Cut | None = None) -> Iterator[Cut]:
        """Yield ever wider cuts around two nets, the last of them the whole board; none narrower than one `like` it.

        At a frequency (`alternating`), and between two rails, the whole board is the only one.
        Raises CircuitError for nets that no part touches.
        """
        self.netlist.require_nets(red, black)
        small = len(self.netlist.nets) <= WHOLE_UP_TO
        # between rails lies all of the board, and neither cut bounds a capacitance: one behind a resistor adds to it
        if not (small or alternating or (like and like.whole) or self._rails.issuperset((red, black))):
            yield from self._narrow_cuts(red, black, max(_FIRST, len(like.netlist.nets) if like else 0))
        yield Cut(self.netlist, self.netlist)

    def _narrow_cuts(self, red: str, black: str, first: int) -> Iterator[Cut]:
        """Yield the cuts that hold no more than half of the nets, the narrowest of `first` nets."""
        most, wanted = len(self.netlist.nets) // 2, float(first)
        inside: dict[str, None] = dict.fromkeys((red, black))
        for net in self._nearest_first(inside):
            inside[net] = None
            if len(inside) >= wanted:
                if len(inside) > most:
                    return
                yield self._cut(inside)
                wanted *= _WIDER
        if len(inside) <= most:
            yield self._cut(inside)

    def _nearest_first(self, inside: dict[str, None]) -> Iterator[str]:
        """Yield the nets around in order of the devices to them, never onward from a rail."""
        at_edge = [net for net in inside if net not in self._rails]
        met = set(inside)
        while at_edge:
            further: list[str] = []
            for net in at_edge:
                for name, _ in self.netlist.pins_on[net]:
                    for other in _reached(self.netlist.device(name), net):
                        if other not in met:
                            met.add(other)
                            if other not in self._rails:
                                further.append(other)
                                yield other
            at_edge = further

    def _cut(self, inside: dict[str, None]) -> Cut:
        kept = {name for net in inside if net not in self._rails for name, _ in self.netlist.pins_on[net]}
        touching = [self.netlist.device(name) for name in sorted(kept)]
        devices = list({device.designator: device for device in (*touching, *self._between_rails)}.values())
        own = set(inside) | self._rails
        within = [device for device in devices if own.issuperset(pins(device).values())]
        probed = [net for net in inside if net in self._rails]
        largest = max(self._rails, key=lambda net: len(self.netlist.pins_on[net]), default=_OUTSIDE)
        beyond = probed[0] if probed else largest
        # every rail is joined to what lies outside by all that was cut off, so the closed cut has them as one
        outside = frozenset(net for net in self.netlist.nets if net not in own) | (self._rails - {beyond})
        names = dict.fromkeys(outside, beyond)
        closed = [rename_nets(device, names) for device in touching]
        whole = self.netlist.devices
        return Cut(Netlist(within, sound=whole), Netlist(closed, sound=whole), outside, beyond)


def _reached(device: Device, net: str) -> Iterator[str]:
    """Yield the nets that matter on the far side of a device: where its current or its control goes."""
    if isinstance(device, Bjt | Mosfet):
        yield from pins(device).values()
        return
    for pair in conductive_pairs(device):
        if net in pair:
            yield from pair


def read_near(
    around: Neighbourhoods,
    red: str,
    black: str,
    excitation: Excitation,
    *,
    within: float = AGREES,
    conditions: Conditions | None = None,
    starts: Starts | None = None,
    like: Cut | None = None,
) -> Near:
    """Return the reading from the narrowest cut whose two readings agree `within` this share of the reading.

    `starts` are those of `solve_reading`; `like` is the cut that did for a board that differs in a part.
    Raises CircuitError, in words, for what cannot be solved on the whole board.
    """
    alternating = not isinstance(excitation, Ohms | DiodeTest | DcVoltage)
    for cut in around.cuts(red, black, alternating=alternating, like=like):
        if cut.whole:
            break
        near = _agreed(cut, (red, black), excitation, within, conditions, starts)
        if near is not None:
            return near
    whole = Cut(around.netlist, around.netlist)
    found = solved(around.netlist, red, black, excitation, conditions, starts=starts)
    return Near(found.reading, 0.0, whole, found)


def _agreed(
    cut: Cut,
    ports: tuple[str, str],
    excitation: Excitation,
    within: float,
    conditions: Conditions | None,
    starts: Starts | None,
) -> Near | None:
    try:
        found = solved(cut.netlist, *ports, excitation, conditions, starts=starts)
        second = solve_reading(cut.closed, *ports, excitation, conditions, starts=starts)
    except CircuitError:
        return None  # a net or a control left hanging by the cut: a wider one may hold it
    first = found.reading
    if first.value is None or second.value is None:
        return Near(first, 0.0, cut, found) if first.value is None and second.value is None else None
    half = abs(first.value - second.value) / 2.0
    if half * 2.0 > within * abs(first.value):
        return None
    return Near(replace(first, value=(first.value + second.value) / 2.0), half, cut, found)
