"""A netlist: the devices of a board as one value, checked as a whole before anything is solved.

What can never be solved (a resistor of minus one ohm, two devices of one name) is refused with every fault
at once; what is odd but harmless (a net with a single pin, a part with both pins on one net) is kept as a
remark in words. Editing returns another netlist, so a fault is simply an edit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import isfinite

from benchcheck.errors import CircuitError, close_match

from .devices import Device, Mosfet, Resistor, part_of, pins
from .models import BjtModel, JunctionModel, MosfetModel

__all__ = ["Netlist"]

_MAY_BE_ZERO = frozenset(
    {
        "series_resistance_ohm", "dc_resistance_ohm", "closed_resistance_ohm", "leakage_emitter_a",
        "leakage_collector_a", "base_resistance_ohm", "collector_resistance_ohm", "emitter_resistance_ohm",
        "drain_resistance_ohm", "source_resistance_ohm", "channel_modulation_per_v",
    }
)  # fmt: skip
_ANY_SIGN = frozenset(
    {
        "drop_shift_v", "stored_gate_v", "threshold_shift_v", "current_a", "voltage_v", "threshold_v",
        "temperature_exponent", "gain_temperature_exponent",
    }
)  # fmt: skip
_MAY_BE_INFINITE = frozenset({"early_forward_v", "early_reverse_v", "knee_forward_a", "knee_reverse_a"})


def _number_fault(field: str, value: float) -> str:
    """Return what is wrong with one number of a device or model, or nothing."""
    if not isfinite(value):
        return "" if field in _MAY_BE_INFINITE and value > 0 else f"{field} is {value}; give a finite number"
    if field in _ANY_SIGN:
        return ""
    if field in _MAY_BE_ZERO:
        return f"{field} is {value:g}; it cannot be negative" if value < 0 else ""
    return f"{field} is {value:g}; it must be greater than zero" if value <= 0 else ""


def _numbers(thing: object, prefix: str = "") -> Iterable[tuple[str, float]]:
    """Yield the name and value of every number in a device, models included."""
    for field in fields(thing):  # type: ignore[arg-type]  # devices and models are dataclasses
        value = getattr(thing, field.name)
        if isinstance(value, JunctionModel | BjtModel | MosfetModel):
            yield from _numbers(value)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield field.name, value


def _device_faults(device: Device) -> Iterable[str]:
    for pin, net in pins(device).items():
        if not net:
            yield f"{device.designator}: pin {pin} is on no net; name one"
    for field, value in _numbers(device):
        if fault := _number_fault(field, value):
            nets = ", ".join(pins(device).values())
            yield f"{device.designator} (on {nets}): {fault}"


def _with_drain_resistance(device: Device) -> tuple[Device, ...]:
    if not isinstance(device, Mosfet) or device.model.drain_resistance_ohm == 0:
        return (device,)
    inner = f"{device.designator}:inner drain"
    resistance = Resistor(
        f"{device.designator}:drain resistance", device.drain, inner, device.model.drain_resistance_ohm
    )
    model = replace(device.model, drain_resistance_ohm=0.0)
    return replace(device, drain=inner, model=model), resistance


@dataclass(frozen=True)
class Netlist:
    """The devices of a board; raises CircuitError naming every device whose name or values cannot be."""

    devices: tuple[Device, ...] = ()

    def __init__(self, devices: Iterable[Device] = (), *, sound: Iterable[Device] = ()) -> None:
        """Take devices; those of `sound` stood in a netlist before and are not asked again what may be wrong."""
        object.__setattr__(self, "devices", tuple(devices))
        seen: set[str] = set()
        known = {id(device) for device in sound}
        faults = []
        for device in self.devices:
            if device.designator in seen:
                faults.append(f"{device.designator}: two devices have this designator; rename one")
            seen.add(device.designator)
            if id(device) not in known:
                faults.extend(_device_faults(device))
        if faults:
            raise CircuitError("\n".join(faults))

    @cached_property
    def by_designator(self) -> Mapping[str, Device]:
        """The devices by designator."""
        return {device.designator: device for device in self.devices}

    @cached_property
    def pins_on(self) -> Mapping[str, tuple[tuple[str, str], ...]]:
        """The (designator, pin) pairs on every net, nets in order of first mention."""
        found: dict[str, list[tuple[str, str]]] = {}
        for device in self.devices:
            for pin, net in pins(device).items():
                found.setdefault(net, []).append((device.designator, pin))
        return {net: tuple(places) for net, places in found.items()}

    @property
    def nets(self) -> tuple[str, ...]:
        """Every net, in order of first mention."""
        return tuple(self.pins_on)

    @cached_property
    def remarks(self) -> tuple[str, ...]:
        """What is odd but can be solved: nets with a single pin, parts with all their pins on one net."""
        lone = (
            f"net {net} has a single pin, {places[0][0]} {places[0][1]}: no current can flow there"
            for net, places in self.pins_on.items()
            if len(places) == 1
        )
        looped = (
            f"{device.designator} has every pin on net {next(iter(pins(device).values()))}: it does nothing"
            for device in self.devices
            if len(set(pins(device).values())) == 1
        )
        return (*lone, *looped)

    def device(self, designator: str) -> Device:
        """Return one device; raises CircuitError when there is none of that name."""
        try:
            return self.by_designator[designator]
        except KeyError:
            near = close_match(designator, self.by_designator)
            raise CircuitError(f"{designator}: no such device in the netlist{near}") from None

    def devices_of(self, part: str) -> tuple[Device, ...]:
        """Return the devices of one part: `U1` gives `U1`, `U1:fb` and so on."""
        return tuple(d for d in self.devices if part in (d.designator, part_of(d.designator)))

    def require_nets(self, *nets: str) -> None:
        """Raise CircuitError unless every net exists."""
        for net in nets:
            if net not in self.pins_on:
                raise CircuitError(f"{net}: no part touches this net{close_match(net, self.pins_on)}")

    def replacing(self, designator: str, *devices: Device) -> Netlist:
        """Return the netlist with one device replaced by others (or by none)."""
        self.device(designator)
        kept: list[Device] = []
        for device in self.devices:
            kept.extend(devices if device.designator == designator else (device,))
        return Netlist(kept, sound=self.devices)

    def adding(self, *devices: Device) -> Netlist:
        """Return the netlist with more devices."""
        grown = Netlist((*self.devices, *devices), sound=self.devices)
        found = dict(self.pins_on)
        for device in devices:
            for pin, net in pins(device).items():
                found[net] = (*found.get(net, ()), (device.designator, pin))
        grown.__dict__["pins_on"] = found  # known, with no need to go through the whole board again
        return grown

    @cached_property
    def expanded(self) -> Netlist:
        """The netlist with the drain resistance of MOSFETs as a part of its own, `Q1:drain resistance`.

        The body diode joins behind it, so the resistance cannot be eliminated within the channel.
        """
        parts = [part for device in self.devices for part in _with_drain_resistance(device)]
        return self if len(parts) == len(self.devices) else Netlist(parts, sound=self.devices)
