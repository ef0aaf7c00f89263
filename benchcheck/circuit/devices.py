"""The devices a board is made of: plain frozen values, each with its designator and the nets its pins touch.

A pin is a field that holds a net's name; a device's value is the one number printed on it. A part that
needs several devices (an IC with many clamps) writes its own designator before a colon in each: `U1:fb`,
`U1:drive`. Whether values make sense is asked by `Netlist`, which can name everything wrong at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from .models import (
    CLAMP_JUNCTION,
    SILICON,
    SMALL_BJT,
    SMALL_MOSFET,
    BjtModel,
    JunctionModel,
    MosfetModel,
    zener_junction,
)

__all__ = [
    "Bjt",
    "Capacitor",
    "Clamp",
    "CurrentSource",
    "Device",
    "Diode",
    "Inductor",
    "Mosfet",
    "Resistor",
    "Switch",
    "VoltageSource",
    "Zener",
    "part_of",
    "pins",
    "reconnect",
    "rename_nets",
    "value_of",
    "with_value",
]


@dataclass(frozen=True, slots=True)
class Resistor:
    """A resistance in ohm, above zero, between two nets; also a fuse, a ferrite, a leak, a joint.

    `marked` says that a part bears this value: only then may another be fitted that is a decade off.
    """

    PINS: ClassVar[tuple[str, ...]] = ("a", "b")
    VALUE: ClassVar[str] = "resistance_ohm"

    designator: str
    a: str
    b: str
    resistance_ohm: float
    marked: bool = True


@dataclass(frozen=True, slots=True)
class Capacitor:
    """A capacitance in farad with its series resistance and, where it leaks, its leakage resistance, both
    in ohm.

    For direct current it is open but for `leakage_ohm`. `polarised` says that turning it round is a fault, `wet`
    that it has an electrolyte, which can dry out.
    """

    PINS: ClassVar[tuple[str, ...]] = ("plus", "minus")
    VALUE: ClassVar[str] = "capacitance_f"

    designator: str
    plus: str
    minus: str
    capacitance_f: float
    series_resistance_ohm: float = 0.0
    leakage_ohm: float | None = None
    polarised: bool = False
    wet: bool = True


@dataclass(frozen=True, slots=True)
class Inductor:
    """An inductance in henry with the direct-current resistance of its winding in ohm (0: an ideal short).

    `marked` says that the part bears this inductance: only then may another be fitted that is a decade off.
    """

    PINS: ClassVar[tuple[str, ...]] = ("a", "b")
    VALUE: ClassVar[str] = "inductance_h"

    designator: str
    a: str
    b: str
    inductance_h: float
    dc_resistance_ohm: float = 0.0
    marked: bool = True


@dataclass(frozen=True, slots=True)
class Diode:
    """A junction of any technology; `drop_shift_v` moves its forward voltage, in volt (its spread)."""

    PINS: ClassVar[tuple[str, ...]] = ("anode", "cathode")
    VALUE: ClassVar[str] = "drop_shift_v"

    designator: str
    anode: str
    cathode: str
    model: JunctionModel = SILICON
    drop_shift_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Zener:
    """A diode meant to break down at `breakdown_voltage_v`, in volt; a usual junction unless given."""

    PINS: ClassVar[tuple[str, ...]] = ("anode", "cathode")
    VALUE: ClassVar[str] = "breakdown_voltage_v"

    designator: str
    anode: str
    cathode: str
    breakdown_voltage_v: float
    model: JunctionModel | None = None

    @property
    def junction(self) -> JunctionModel:
        """The junction with this breakdown voltage."""
        base = self.model or zener_junction(self.breakdown_voltage_v)
        return replace(base, breakdown_voltage_v=self.breakdown_voltage_v)


@dataclass(frozen=True, slots=True)
class Bjt:
    """A bipolar transistor; `drop_shift_v` moves both junctions' forward voltage, in volt (its spread)."""

    PINS: ClassVar[tuple[str, ...]] = ("collector", "base", "emitter")
    VALUE: ClassVar[str] = "drop_shift_v"

    designator: str
    collector: str
    base: str
    emitter: str
    polarity: Literal["NPN", "PNP"] = "NPN"
    model: BjtModel = SMALL_BJT
    drop_shift_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Mosfet:
    """A MOSFET with its body diode.

    A gate that nothing holds keeps what the last touch left on it: `stored_gate_v` is that voltage from
    gate to source, in volt (0: discharged). It counts only where no path holds the gate.
    `threshold_shift_v` moves the threshold's magnitude, `drop_shift_v` the forward voltage of the body diode, both in
    volt (their spread).
    """

    PINS: ClassVar[tuple[str, ...]] = ("gate", "drain", "source")
    VALUE: ClassVar[str] = "threshold_shift_v"

    designator: str
    gate: str
    drain: str
    source: str
    channel: Literal["N", "P"] = "N"
    model: MosfetModel = SMALL_MOSFET
    stored_gate_v: float = 0.0
    threshold_shift_v: float = 0.0
    drop_shift_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Clamp:
    """The protection of one IC pin: junctions from ground to the pin and, with `supply`, on to the supply.

    The junction to the supply is of `supply_model`, or like the other one (None).
    """

    PINS: ClassVar[tuple[str, ...]] = ("pin", "ground", "supply")
    VALUE: ClassVar[str] = "drop_shift_v"

    designator: str
    pin: str
    ground: str
    supply: str | None = None
    model: JunctionModel = CLAMP_JUNCTION
    drop_shift_v: float = 0.0
    supply_model: JunctionModel | None = None


@dataclass(frozen=True, slots=True)
class Switch:
    """A contact in its stated position: closed with `closed_resistance_ohm`, in ohm, or open."""

    PINS: ClassVar[tuple[str, ...]] = ("a", "b")
    VALUE: ClassVar[str] = "closed_resistance_ohm"

    designator: str
    a: str
    b: str
    closed: bool
    closed_resistance_ohm: float = 0.05


@dataclass(frozen=True, slots=True)
class CurrentSource:
    """A source that drives `current_a`, in ampere, out of `plus`, through the circuit, into `minus`.

    With `compliance_v`, in volt, its voltage never rises above that: it then drives what the circuit takes.
    """

    PINS: ClassVar[tuple[str, ...]] = ("plus", "minus")
    VALUE: ClassVar[str] = "current_a"

    designator: str
    plus: str
    minus: str
    current_a: float
    compliance_v: float | None = None


@dataclass(frozen=True, slots=True)
class VoltageSource:
    """A source that holds `voltage_v`, in volt, plus to minus, behind `series_resistance_ohm`, in ohm.

    With `current_limit_a`, in ampere, it delivers no more than that: it then holds the current instead.
    """

    PINS: ClassVar[tuple[str, ...]] = ("plus", "minus")
    VALUE: ClassVar[str] = "voltage_v"

    designator: str
    plus: str
    minus: str
    voltage_v: float
    series_resistance_ohm: float = 0.0
    current_limit_a: float | None = None


Device = (
    Resistor | Capacitor | Inductor | Diode | Zener | Bjt | Mosfet | Clamp | Switch | CurrentSource | VoltageSource
)


def part_of(designator: str) -> str:
    """Return the part a device belongs to: what stands before the colon.

    >>> part_of("U1:fb"), part_of("R14")
    ('U1', 'R14')
    """
    return designator.partition(":")[0]


def pins(device: Device) -> dict[str, str]:
    """Return the nets of a device by pin, in pin order; a pin that is not connected is left out.

    >>> pins(Resistor("R1", "FB", "GND", 4700.0))
    {'a': 'FB', 'b': 'GND'}
    """
    nets = ((pin, getattr(device, pin)) for pin in device.PINS)
    return {pin: net for pin, net in nets if net is not None}


def reconnect(device: Device, **nets: str) -> Device:
    """Return the device with some of its pins on other nets.

    >>> reconnect(Resistor("R1", "FB", "GND", 4700.0), b="VSW").b
    'VSW'
    """
    return replace(device, **nets)  # type: ignore[arg-type]  # pins are the fields that hold nets


def rename_nets(device: Device, names: dict[str, str]) -> Device:
    """Return the device with every net renamed as `names` says; others stay."""
    return reconnect(device, **{pin: names.get(net, net) for pin, net in pins(device).items()})


def value_of(device: Device) -> float:
    """Return the number a device's sensitivity is taken to, in the unit its field name gives.

    >>> value_of(Resistor("R1", "FB", "GND", 4700.0))
    4700.0
    """
    return float(getattr(device, device.VALUE))


def with_value(device: Device, value: float) -> Device:
    """Return the device with another value, in the unit of its field."""
    return replace(device, **{device.VALUE: value})  # type: ignore[arg-type]
