"""What each entry must make sense of once it is read: currents in order, voltages that agree, pins that exist."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from benchcheck.errors import close_match
from benchcheck.kinds.part import Part
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.quantity import format_value
from benchcheck.spec.words import Path

__all__ = ["part_faults", "potential_faults", "rail_faults", "supply_faults"]

Fault = tuple[Path, str]
#: two statements of one voltage may differ by their rounding, not by more.
VOLTAGES_AGREE = 0.01
#: where the protection of an IC's pin may lead.
CLAMPS = ("ground", "supply")
#: limits of parts, in volt or plain numbers, that a good part meets above zero only.
ABOVE_ZERO = (
    "forward_drop", "reverse", "be_drop", "bc_drop", "ce_blocking", "body_diode", "blocking", "zener_voltage", "pin",
    "input_to_output", "dropout", "residual_voltage", "open_voltage", "loaded_voltage", "bias", "hfe",
)  # fmt: skip


def _shown(value: float, unit: str) -> str:
    return format_value(value, unit, ascii=True)


def supply_faults(name: str, supply: Supply) -> Iterator[Fault]:
    """Yield (path, sentence) for a voltage that is not above zero and for currents out of order."""
    at: Path = ("supply", name)
    if supply.voltage <= 0:
        found = _shown(supply.voltage, "V")
        yield (*at, "voltage"), f"{found} is not above zero; write the voltage from plus to minus, such as 6 V"
    limit, start = supply.current_limit, supply.start_current
    idle = supply.idle_current.max if supply.idle_current else None
    if limit is None:
        return
    if start is not None and start > limit:
        found = f"{_shown(start, 'A')} is above the current limit of {_shown(limit, 'A')}"
        yield (*at, "start_current"), f"{found}; the first power comes at the lower of the two"
    if idle is not None and idle >= limit:
        found = f"an idle current of {_shown(idle, 'A')} reaches the current limit of {_shown(limit, 'A')}"
        yield (*at, "idle_current", "max"), f"{found}, and the unit could never come up; raise the limit"


def rail_faults(name: str, rail: Rail, supplies: Collection[str]) -> Iterator[Fault]:
    """Yield (path, sentence) for a rail of no voltage, and for a supply it names that is not there."""
    at: Path = ("rail", name)
    if not rail.voltage:
        yield (*at, "voltage"), "0 V is no rail; write its voltage from plus to minus, such as 9 V"
    if rail.supply and rail.supply not in supplies:
        hint = close_match(rail.supply, supplies) or f"; supplies here are {', '.join(supplies) or 'none'}"
        yield (*at, "supply"), f'"{rail.supply}" is no supply of this board{hint}'
    elif not rail.supply and len(supplies) > 1:
        yield (*at, "supply"), f"is missing; name the supply that feeds this rail: {', '.join(supplies)}"


def part_faults(name: str, part: Part) -> Iterator[Fault]:
    """Yield (path, sentence) for clamps of pins that the part has no nets for, and for limits no good part meets."""
    yield from _limit_faults(name, part)
    clamps: Mapping[str, tuple[str, ...]] = getattr(part, "clamps", {})
    for pin, ends in clamps.items():
        at: Path = ("part", name, "clamps", pin)
        if pin not in part.pins:
            yield at, f"is no pin in nets{close_match(pin, part.pins) or '; give the pin its net first'}"
        for end in ends:
            if end not in CLAMPS:
                yield at, f'"{end}" is nothing to clamp to; write "ground", "supply", both, or [] for none'


def _limit_faults(name: str, part: Part) -> Iterator[Fault]:
    """Yield (path, sentence) for limits of voltages, taken from plus to minus, that would pass only what is none."""
    if part.kind == "regulator" and getattr(part, "voltage", None) == 0.0:
        yield ("part", name, "voltage"), "0 V regulates nothing; write the output voltage, such as 5 V"
    for key in ABOVE_ZERO:
        limit = getattr(part, key, None)
        if limit is None:
            continue
        unit = "" if key == "hfe" else "V"
        if limit.max is not None and limit.max <= 0.0:
            found = _shown(limit.max, unit) if unit else f"{limit.max:g}"
            yield ("part", name, key, "max"), f"{found} is not above zero, so that no good part could pass; raise it"
        if limit.min is not None and limit.min < 0.0 and key != "residual_voltage":
            found = _shown(limit.min, unit)
            yield ("part", name, key, "min"), f"{found} is below zero, where a good part never reads; leave it out"


def potential_faults(
    entries: Mapping[Path, Rail | Supply], stated: Mapping[str, float], known: Mapping[str, float]
) -> Iterator[Fault]:
    """Yield (path, sentence) for every rail or supply whose nets are said elsewhere to stand at other voltages.

    `stated` are the voltages of net tables and `known` those worked out from everything, all in volt.
    """
    for path, entry in entries.items():
        plus, minus = entry.nets["plus"], entry.nets["minus"]
        if plus not in known or minus not in known:
            continue
        elsewhere = known[plus] - known[minus]
        if abs(elsewhere - entry.voltage) > VOLTAGES_AGREE * max(abs(entry.voltage), abs(elsewhere)):
            found = f"{_shown(entry.voltage, 'V')} from {plus} to {minus}, and {_shown(elsewhere, 'V')} elsewhere"
            where = "its net table" if plus in stated or minus in stated else "another rail or supply"
            yield (*path, "voltage"), f"{found} (see {where}); make the two agree"
