"""Faults as edits of a netlist, each with its fixed code: what a repair can leave behind, one thing at a time.

A fault knows what it takes out and what it puts in, so that the dictionary of all faults can be solved as changes to
one good board. Sizes (how short is short, how leaky is leaky) are common practice; each says so and can be given.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, fields, replace
from itertools import combinations
from typing import Literal, get_args

from benchcheck.errors import CircuitError, close_match

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
    part_of,
    pins,
    reconnect,
)
from .netlist import Netlist

__all__ = ["CODES", "Edit", "FaultCode", "FaultSizes", "PartFault", "faulty", "parse_fault", "possible_faults"]

FaultCode = Literal[
    "open", "short", "reversed", "decade", "leaky", "dry", "missing-joint", "bridge", "wrong-polarity-type",
    "swapped-pins"
]  # fmt: skip
CODES: tuple[FaultCode, ...] = get_args(FaultCode)


@dataclass(frozen=True, slots=True)
class FaultSizes:
    """How large faults are; every figure is common practice without a published source.

    `short_ohm` a splash or a punched-through part; `leak_ohm` a leaky junction, gate or capacitor (a leaky 100 uF
    plateaus at 12 kohm, others elsewhere; which of two parts between the same nets leaks no reading there tells);
    `dry_ohm` what drying out adds in series (22 uF with 34 ohm in series still reads as 21 uF on handhelds).
    """

    short_ohm: float = 0.05
    leak_ohm: float = 10e3
    dry_ohm: float = 34.0

    def times(self, ratio: float) -> FaultSizes:
        """Return sizes that are all so many times as large."""
        return FaultSizes(*(ratio * getattr(self, one.name) for one in fields(self)))


@dataclass(frozen=True, slots=True)
class PartFault:
    """One fault: its code, the device it is on (empty for a bridge), and where.

    `where`: the pin of a missing joint, the two swapped pins, or the two bridged nets; `factor`: what a decade fault
    multiplies the value by.

    >>> str(PartFault("decade", "R14", factor=10.0)), str(PartFault("bridge", where=("FB", "GND")))
    ('R14 decade x10', 'bridge FB GND')
    """

    code: FaultCode
    designator: str = ""
    where: tuple[str, ...] = ()
    factor: float = 1.0

    def __str__(self) -> str:
        """Return the fault as `--fault` takes it."""
        times = f"x{self.factor:g}" if self.code == "decade" else ""
        return " ".join(word for word in (self.designator, self.code, *self.where, times) if word)


@dataclass(frozen=True, slots=True)
class Edit:
    """What a fault does to a netlist: devices taken out (by designator) and devices put in."""

    removed: tuple[str, ...] = ()
    added: tuple[Device, ...] = ()


def faulty(netlist: Netlist, fault: PartFault, sizes: FaultSizes | None = None) -> Netlist:
    """Return the netlist with one fault; raises CircuitError where the fault makes no sense on the part.

    >>> board = Netlist([Diode("D3", "LX", "VSW"), Resistor("R1", "VSW", "LX", 1e3)])
    >>> faulty(board, parse_fault("D3 reversed", board)).device("D3").anode
    'VSW'
    """
    edit = edit_of(netlist, fault, sizes or FaultSizes())
    kept = (device for device in netlist.devices if device.designator not in edit.removed)
    return Netlist((*kept, *edit.added), sound=netlist.devices)


def edit_of(netlist: Netlist, fault: PartFault, sizes: FaultSizes) -> Edit:
    """Return what a fault takes out and puts in."""
    if fault.code == "bridge":
        if len(fault.where) != 2 or len(set(fault.where)) != 2:
            raise CircuitError(f'"{fault}": a bridge joins two different nets; name both')
        netlist.require_nets(*fault.where)
        one, other = fault.where
        return Edit(added=(Resistor(f"bridge:{one}:{other}", one, other, sizes.short_ohm),))
    device = netlist.device(fault.designator)
    edit = _EDITS[fault.code](device, fault, sizes)
    if edit is None:
        possible = sorted({known.code for known in _faults_of(device)})
        raise CircuitError(f'"{fault}": {device.designator} cannot have this fault; it can be {", ".join(possible)}')
    return edit


def _replaced(device: Device, *by: Device) -> Edit:
    return Edit((device.designator,), by)


def _main_nets(device: Device) -> tuple[str, str]:
    """Return the two nets a short of the device joins: its ends, collector and emitter, drain and source."""
    match device:
        case Bjt():
            return device.collector, device.emitter
        case Mosfet():
            return device.drain, device.source
        case Clamp():
            return device.pin, device.ground
        case _:
            first, second = pins(device).values()
            return first, second


def _beside(device: Device, name: str, ohm: float, nets: tuple[str, str]) -> Edit:
    return Edit(added=(Resistor(f"{device.designator}:{name}", *nets, ohm),))


def _open(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    return None if isinstance(device, CurrentSource | VoltageSource) else _replaced(device)


def _short(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    if isinstance(device, CurrentSource | VoltageSource):
        return None
    short = _beside(device, "short", sizes.short_ohm, _main_nets(device))
    return Edit((device.designator,), short.added) if len(device.PINS) == 2 else short


def _reversed(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    match device:
        case Diode() | Zener():
            return _replaced(device, reconnect(device, anode=device.cathode, cathode=device.anode))
        case Capacitor(polarised=True):
            return _replaced(device, reconnect(device, plus=device.minus, minus=device.plus))
        case _:
            return None


def _decade(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    match device:
        case Resistor(resistance_ohm=value, marked=True):
            return _replaced(device, replace(device, resistance_ohm=value * fault.factor))
        case Capacitor(capacitance_f=value):
            return _replaced(device, replace(device, capacitance_f=value * fault.factor))
        case Inductor(inductance_h=value, marked=True):
            return _replaced(device, replace(device, inductance_h=value * fault.factor))
        case _:
            return None


def _leaky(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    match device:
        case Capacitor(leakage_ohm=leakage):
            both = sizes.leak_ohm if leakage is None else 1 / (1 / leakage + 1 / sizes.leak_ohm)
            return _replaced(device, replace(device, leakage_ohm=both))
        case Mosfet(gate=gate, source=source):
            return _beside(device, "leak", sizes.leak_ohm, (gate, source))
        case Diode() | Zener() | Bjt() | Clamp():
            return _beside(device, "leak", sizes.leak_ohm, _main_nets(device))
        case Switch(closed=False):
            return _beside(device, "leak", sizes.leak_ohm, _main_nets(device))
        case _:
            return None


def _dry(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    if not isinstance(device, Capacitor) or not device.wet:
        return None
    return _replaced(device, replace(device, series_resistance_ohm=device.series_resistance_ohm + sizes.dry_ohm))


def _missing_joint(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    connected = pins(device)
    if len(fault.where) != 1 or fault.where[0] not in connected:
        named = "" if not fault.where else close_match(fault.where[0], connected)
        raise CircuitError(f'"{fault}": name one pin of {device.designator}: {", ".join(connected)}{named}')
    if isinstance(device, CurrentSource | VoltageSource):
        return None
    if len(connected) == 2:
        return _replaced(device)
    if isinstance(device, Clamp) and device.supply is not None and fault.where[0] == "pin":
        return _replaced(device, _through(device, device.supply))
    return _replaced(device, reconnect(device, **{fault.where[0]: f"{device.designator}:{fault.where[0]} pad"}))


def _through(clamp: Clamp, supply: str) -> Diode:
    """Return what a clamp is whose pin touches nothing: its two junctions in series, ground to supply.

    At one current their voltages add: idealities do, and logarithms of saturation currents by idealities' share.
    """
    below, above = clamp.model, clamp.supply_model or clamp.model
    ideality, broken = below.ideality + above.ideality, (below.breakdown_voltage_v, above.breakdown_voltage_v)
    share = below.ideality / ideality
    both = replace(
        below,
        saturation_current_a=below.saturation_current_a**share * above.saturation_current_a ** (1.0 - share),
        ideality=ideality,
        series_resistance_ohm=below.series_resistance_ohm + above.series_resistance_ohm,
        breakdown_voltage_v=None if broken[0] is None or broken[1] is None else broken[0] + broken[1],
        breakdown_ideality=below.breakdown_ideality + above.breakdown_ideality,
    )
    return Diode(f"{clamp.designator}:through", clamp.ground, supply, both, 2.0 * clamp.drop_shift_v)


def _wrong_polarity(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    match device:
        case Bjt(polarity=polarity):
            return _replaced(device, replace(device, polarity="PNP" if polarity == "NPN" else "NPN"))
        case Mosfet(channel=channel):
            return _replaced(device, replace(device, channel="P" if channel == "N" else "N"))
        case _:
            return None


def _swapped_pins(device: Device, fault: PartFault, sizes: FaultSizes) -> Edit | None:
    connected = pins(device)
    if len(connected) < 3:
        return None
    if len(set(fault.where)) != 2 or len(fault.where) != 2 or not set(fault.where) <= connected.keys():
        raise CircuitError(f'"{fault}": name two different pins of {device.designator}: {", ".join(connected)}')
    one, other = fault.where
    return _replaced(device, reconnect(device, **{one: connected[other], other: connected[one]}))


#: faults that name pins.
_OF_PINS = ("missing-joint", "swapped-pins")
_EDITS = {
    "open": _open,
    "short": _short,
    "reversed": _reversed,
    "decade": _decade,
    "leaky": _leaky,
    "dry": _dry,
    "missing-joint": _missing_joint,
    "wrong-polarity-type": _wrong_polarity,
    "swapped-pins": _swapped_pins,
}


def possible_faults(
    netlist: Netlist, *, bridges: Iterable[tuple[str, str]] | None = None, parts: Container[str] | None = None
) -> tuple[PartFault, ...]:
    """Return every fault each part can have (of `parts` alone where they are named), then the bridges.

    `bridges` are pairs of nets that run side by side; left out, those that meet on one part of three pins or more.
    """
    devices = (d for d in netlist.devices if parts is None or part_of(d.designator) in parts)
    found = [fault for device in devices for fault in _faults_of(device)]
    pairs = _neighbouring_nets(netlist) if bridges is None else bridges
    seen: set[frozenset[str]] = set()
    for pair in pairs:
        if len(set(pair)) == 2 and frozenset(pair) not in seen:
            seen.add(frozenset(pair))
            found.append(PartFault("bridge", where=(pair[0], pair[1])))
    return tuple(found)


def _faults_of(device: Device) -> Iterator[PartFault]:
    name = device.designator
    whole: tuple[FaultCode, ...] = ("open", "short", "reversed", "leaky", "dry", "wrong-polarity-type")
    for code in whole:
        fault = PartFault(code, name)
        if _EDITS[code](device, fault, FaultSizes()) is not None:
            yield fault
    decades = (PartFault("decade", name, factor=factor) for factor in (10.0, 0.1))
    yield from (fault for fault in decades if _decade(device, fault, FaultSizes()) is not None)
    if not isinstance(device, CurrentSource | VoltageSource):
        yield from (PartFault("missing-joint", name, (pin,)) for pin in pins(device))
    if isinstance(device, Bjt | Mosfet):
        yield from (PartFault("swapped-pins", name, pair) for pair in combinations(device.PINS, 2))


def _neighbouring_nets(netlist: Netlist) -> Iterator[tuple[str, str]]:
    """Yield pairs of nets that meet on one part of three pins or more."""
    parts: dict[str, dict[str, None]] = {}
    for device in netlist.devices:
        nets = parts.setdefault(part_of(device.designator), {})
        nets |= dict.fromkeys(pins(device).values())
    for nets in parts.values():
        if len(nets) > 2:
            yield from combinations(nets, 2)


def parse_fault(text: str, netlist: Netlist) -> PartFault:
    """Return the fault a text such as "D3 reversed", "R14 decade x10" or "bridge FB GND" names.

    Raises CircuitError for a part, code, pin or net that is not there, and for faults a part cannot have.
    """
    words = text.split()
    if words[:1] == ["bridge"]:
        fault = PartFault("bridge", where=tuple(words[1:]))
    else:
        if len(words) < 2 or words[1] not in CODES:
            near = close_match(words[1], CODES) if len(words) > 1 else ""
            raise CircuitError(f'"{text}": write a part and a fault, one of {", ".join(CODES)}{near}')
        code, rest = words[1], words[2:]
        factor = _factor(text, rest.pop(0) if rest else "x10") if code == "decade" else 1.0
        if rest and code not in _OF_PINS:
            raise CircuitError(f'"{text}": there is more than is understood, "{" ".join(rest)}"; leave it out')
        fault = PartFault(code, words[0], tuple(rest), factor)
    edit_of(netlist, fault, FaultSizes())
    return fault


def _factor(text: str, word: str) -> float:
    try:
        factor = float(word.removeprefix("x"))
    except ValueError:
        factor = 0.0
    if not factor > 0 or factor == 1.0:
        raise CircuitError(f'"{text}": "{word}" is no factor; write x10 or x0.1')
    return factor
