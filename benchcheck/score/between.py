"""What this bench's meter should read between two nets, both ways round, which parts make it so, what faults would.

The good board is solved with the meter's own test current; the spread of the parts goes in through their
sensitivities and the meter through its accuracy. What the spec does not know, it cannot say: where the nets are
not `complete` the true reading may be lower.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.circuit.netlist import Netlist
from benchcheck.errors import CircuitError, Fault, UsageError, close_match
from benchcheck.quantity import brief_value
from benchcheck.score.floating import floating_gates
from benchcheck.score.model_circuit import Model, excitation_for, model_of
from benchcheck.score.neighbours import neighbours, with_series_resistances
from benchcheck.score.on_board import MOST_PARTS, Share, display_of, effects_of, in_words, shares_of
from benchcheck.score.own import Own
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.faults import PartFault
    from benchcheck.circuit.neighbourhood import Cut, Near
    from benchcheck.circuit.physics import Conditions
    from benchcheck.circuit.shown import MeterReading
    from benchcheck.circuit.starts import Starts
    from benchcheck.metrology import Contribution

__all__ = ["Between", "Expected", "FaultyReading", "Share", "between", "between_json"]

_OHMS = (Function.OHMS, Function.LOW_POWER_OHMS)
_FAULTS = ("open", "short", "reversed", "decade")
#: every part counts as a neighbour of a reading that is nobody's own
_NOBODY = Own("", "", 0.0)


@dataclass(frozen=True, slots=True)
class FaultyReading:
    """What the meter would show if one part were faulty; `fault` is a fault code, a decade with its factor."""

    designator: str
    fault: str
    display: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What the meter shows on the good board this way round; SI, None where it shows overload."""

    red: str
    black: str
    display: str
    value: float | None
    quantity_unit: str
    standard_uncertainty: float | None
    shares: tuple[Share, ...]
    if_faulty: tuple[FaultyReading, ...]


@dataclass(frozen=True, slots=True)
class Between:
    """Both ways round between two nets; `remarks` say what the spec leaves open."""

    function: Function
    readings: tuple[Expected, ...]
    remarks: tuple[str, ...] = ()


def between(
    board: Board,
    bench: Bench,
    first: str,
    second: str,
    function: Function = Function.OHMS,
    tell: Callable[[str], object] = lambda _: None,
) -> Between:
    """Return what this bench's meter reads between two nets of a board, red on the first and then on the second.

    `tell` is given what is being worked out, in a few words. Raises UsageError for nets the board does not have and
    functions the bench cannot be modelled on, CircuitError for a circuit that cannot be solved.
    """
    model = _seen(board, function)
    excitation = excitation_for(bench, function)
    if excitation is None:
        has = bench.meter_for(function) is not None
        needs = "its ranges need a test current and a compliance" if has else "no meter has it"
        raise UsageError(Fault("", function, f"cannot be modelled on this bench: {needs}"))
    _refuse(board, model, first, second)
    ways = ((first, second), (second, first))
    readings = tuple(_expected(board, bench, model, ports, function, excitation, tell) for ports in ways)
    remarks = (*_remarks(model, first, second), *_other_ways(bench, model, function, ways[0]))
    return Between(function, readings, remarks)


def _seen(board: Board, function: Function) -> Model:
    """Return the board's circuit as a function sees it: electrolytics have a series resistance where that is read."""
    model = model_of(board)
    if function is not Function.ESR:
        return model
    return replace(model, netlist=with_series_resistances(board, model.netlist))


def _other_ways(bench: Bench, model: Model, function: Function, ports: tuple[str, str]) -> Iterator[str]:
    """Say what the bench's other meters show there, and low-power ohms: junctions go with the test current."""
    if function not in (Function.DIODE, *_OHMS):
        return
    asked = bench.meter_for(function)
    ways = [(name, function) for name, meter in bench.meters.items() if meter is not asked]
    if function is Function.OHMS:
        ways += [(name, Function.LOW_POWER_OHMS) for name in bench.meters]
    for name, other in ways:
        excitation = excitation_for(bench, other, name)
        if excitation is None:
            continue
        on = name if other is function else f"{name} low-power ohms"
        ampere = getattr(excitation, "test_current_a", None)
        current = "" if ampere is None else f", {brief_value(ampere, 'A', 3)}"
        digit = _last_digit(bench, other, name)
        shown, exchanged = (_shown(model, each, excitation, digit) for each in (ports, ports[::-1]))
        yield f"on {on}{current}: {shown}, exchanged {exchanged}"


def _shown(model: Model, ports: tuple[str, str], excitation: Any, digit: float) -> str:
    try:
        good = _good(model, ports, excitation)
    except CircuitError:
        return "cannot be said"
    return _latched(ports, good, digit).display if isinstance(good, tuple) else display_of(good.near.reading, digit)


def _refuse(board: Board, model: Model, first: str, second: str) -> None:
    faults = [
        Fault("", net, _why_no_net(board, model, net)) for net in (first, second) if net not in model.netlist.nets
    ]
    if first == second:
        faults.append(Fault("", first, "is one net; name two"))
    if faults:
        raise UsageError(faults)


def _why_no_net(board: Board, model: Model, net: str) -> str:
    there = [name for name, part in board.parts.items() if net in part.pins.values()]
    if there:  # a battery, say: taken out before anything is measured
        return f"on this net {', '.join(there)} alone, of which there is no model; name a net of other parts"
    return f"no part of the spec is on this net{close_match(net, model.netlist.nets)}"


def _remarks(model: Model, first: str, second: str) -> Iterator[str]:
    open_nets = [net for net in (first, second) if net in model.incomplete]
    if open_nets:
        yield f"not complete in the spec: {', '.join(open_nets)}; other paths there can only lower a resistance"
    for net in (first, second):
        if len(pins := model.netlist.pins_on[net]) == 1:
            yield f"net {net} has a single pin in the spec, {' '.join(pins[0])}: is its name right there?"
    if model.unmodelled:
        yield f"no model of {', '.join(model.unmodelled)}: taken as open, and their nets as not complete"


def _expected(
    board: Board,
    bench: Bench,
    model: Model,
    ports: tuple[str, str],
    function: Function,
    excitation: Any,
    tell: Callable[[str], object],
) -> Expected:
    tell(f"red on {ports[0]}, black on {ports[1]}: the good board")
    digit = _last_digit(bench, function)
    good = _good(model, ports, excitation)
    if isinstance(good, tuple):
        return _latched(ports, good, digit)
    near, starts = good.near, good.starts
    found = near.reading
    slopes = near.first.slopes()
    if floating := floating_gates(near.cut.netlist, found, slopes):
        names = " and ".join(floating)
        said = f"floats: the gate of {names} is held by leakage only, it reads what the meter leaves there"
        return Expected(*ports, said, None, found.quantity_unit, None, (), ())
    shares = shares_of(effects_of(model.netlist, found, slopes))
    spreads = [each for _, each in neighbours(board, model.netlist, _NOBODY, slopes, 1.0)]
    named = [share.part for share in shares] or _near(model.netlist, ports)
    return Expected(
        *ports,
        display_of(found, digit),
        found.value,
        found.quantity_unit,
        _standard_uncertainty(board, bench, function, found.value, spreads, near.half_width),
        shares,
        tuple(_if_faulty(model, ports, excitation, named, digit, tell, starts, near.cut)),
    )


@dataclass(frozen=True, slots=True)
class _Good:
    """The reading of the good board, and what to begin the faulty ones from."""

    near: Near
    starts: Starts


def _good(model: Model, ports: tuple[str, str], excitation: Any) -> _Good | tuple[MeterReading, ...]:
    """Return the reading of the good board; the readings of its states where it may latch into several.

    Raises CircuitError for what cannot be solved.
    """
    from benchcheck.circuit.excitation import DiodeTest, Ohms
    from benchcheck.circuit.neighbourhood import WHOLE_UP_TO, Neighbourhoods, read_near
    from benchcheck.circuit.starts import Starts
    from benchcheck.circuit.states import may_latch, readings_by_state

    around, starts, at = Neighbourhoods(model.netlist), Starts(), model.conditions
    settled: _Good | None = None
    try:
        near = read_near(around, *ports, excitation, conditions=at, starts=starts)
    except CircuitError:
        netlist = model.netlist
        driven = isinstance(excitation, Ohms | DiodeTest)
        if len(netlist.nets) > WHOLE_UP_TO or not driven or not may_latch(netlist):
            raise
    else:
        netlist, settled = near.cut.netlist, _Good(near, starts)
        if not may_latch(netlist, near.reading):
            return settled
    states = readings_by_state(netlist, *ports, excitation, at)
    if len(states) > 1:
        return tuple(reading for reading, _ in states)
    if settled is not None:
        return settled
    ((_, begin),) = states
    return _Good(read_near(around, *ports, excitation, conditions=at, starts=begin), begin)


def _latched(ports: tuple[str, str], states: tuple[MeterReading, ...], digit: float) -> Expected:
    """Return what is said of a reading that goes with the state the circuit is in: no value, and all of them."""
    shown = " or ".join(dict.fromkeys(display_of(one, digit) for one in states))
    said = f"{shown}, undecided: it latches, and which state it is in decides"
    return Expected(*ports, said, None, states[0].quantity_unit, None, (), ())


def _last_digit(bench: Bench, function: Function, name: str = "") -> float:
    """Return the worth of the finest digit the bench's meter (of this name) has on a function, in its unit."""
    meter = bench.meter_for(function, name)
    return min((one.resolution for one in meter.ranges_of(function)), default=0.0) if meter is not None else 0.0


def _near(netlist: Netlist, ports: tuple[str, str]) -> list[str]:
    """Return the parts on the two nets, for a reading of overload that no part shares in."""
    return list(dict.fromkeys(name.partition(":")[0] for net in ports for name, _ in netlist.pins_on[net]))[
        :MOST_PARTS
    ]


def _standard_uncertainty(
    board: Board,
    bench: Bench,
    function: Function,
    value: float | None,
    spreads: Iterable[Contribution],
    cut_half_width: float,
) -> float | None:
    """Return the meter's limit of error, the spread of the parts and what the cut leaves open, combined.

    Meter and cut are rectangular.
    """
    if value is None:
        return None
    chosen = bench.range_for(function, value)
    variance = (chosen.half_width(value, board.ambient_c) ** 2 if chosen is not None else 0.0) / 3.0
    variance += cut_half_width**2 / 3.0
    variance += sum((each.sensitivity * each.standard_uncertainty) ** 2 for each in spreads)
    return float(variance**0.5)


def _if_faulty(
    model: Model,
    ports: tuple[str, str],
    excitation: Any,
    parts: Iterable[str],
    digit: float,
    tell: Callable[[str], object],
    starts: Starts,
    like: Cut,
) -> Iterator[FaultyReading]:
    from benchcheck.circuit.abreast import read_abreast
    from benchcheck.circuit.devices import Switch
    from benchcheck.circuit.excitation import DiodeTest, Ohms
    from benchcheck.circuit.faults import faulty, possible_faults
    from benchcheck.circuit.neighbourhood import WHOLE_UP_TO

    netlist, at = model.netlist, model.conditions
    faults = [
        fault
        for fault in possible_faults(netlist, bridges=(), parts=frozenset(parts))
        if fault.code in _FAULTS or (fault.code == "dry" and not isinstance(excitation, Ohms | DiodeTest))
    ]
    pads = Switch("meter:pads", *ports, closed=False)  # where a fault takes the last part off a net
    boards = [faulty(netlist, fault).adding(pads) for fault in faults]
    tell(f"red on {ports[0]}, black on {ports[1]}: {len(faults)} faults")
    at_once = read_abreast(boards, *ports, excitation, starts, at) if len(netlist.nets) <= WHOLE_UP_TO else None
    for place, (fault, board) in enumerate(zip(faults, boards, strict=True)):
        if at_once is not None:
            shown = in_words(at_once[place], "V" if isinstance(excitation, DiodeTest) else "ohm", digit)
        else:
            tell(f"red on {ports[0]}, black on {ports[1]}: {fault}")
            shown = _read_alone(board, ports, excitation, at, digit, starts, like)
        yield FaultyReading(_part_of(fault), str(fault).removeprefix(fault.designator).strip(), shown)


def _read_alone(
    board: Netlist,
    ports: tuple[str, str],
    excitation: Any,
    at: Conditions,
    digit: float,
    starts: Starts,
    like: Cut,
) -> str:
    from benchcheck.circuit.neighbourhood import Neighbourhoods, read_near

    try:
        near = read_near(Neighbourhoods(board), *ports, excitation, conditions=at, starts=starts, like=like)
    except CircuitError:
        return "cannot be said"
    return display_of(near.reading, digit)


def _part_of(fault: PartFault) -> str:
    return fault.designator.partition(":")[0]


def between_json(found: Between) -> dict[str, Any]:
    """Return the result for programs, with the keys of the documented format."""
    return {
        "format": 1,
        "function": str(found.function),
        "remarks": list(found.remarks),
        "readings": [
            {
                "red": one.red,
                "black": one.black,
                "display": one.display,
                "value": one.value,
                "quantity_unit": one.quantity_unit,
                "standard_uncertainty": one.standard_uncertainty,
                "shares": [{"part": share.part, "percent": share.percent} for share in one.shares],
                "if_faulty": [
                    {"designator": each.designator, "fault": each.fault, "display": each.display}
                    for each in one.if_faulty
                ],
            }
            for one in found.readings
        ],
    }
