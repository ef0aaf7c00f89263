"""From a reading on the board to the part's own value, and how far it moves where the parts around stray.

A junction beside a part may hardly conduct at what it is thought to be and carry everything at the end of what good
ones stray by: its slope says nothing then. So the value is found again at both ends, and at both ends of the
ambient, wherever that moves the reading (JCGM 101, 5: where the model is not linear, the slope is not to be used).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchcheck.bench.functions import Function
from benchcheck.metrology import Contribution
from benchcheck.score.asked import Asked
from benchcheck.score.neighbours import JUNCTION_SPREAD_V, spread_of
from benchcheck.score.own import own_number
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist

__all__ = ["Number", "ends_of", "has_junctions", "own_value", "strayed", "straying_numbers"]

_STEPS = 12
_SAME = 1e-9  # of the reading
#: how often a bracket is narrowed, and between what a part's value may lie, as a multiple of what was read.
_NARROWED, _WIDEST = 60, 1e9
_FARTHEST_V = 2.9
_DC = (Function.OHMS, Function.LOW_POWER_OHMS, Function.DIODE)
_FORWARD = "forward_v"


@dataclass(frozen=True, slots=True)
class Number:
    """One number of a semiconductor that strays, by `half_width` either way, in volt."""

    name: str
    field: str
    half_width: float

    @property
    def part(self) -> str:
        """The part it belongs to."""
        return self.name.partition(":")[0]

    @property
    def id(self) -> str:
        """What its contribution is called, as `neighbours` has it."""
        return f"{self.name}.{'tolerance' if self.field == 'breakdown_voltage_v' else self.field.partition('_')[0]}"


def own_value(asked: Asked, netlist: Netlist, read: float, near: float | None = None) -> float | None:
    """Return the value the part must have for the model to read what was read, or None when no value reads so.

    What is expected, or known to be `near`, comes first: a good part needs no step.
    """
    own = asked.own
    assert own is not None

    def miss(value: float) -> float | None:
        shown = asked.read(netlist, value)
        return None if shown is None else shown - read

    first = near or asked.expected
    if first and (off := miss(first)) is not None and abs(off) <= _SAME * read:
        return first
    found = _by_secant(miss, near or read, read, own.least)
    if found is not None or asked.check.function not in _DC:
        return found
    low, high = (own.offset - _FARTHEST_V, own.offset + _FARTHEST_V) if own.junction else (own.least, read * _WIDEST)
    return _in_bracket(miss, low, high, read, geometric=not own.junction)


def _by_secant(miss: Callable[[float], float | None], start: float, read: float, least: float) -> float | None:
    before, value = start, start * 1.001 + 1e-3 * least
    missed_before, missed = miss(before), miss(value)
    for _ in range(_STEPS):
        if missed is None or missed_before is None:
            return None
        if abs(missed) <= _SAME * read:
            return value
        if missed == missed_before:
            return None
        step = missed * (value - before) / (missed - missed_before)
        before, missed_before = value, missed
        value = max(value - step, value / 10.0)
        missed = miss(value)
    return None


def _in_bracket(
    miss: Callable[[float], float | None], low: float, high: float, read: float, *, geometric: bool
) -> float | None:
    """Return the root by halving: more of the part never reads less, and overload is more than any reading."""
    at_low, at_high = (math.inf if off is None else off for off in (miss(low), miss(high)))
    if at_low > 0.0 or at_high < 0.0:
        return None
    for _ in range(_NARROWED):
        middle = math.sqrt(low * high) if geometric else (low + high) / 2.0
        off = miss(middle)
        if off is not None and abs(off) <= _SAME * read:
            return middle
        low, high = (middle, high) if off is not None and off < 0.0 else (low, middle)
    return (low + high) / 2.0


def straying_numbers(board: Board, netlist: Netlist, without: str = "") -> tuple[Number, ...]:
    """Return the numbers of all semiconductors of the board in a netlist, but for the part `without`."""
    found: list[Number] = []
    for device in netlist.devices:
        part = board.parts.get(device.designator.partition(":")[0])
        if part is not None and part.designator != without:
            found += [Number(device.designator, *each) for each in _numbers_of(part, device)]
    return tuple(found)


def _numbers_of(part: Any, device: Any) -> Iterator[tuple[str, float]]:
    from benchcheck.circuit.devices import Bjt, Clamp, Diode, Mosfet, Zener

    fields: tuple[str, ...] = ()
    match device:
        case Diode() | Bjt() | Clamp():
            fields = ("drop_shift_v",)
        case Mosfet():
            fields = ("drop_shift_v", "threshold_shift_v")
        case Zener():
            fields = ("breakdown_voltage_v",)
            yield _FORWARD, JUNCTION_SPREAD_V * 3**0.5
    for field in fields:
        spread = spread_of(part, device, field)
        if spread is not None:
            yield field, spread[0]


def has_junctions(netlist: Netlist) -> bool:
    """Return whether a netlist holds anything whose current is not in proportion to its voltage."""
    from benchcheck.circuit.devices import Bjt, Clamp, Diode, Mosfet, Zener

    return any(isinstance(device, Bjt | Clamp | Diode | Mosfet | Zener) for device in netlist.devices)


def strayed(netlist: Netlist, numbers: Sequence[Number], share: float) -> Netlist:
    """Return the netlist with these numbers moved by a share of what they stray by; -1: all that conducts soonest."""
    from benchcheck.circuit.netlist import Netlist as Whole

    moves: dict[str, list[Number]] = {}
    for number in numbers:
        moves.setdefault(number.name, []).append(number)
    changed = (_moved(device, moves.get(device.designator, ()), share) for device in netlist.devices)
    return Whole(changed, sound=netlist.devices)


def _moved(device: Any, numbers: Sequence[Number], share: float) -> Any:
    from benchcheck.circuit.models import NOMINAL_TEMPERATURE_K
    from benchcheck.circuit.physics import BOLTZMANN_OVER_CHARGE_V_PER_K

    for number in numbers:
        volt = share * number.half_width
        if number.field == _FORWARD:
            model = device.junction
            slope_v = model.ideality * BOLTZMANN_OVER_CHARGE_V_PER_K * NOMINAL_TEMPERATURE_K
            model = replace(model, saturation_current_a=model.saturation_current_a * math.exp(-volt / slope_v))
            device = replace(device, model=model)
        else:
            device = replace(device, **{number.field: getattr(device, number.field) + volt})
    return device


def ends_of(
    asked: Asked, board: Board, netlist: Netlist, value: float, read: float, allowed: float
) -> tuple[tuple[str, Contribution], ...] | None:
    """Return what each semiconductor around makes of the own value at its ends, and the ambient, by part.

    Only those that move the reading by more than `allowed`. None where at one of the ends no value reads what was
    read: then the part cannot be told from what lies beside it.
    """
    assert asked.own is not None
    numbers = straying_numbers(board, netlist, without=asked.own.designator)
    if not numbers:
        return ()
    both = (
        (_warm(asked, netlist, -share * asked.ambient_k), strayed(netlist, numbers, share)) for share in (-1.0, 1.0)
    )
    if all(_near(warm.read(moved, value), read, allowed) for warm, moved in both):
        return ()
    found: list[tuple[str, Contribution]] = []
    for number in _moving(asked, netlist, numbers, value, read, 0.5 * allowed):
        ends = [strayed(netlist, (number,), share) for share in (-1.0, 1.0)]
        wide = _widest([own_value(asked, end, read, near=value) for end in ends], value)
        if wide is None:
            return None
        label, origin = f"{_WORDS[number.field]} of {number.part}", "its spread, found again at both ends (JCGM 101)"
        found.append((number.part, Contribution.from_limits(number.id, label, wide, origin=origin)))
    warm = [_warm(asked, netlist, kelvin) for kelvin in (-asked.ambient_k, asked.ambient_k)]
    wide = _widest([own_value(each, netlist, read, near=value) for each in warm], value)
    if wide is None:
        return None
    origin = f"{asked.ambient_k:g} K either way, found again at both ends"
    return *found, (
        "",
        Contribution.from_limits("ambient.beside", "ambient on the junctions beside", wide, origin=origin),
    )


def _moving(
    asked: Asked, netlist: Netlist, numbers: Sequence[Number], value: float, read: float, allowed: float
) -> list[Number]:
    """Return the numbers that move the reading at one of their ends."""
    assert asked.own is not None
    given = asked.own.given(netlist, value)
    shown = asked.all_shown([strayed(given, (number,), share) for number in numbers for share in (-1.0, 1.0)])
    ends = zip(numbers, shown[::2], shown[1::2], strict=True)
    return [number for number, *both in ends if not all(_near(one, read, allowed) for one in both)]


_WORDS = {
    "drop_shift_v": "forward voltage",
    _FORWARD: "forward voltage",
    "threshold_shift_v": "threshold",
    "breakdown_voltage_v": "tolerance",
}


def _widest(values: Sequence[float | None], value: float) -> float | None:
    known = [abs(each - value) for each in values if each is not None]
    return max(known) if len(known) == len(values) else None


def _warm(asked: Asked, netlist: Netlist, kelvin: float) -> Asked:
    """Return the same question on a warmer board; what a junction shows alone is then less as well."""
    warmer = asked.warmer(kelvin)
    assert asked.own is not None
    if not asked.own.junction:
        return warmer
    own = own_number(asked.check, netlist, asked.excitation, warmer.conditions)
    return replace(warmer, own=own or asked.own)


def _near(shown: float | None, read: float, allowed: float) -> bool:
    return shown is not None and abs(shown - read) <= allowed
