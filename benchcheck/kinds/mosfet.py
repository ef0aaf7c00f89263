"""MOSFET: body diode, blocking with the gate discharged, gate insulation; on-resistance under power.

A gate keeps the charge of the last touch, and a charged one looks like a shorted part: gate and source are
joined before every reading. P-channel parts are the mirror of N-channel ones.
"""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import (
    check,
    check_id,
    chosen,
    merged_switches,
    middle,
    part_check,
    probe,
)
from benchcheck.kinds.check import Check, Evidence, Formula, Limits, Phase, Probe
from benchcheck.kinds.fields import Amperes, Ohms, Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings
from benchcheck.kinds.paths import lowered_unless_alone, shunted_unless_alone
from benchcheck.quantity import bracket_value, format_value

__all__ = ["Mosfet", "OnResistance"]

_DISCHARGE_GATE = "join gate and source for a moment with tweezers"
_BODY = Limits(0.40, 0.75, "common practice, from tutorials that name 0.4 to 0.7 V at about 1 mA")
_BLOCKS = Limits(1.0, None, "common practice, no source: blocks at 1 V with the gate discharged")
_GATE_ALONE = Limits(10e6, None, "common practice, no source: 10 Mohm, as far as every handheld reads")
_GATE_IN_CIRCUIT = Limits(
    1e3, None, "common practice, no source: a punched-through gate has ohms, what drives it on the board kilohms"
)


@attrs.frozen(kw_only=True)
class OnResistance:
    """`on_resistance = { max = "60 mohm", gate_drive = "4.5 V", currents = ["200 mA", "500 mA"] }`.

    `gate_drive` is the least gate-source voltage in volt (its size: give 4.5 V for a P channel too),
    `currents` the two load currents in ampere.
    """

    currents: tuple[Amperes, Amperes]
    gate_drive: Volts
    min: Ohms | None = None
    max: Ohms | None = None
    reason: str = ""
    switches: dict[str, str] = attrs.field(factory=dict)


@attrs.frozen(kw_only=True)
class Mosfet(Part):
    """`kind = "mosfet"`, enhancement type."""

    channel: Literal["N", "P"]
    body_diode: Window[Volts] | None = None
    blocking: Window[Volts] | None = None
    gate_insulation: Window[Ohms] | None = None
    on_resistance: OnResistance | None = None
    off_leakage: Window[Amperes] | None = None

    @property
    def working(self) -> tuple[str, str]:
        """The pins where the load current enters and leaves: the way it blocks while it is off."""
        return ("drain", "source") if self.channel == "N" else ("source", "drain")


def checks(part: Mosfet, around: Surroundings) -> tuple[Check, ...]:
    """Return the unpowered checks, and `on_resistance` and `off_leakage` where they are given."""
    given = [_body_diode(part, around), _blocking(part, around), _gate(part, around)]
    if part.on_resistance is not None:
        given.extend(_on_resistance(part, part.on_resistance))
    if part.off_leakage is not None:
        given.append(_off_leakage(part, part.off_leakage))
    return tuple(given)


def _body_diode(part: Mosfet, around: Surroundings) -> Check:
    enters, leaves = part.working
    mirror = "a P" if part.channel == "N" else "an N"
    return part_check(
        part,
        "body_diode",
        Function.DIODE,
        (leaves, enters),
        _BODY,
        evidence=shunted_unless_alone(part, (leaves, enters), around),
        given=part.body_diode,
        expected=middle(chosen(part.body_diode, _BODY)),
        first_step=f"{phrases.COOL}; {_DISCHARGE_GATE}",
        why=f"OL here and a drop with the leads exchanged is {mirror} channel or exchanged drain and source.",
        workaround="Near zero both ways may be a charged gate: join gate and source, read again.",
    )


def _blocking(part: Mosfet, around: Surroundings) -> Check:
    return part_check(
        part,
        "blocking",
        Function.DIODE,
        part.working,
        _BLOCKS,
        given=part.blocking,
        evidence=lowered_unless_alone(part, part.working, around),
        first_step=_DISCHARGE_GATE,
        why="With gate and source at one potential nothing flows; a low value that stays is a short.",
        workaround=phrases.REVERSE_CURRENT,
        settle=True,
    )


def _gate(part: Mosfet, around: Surroundings) -> Check:
    pins = ("gate", "source")
    evidence = lowered_unless_alone(part, pins, around)
    return part_check(
        part,
        "gate_insulation",
        Function.OHMS,
        pins,
        _GATE_ALONE if evidence is Evidence.DIRECT else _GATE_IN_CIRCUIT,
        given=part.gate_insulation,
        evidence=evidence,
        first_step=_DISCHARGE_GATE,
        why="A damaged gate leaks; this reading charges the gate, so join gate and source again after it.",
        workaround="Compare with the same pins on a good unit, or read the gate off the board.",
        settle=True,
    )


def _on_resistance(part: Mosfet, given: OnResistance) -> tuple[Check, ...]:
    name, switches = part.designator, merged_switches(given)
    volts = tuple(_on_voltage(part, given, current, switches) for current in sorted(given.currents))
    return (
        _gate_drive(part, given, switches),
        *volts,
        check(
            name,
            "on_resistance",
            Function.DERIVED,
            Phase.POWERED_PARTS,
            chosen(given, Limits()),
            quantity_unit="ohm",
            sources=tuple(reading.id for reading in volts),
            formula=Formula.SLOPE,
            switches=switches,
            why=f"Two currents cancel the meter's offset. It counts only if {check_id(name, 'gate_drive')} passes.",
            workaround=(
                "In a running switcher it cannot be read. Off the board: gate supply at the stated drive, current "
                "source with at most 0.2 V of compliance, millivolts at the pins."
            ),
        ),
    )


def _gate_drive(part: Mosfet, given: OnResistance, switches: tuple[tuple[str, str], ...]) -> Check:
    """Red where the gate voltage is positive: the gate of an N channel, the source of a P channel."""
    pins = ("gate", "source") if part.channel == "N" else ("source", "gate")
    return part_check(
        part,
        "gate_drive",
        Function.DC_VOLTAGE,
        pins,
        Limits(given.gate_drive, None, "the spec", given.reason),
        phase=Phase.POWERED_PARTS,
        load_a=max(given.currents),
        switches=switches,
        first_step="switch it steadily on",
        why="On-resistance is stated at this gate drive; a gate that swings cannot be read as DC.",
        workaround="A value that wanders is a gate being switched: then on-resistance cannot be read this way.",
    )


def _on_voltage(part: Mosfet, given: OnResistance, current: float, switches: tuple[tuple[str, str], ...]) -> Check:
    upper = None if given.max is None else 2.0 * given.max * (current or max(given.currents))
    return part_check(
        part,
        "on_voltage",
        Function.DC_VOLTAGE,
        part.working,
        Limits(None, upper, "computed: twice the largest on-resistance at this current; more is a gate not driven"),
        phase=Phase.POWERED_PARTS,
        bracket=bracket_value(current, "A"),
        load_a=current,
        switches=switches,
        first_step=f"load at {format_value(current, 'A')}; read soon, it warms up",
        why="Tips on the pins themselves, or the joints and the traces are read with it.",
        workaround="A range of 200 mV or less, and the current from a meter rather than from the load's display.",
    )


def _off_leakage(part: Mosfet, given: Window[Amperes]) -> Check:
    """Meter in series with the drain: current enters an N channel's drain and leaves a P channel's."""
    break_side, drain = Probe(f"the load side of the opened path to {part.designator} drain"), probe(part, "drain")
    red, black = (break_side, drain) if part.channel == "N" else (drain, break_side)
    return check(
        part.designator,
        "off_leakage",
        Function.DC_CURRENT,
        Phase.POWERED_PARTS,
        chosen(given, Limits()),
        red,
        black,
        switches=merged_switches(given),
        first_step="hold the gate at the source, output off while the meter goes in series",
        why="A part damaged by heat or static leaks while it is off.",
        workaround="Read the volts across a resistor in series, 1 kohm for microamperes.",
        settle=True,
    )


KIND = Kind("mosfet", Mosfet, ("gate", "drain", "source"), checks, "body diode, blocking, gate, on-resistance")
