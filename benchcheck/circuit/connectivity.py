"""What is connected to what, asked before anything is solved: no floating net becomes a singular matrix.

Two nets are connected when a chain of devices that can carry direct current joins them, whichever way round
a junction lies. Sources that contradict one another (a loop of voltage sources, a current pumped into
nowhere) are named in words.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from benchcheck.errors import CircuitError

from .devices import (
    Bjt,
    Capacitor,
    Clamp,
    CurrentSource,
    Device,
    Inductor,
    Mosfet,
    Switch,
    VoltageSource,
    pins,
)
from .netlist import Netlist

__all__ = [
    "Groups",
    "ParallelPaths",
    "conductive_pairs",
    "groups",
    "ideal_short",
    "parallel_paths",
    "require_solvable",
]


def conductive_pairs(device: Device, *, alternating: bool = False) -> tuple[tuple[str, str], ...]:
    """Return the pairs of nets between which a device carries direct (or `alternating`) current."""
    match device:
        case Capacitor(plus=plus, minus=minus, leakage_ohm=leakage):
            return ((plus, minus),) if alternating or leakage is not None else ()
        case Switch(a=a, b=b, closed=closed):
            return ((a, b),) if closed else ()
        case CurrentSource(plus=plus, minus=minus, compliance_v=compliance):
            return ((plus, minus),) if compliance is not None else ()
        case Bjt(collector=collector, base=base, emitter=emitter):
            return ((base, emitter), (base, collector))
        case Mosfet(drain=drain, source=source):
            return ((drain, source),)
        case Clamp(pin=pin, ground=ground, supply=supply):
            return ((ground, pin),) if supply is None else ((ground, pin), (pin, supply))
        case _:
            first, second = pins(device).values()
            return ((first, second),)


def ideal_short(device: Device) -> tuple[str, str] | None:
    """Return the nets a device joins without resistance (a winding or contact of 0 ohm), else None."""
    match device:
        case Inductor(a=a, b=b, dc_resistance_ohm=resistance) if resistance == 0:
            return a, b
        case Switch(a=a, b=b, closed=True, closed_resistance_ohm=resistance) if resistance == 0:
            return a, b
        case _:
            return None


class Groups:
    """Nets in groups that are joined: a union-find, with the group of each net by its representative."""

    def __init__(self, nets: Iterable[str] = ()) -> None:
        self._parent = {net: net for net in nets}

    def find(self, net: str) -> str:
        """Return the representative of a net's group."""
        parent = self._parent
        root = parent.setdefault(net, net)
        while parent[root] != root:
            root = parent[root]
        while parent[net] != root:
            parent[net], net = root, parent[net]
        return root

    def join(self, first: str, second: str) -> bool:
        """Join two groups; return False when they were one already."""
        first, second = self.find(first), self.find(second)
        if first == second:
            return False
        self._parent[second] = first
        return True

    def together(self, first: str, second: str) -> bool:
        """Return whether two nets are in one group."""
        return self.find(first) == self.find(second)

    def members(self) -> tuple[frozenset[str], ...]:
        """Return every group as a set of nets, in order of first mention."""
        found: dict[str, set[str]] = {}
        for net in self._parent:
            found.setdefault(self.find(net), set()).add(net)
        return tuple(map(frozenset, found.values()))


def groups(netlist: Netlist, *, alternating: bool = False) -> Groups:
    """Return the nets of a board in the groups that direct (or `alternating`) current can cross."""
    found = Groups(netlist.nets)
    for device in netlist.devices:
        for first, second in conductive_pairs(device, alternating=alternating):
            found.join(first, second)
    return found


def _stiff_pair(device: Device) -> tuple[str, str] | None:
    """Return the nets whose voltage a device fixes whatever the current: an ideal source or short."""
    if isinstance(device, VoltageSource) and device.series_resistance_ohm == 0:
        return device.plus, device.minus
    return ideal_short(device)


def _loops(netlist: Netlist) -> Iterator[str]:
    """Name every voltage source that ideal sources and ideal shorts already tie at both ends."""
    tied = Groups()
    stiff = [(device, pair) for device in netlist.devices if (pair := _stiff_pair(device))]
    stiff.sort(key=lambda item: isinstance(item[0], VoltageSource))
    for device, (first, second) in stiff:
        if not tied.join(first, second) and isinstance(device, VoltageSource):
            others = ", ".join(
                other.designator for other, pair in stiff if other is not device and tied.together(pair[0], first)
            )
            yield (
                f"{device.designator} between {first} and {second}: its voltage is already fixed there"
                + (f" by {others}" if others else ", both pins being on one net")
                + "; give one of them a series resistance"
            )


def _pumps(netlist: Netlist) -> Iterator[str]:
    """Name every current source without compliance whose current has no way back."""
    pumps = [d for d in netlist.devices if isinstance(d, CurrentSource) and d.compliance_v is None and d.current_a]
    joined = groups(netlist) if pumps else Groups()
    for device in pumps:
        if not joined.together(device.plus, device.minus):
            yield (
                f"{device.designator} drives a current from {device.minus} to {device.plus}, and no part "
                "carries it back; give the source a compliance or join the nets"
            )


def require_solvable(netlist: Netlist) -> None:
    """Raise CircuitError, in words, for loops of ideal sources and currents with no way back."""
    faults = [*_loops(netlist), *_pumps(netlist)]
    if faults:
        raise CircuitError("\n".join(faults))


@dataclass(frozen=True, slots=True)
class ParallelPaths:
    """Everything through which current can go from one net to another.

    `parts`: designators of every device on some path; `nets`: every net such a path runs through, ends left
    out; `paths`: paths that share no device, shortest first, each as the designators along it.
    """

    parts: tuple[str, ...]
    nets: tuple[str, ...]
    paths: tuple[tuple[str, ...], ...]


Edge = tuple[str, str, str]  # net, net, designator


def parallel_paths(
    netlist: Netlist, a: str, b: str, *, without: Iterable[str] = (), alternating: bool = False
) -> ParallelPaths:
    """Return the devices through which direct (or `alternating`) current can go from net `a` to net `b`.

    `without` names devices to leave out: give the part that sits between the nets to see what is parallel
    to it. Raises CircuitError for a net no part touches.

    >>> from benchcheck.circuit.devices import Resistor
    >>> triangle = (("R1", "A", "B"), ("R2", "B", "C"), ("R3", "C", "A"))
    >>> board = Netlist(Resistor(name, a, b, 1e3) for name, a, b in triangle)
    >>> parallel_paths(board, "A", "B", without=["R1"]).paths
    (('R3', 'R2'),)
    """
    netlist.require_nets(a, b)
    left_out = frozenset(without)
    edges = [
        (first, second, device.designator)
        for device in netlist.devices
        if device.designator not in left_out
        for first, second in conductive_pairs(device, alternating=alternating)
        if first != second
    ]
    inside = _block_edges(edges, a, b)
    used = {edges[index][2] for index in inside}
    through = {net for index in inside for net in edges[index][:2]} - {a, b}
    order = [device.designator for device in netlist.devices]
    return ParallelPaths(
        parts=tuple(name for name in order if name in used),
        nets=tuple(net for net in netlist.nets if net in through),
        paths=tuple(_disjoint_paths([edges[index] for index in sorted(inside)], a, b)),
    )


def _adjacency(edges: list[Edge]) -> dict[str, list[tuple[str, int]]]:
    found: dict[str, list[tuple[str, int]]] = {}
    for index, (first, second, _) in enumerate(edges):
        found.setdefault(first, []).append((second, index))
        found.setdefault(second, []).append((first, index))
    return found


def _block_edges(edges: list[Edge], a: str, b: str) -> set[int]:
    """Return the indices of the edges on some simple path from a to b.

    They are those in one biconnected block with an edge added from a to b (Hopcroft and Tarjan 1973,
    Algorithm 447); the walk starts along that edge, so its block is the one that closes last at a.
    """
    if a == b:
        return set()
    neighbours = _adjacency([*edges, (a, b, "")])
    virtual = len(edges)
    order, low = {a: 0, b: 1}, {a: 0, b: 1}
    trail: list[int] = [virtual]
    walk: list[tuple[str, int, Iterator[tuple[str, int]]]] = [(b, virtual, iter(neighbours[b]))]
    while walk:
        net, came_by, ways = walk[-1]
        step = next(ways, None)
        if step is None:
            walk.pop()
            if walk:
                _close_block(walk[-1][0], net, came_by, order, low, trail)
            continue
        other, index = step
        if index == came_by:
            continue
        if other not in order:
            order[other] = low[other] = len(order)
            trail.append(index)
            walk.append((other, index, iter(neighbours[other])))
        elif order[other] < order[net]:
            trail.append(index)
            low[net] = min(low[net], order[other])
    return set(trail) - {virtual}


def _close_block(
    parent: str, child: str, edge: int, order: dict[str, int], low: dict[str, int], trail: list[int]
) -> None:
    """Drop the block that hangs at `parent` from the trail when nothing below the child reaches above it."""
    low[parent] = min(low[parent], low[child])
    if low[child] >= order[parent]:
        while trail.pop() != edge:
            pass


def _disjoint_paths(edges: list[Edge], a: str, b: str) -> Iterator[tuple[str, ...]]:
    """Yield paths from a to b that share no device, shortest first."""
    remaining = edges
    while path := _shortest(_adjacency(remaining), remaining, a, b):
        yield path
        remaining = [edge for edge in remaining if edge[2] not in path]


def _shortest(neighbours: Mapping[str, list[tuple[str, int]]], edges: list[Edge], a: str, b: str) -> tuple[str, ...]:
    came: dict[str, tuple[str, int]] = {a: (a, -1)}
    queue = deque([a])
    while queue and b not in came:
        net = queue.popleft()
        for other, index in neighbours.get(net, ()):
            if other not in came:
                came[other] = (net, index)
                queue.append(other)
    if b not in came or a == b:
        return ()
    path, net = [], b
    while net != a:
        net, index = came[net]
        path.append(edges[index][2])
    return tuple(dict.fromkeys(reversed(path)))
