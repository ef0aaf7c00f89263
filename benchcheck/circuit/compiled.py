"""A netlist turned into arrays: which unknowns there are, what is constant, and where each device stamps.

Modified nodal analysis (Ho, Ruehli, Brennan 1975): the unknowns are the voltages of the nets against the
reference and the currents of branches. A resistance below 100 ohm is such a branch: as a conductance it
would swamp, in floating point, the leakage its nets hang on. Ideal shorts are merged nets; what direct
current cannot reach is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from .cards import BODY, Junction, bjt_arrays, junction_arrays, mosfet_arrays
from .connectivity import Groups, groups, ideal_short, require_solvable
from .devices import (
    Bjt,
    Capacitor,
    Clamp,
    CurrentSource,
    Device,
    Diode,
    Inductor,
    Mosfet,
    Resistor,
    Switch,
    VoltageSource,
    Zener,
)
from .models import JunctionModel
from .netlist import Netlist
from .physics import BjtArrays, Conditions, JunctionArrays, MosfetArrays

__all__ = ["Branch", "Compiled", "Lists", "Supply", "compile_netlist", "held_gates", "placed"]

_BRANCH_BELOW_OHM = 100.0


@dataclass(frozen=True, slots=True)
class Branch:
    """A branch with its own current: `plus - minus - resistance * current = voltage`."""

    designator: str
    plus: int
    minus: int
    resistance_ohm: float
    voltage_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Supply:
    """A source that holds `voltage_v` behind a resistance until it would deliver more than `current_a`.

    `limit_is_voltage`: it is there for its current, and `voltage_v` is its compliance.
    """

    designator: str
    plus: int
    minus: int
    voltage_v: float
    current_a: float
    resistance_ohm: float
    limit_is_voltage: bool = False


@dataclass(slots=True)
class Lists:
    """What a walk over the devices collects, every place being a row."""

    conductances: list[tuple[str, int, int, float]] = field(default_factory=list)
    currents: list[tuple[str, int, int, float]] = field(default_factory=list)
    branches: list[Branch] = field(default_factory=list)
    supplies: list[Supply] = field(default_factory=list)
    junctions: list[Junction] = field(default_factory=list)
    bjts: list[tuple[Bjt, tuple[int, int, int]]] = field(default_factory=list)
    mosfets: list[tuple[Mosfet, tuple[int, int, int]]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Compiled:
    """A netlist as arrays; rows 0 to nodes - 1 are nets, then branch currents, then supply currents.

    Row -1 is the reference: the last place of a vector with one entry to spare. `row_of` gives the row of
    every net that direct current reaches from the reference, `floating` the other nets.
    """

    conditions: Conditions
    reference: str
    row_of: dict[str, int]
    floating: tuple[frozenset[str], ...]
    nodes: int
    conductances: tuple[tuple[str, int, int, float], ...]
    currents: tuple[tuple[str, int, int, float], ...]
    branches: tuple[Branch, ...]
    supplies: tuple[Supply, ...]
    junctions: tuple[Junction, ...]
    bjts: tuple[tuple[Bjt, tuple[int, int, int]], ...]
    mosfets: tuple[tuple[Mosfet, tuple[int, int, int]], ...]
    junction_arrays: JunctionArrays
    bjt_arrays: BjtArrays
    mosfet_arrays: MosfetArrays

    @property
    def size(self) -> int:
        """The number of unknowns."""
        return self.nodes + len(self.branches) + len(self.supplies)

    @property
    def linear(self) -> bool:
        """Whether every device is a resistance or an unlimited source."""
        return not (self.junctions or self.bjts or self.mosfets or self.supplies)

    def net_names(self) -> list[str]:
        """Return one net name per node row (merged nets: the first mentioned)."""
        names = [""] * self.nodes
        for net, row in self.row_of.items():
            if row >= 0 and not names[row]:
                names[row] = net
        return names


def compile_netlist(netlist: Netlist, reference: str, conditions: Conditions) -> Compiled:
    """Return the netlist as arrays, voltages being against net `reference`.

    Raises CircuitError for an unknown reference, loops of ideal sources and currents with no way back.
    """
    netlist.require_nets(reference)
    netlist = netlist.expanded
    require_solvable(netlist)
    merged = Groups(netlist.nets)
    for device in netlist.devices:
        if pair := ideal_short(device):
            merged.join(*pair)
    joined = groups(netlist)
    apart = joined.members()
    held = held_gates(netlist, joined, reference)
    reached = frozenset(net for net in netlist.nets if joined.together(net, reference))
    row_of, nodes = _number_nets(netlist, reference, merged, reached)
    lists = placed(netlist.devices, row_of)
    for gate, source, voltage in held:
        if row_of[gate] != row_of[source]:
            lists.branches.append(Branch(f"charge on {gate}", row_of[gate], row_of[source], 0.0, voltage))
    return Compiled(
        conditions=conditions,
        reference=reference,
        row_of=row_of,
        floating=tuple(group for group in apart if not group & row_of.keys()),
        nodes=nodes,
        conductances=tuple(lists.conductances),
        currents=tuple(lists.currents),
        branches=tuple(lists.branches),
        supplies=tuple(lists.supplies),
        junctions=tuple(lists.junctions),
        bjts=tuple(lists.bjts),
        mosfets=tuple(lists.mosfets),
        junction_arrays=junction_arrays(lists.junctions, conditions),
        bjt_arrays=bjt_arrays([bjt for bjt, _ in lists.bjts], conditions),
        mosfet_arrays=mosfet_arrays([mosfet for mosfet, _ in lists.mosfets], conditions),
    )


def placed(devices: Iterable[Device], row_of: dict[str, int]) -> Lists:
    """Return what the devices are made of, at the rows of their nets; a net without a row takes its device out."""
    lists, rows = Lists(), _Rows(row_of)
    for device in devices:
        _STAMPS[type(device)](device, rows, lists)
    return lists


def _number_nets(
    netlist: Netlist, reference: str, merged: Groups, reached: frozenset[str]
) -> tuple[dict[str, int], int]:
    """Give every net that is reached a row; merged nets share one, the reference's comes last."""
    rows: dict[str, int] = {}
    ground = merged.find(reference)
    for net in netlist.nets:
        if net in reached and merged.find(net) != ground:
            rows.setdefault(merged.find(net), len(rows))
    nodes = len(rows)
    named = {net: rows.get(merged.find(net), -1) for net in netlist.nets if net in reached}
    return named, nodes


def held_gates(netlist: Netlist, joined: Groups, reference: str) -> list[tuple[str, str, float]]:
    """Return the gates that nothing but their charge holds, and join them to their sources in `joined`.

    Such a gate keeps its stored voltage against its source: (gate net, source net, volt).
    """
    mosfets = [device for device in netlist.devices if isinstance(device, Mosfet)]
    held: list[tuple[str, str, float]] = []
    grown = True
    while grown:
        grown = False
        for mosfet in mosfets:
            if joined.together(mosfet.source, reference) and joined.join(mosfet.source, mosfet.gate):
                sense = 1.0 if mosfet.channel == "N" else -1.0
                held.append((mosfet.gate, mosfet.source, sense * mosfet.stored_gate_v))
                grown = True
    return held


class _Rows:
    """Looks up the rows of a device's nets; None when direct current does not reach it."""

    def __init__(self, row_of: dict[str, int]) -> None:
        self._row_of = row_of

    def __call__(self, *nets: str) -> tuple[int, ...] | None:
        if any(net not in self._row_of for net in nets):
            return None
        return tuple(self._row_of[net] for net in nets)


def _add_resistance(designator: str, rows: Sequence[int] | None, ohm: float, lists: Lists) -> None:
    if rows is None or rows[0] == rows[1]:
        return
    if ohm < _BRANCH_BELOW_OHM:
        lists.branches.append(Branch(designator, rows[0], rows[1], ohm))
    else:
        lists.conductances.append((designator, rows[0], rows[1], 1.0 / ohm))


def _add_junction(
    designator: str, name: str, rows: Sequence[int] | None, model: JunctionModel, shift: float, lists: Lists
) -> None:
    if rows is not None and rows[0] != rows[1]:
        lists.junctions.append(Junction(designator, name, rows[0], rows[1], model, shift))


def _resistor(device: Resistor, rows: _Rows, lists: Lists) -> None:
    _add_resistance(device.designator, rows(device.a, device.b), device.resistance_ohm, lists)


def _capacitor(device: Capacitor, rows: _Rows, lists: Lists) -> None:
    if device.leakage_ohm is not None:
        through = device.leakage_ohm + device.series_resistance_ohm
        _add_resistance(device.designator, rows(device.plus, device.minus), through, lists)


def _inductor(device: Inductor, rows: _Rows, lists: Lists) -> None:
    _add_resistance(device.designator, rows(device.a, device.b), device.dc_resistance_ohm, lists)


def _switch(device: Switch, rows: _Rows, lists: Lists) -> None:
    if device.closed:
        _add_resistance(device.designator, rows(device.a, device.b), device.closed_resistance_ohm, lists)


def _diode(device: Diode, rows: _Rows, lists: Lists) -> None:
    along = rows(device.anode, device.cathode)
    _add_junction(device.designator, "junction", along, device.model, device.drop_shift_v, lists)


def _zener(device: Zener, rows: _Rows, lists: Lists) -> None:
    along = rows(device.anode, device.cathode)
    _add_junction(device.designator, "junction", along, device.junction, 0.0, lists)


def _clamp(device: Clamp, rows: _Rows, lists: Lists) -> None:
    shift = device.drop_shift_v
    below = rows(device.ground, device.pin)
    _add_junction(device.designator, "ground-pin", below, device.model, shift, lists)
    if device.supply is not None:
        above = rows(device.pin, device.supply)
        _add_junction(device.designator, "pin-supply", above, device.supply_model or device.model, shift, lists)


def _bjt(device: Bjt, rows: _Rows, lists: Lists) -> None:
    at = rows(device.collector, device.base, device.emitter)
    if at is not None and len(set(at)) > 1:
        lists.bjts.append((device, (at[0], at[1], at[2])))


def _mosfet(device: Mosfet, rows: _Rows, lists: Lists) -> None:
    at = rows(device.drain, device.gate, device.source)
    if at is None or at[0] == at[2]:
        return
    lists.mosfets.append((device, (at[0], at[1], at[2])))
    body = (at[2], at[0]) if device.channel == "N" else (at[0], at[2])
    _add_junction(device.designator, BODY, body, device.model.body, device.drop_shift_v, lists)


def _current_source(device: CurrentSource, rows: _Rows, lists: Lists) -> None:
    at = rows(device.plus, device.minus)
    if at is None or at[0] == at[1]:
        return
    if device.compliance_v is None:
        lists.currents.append((device.designator, at[0], at[1], device.current_a))
        return
    plus, minus = at if device.current_a >= 0 else at[::-1]
    ampere = abs(device.current_a)
    supply = Supply(device.designator, plus, minus, device.compliance_v, ampere, 0.0, limit_is_voltage=True)
    lists.supplies.append(supply)


def _voltage_source(device: VoltageSource, rows: _Rows, lists: Lists) -> None:
    at = rows(device.plus, device.minus)
    if at is None or at[0] == at[1]:
        return
    ohm, volt, limit = device.series_resistance_ohm, device.voltage_v, device.current_limit_a
    if limit is None:
        lists.branches.append(Branch(device.designator, at[0], at[1], ohm, volt))
        return
    plus, minus = at if volt >= 0 else at[::-1]
    lists.supplies.append(Supply(device.designator, plus, minus, abs(volt), limit, ohm))


_STAMPS: dict[type[Device], Callable[..., None]] = {
    Resistor: _resistor,
    Capacitor: _capacitor,
    Inductor: _inductor,
    Switch: _switch,
    Diode: _diode,
    Zener: _zener,
    Clamp: _clamp,
    Bjt: _bjt,
    Mosfet: _mosfet,
    CurrentSource: _current_source,
    VoltageSource: _voltage_source,
}
