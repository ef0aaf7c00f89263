"""Regulator: input and output not joined, then its output voltage and what it needs between the two."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import part_check
from benchcheck.kinds.capacitor import tolerance_origin
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.kinds.fields import Amperes, Tolerance, Volts, Window
from benchcheck.kinds.part import Kind, Part, Surroundings

__all__ = ["Regulator"]

_USUAL = Tolerance(0.05, 0.05)


@attrs.frozen(kw_only=True)
class Regulator(Part):
    """`kind = "regulator"`: `voltage` is the nominal output in volt, negative for a negative regulator.

    `dropout` is a window for the size of input minus output at full load on the lowest input; `load` that load
    in ampere.
    """

    voltage: Volts
    tolerance: Tolerance | None = None
    topology: Literal["linear", "low-dropout", "buck", "boost", "inverting", "charge-pump"] = "linear"
    load: Amperes | None = None
    input_to_output: Window[Volts] | None = None
    output_voltage: Window[Volts] | None = None
    dropout: Window[Volts] | None = None

    @property
    def spread(self) -> Tolerance:
        """The tolerance given, or 5 % either way."""
        return self.tolerance or _USUAL

    @property
    def downhill(self) -> tuple[str, str]:
        """Input and output, the more positive one of a step-down regulator first."""
        return ("input", "output") if self.voltage >= 0 else ("output", "input")


def checks(part: Regulator, around: Surroundings) -> tuple[Check, ...]:
    """Return `input_to_output`, `output_voltage`, and `dropout` where a limit is given."""
    apart = part_check(
        part,
        "input_to_output",
        Function.DIODE,
        part.downhill,
        Limits(0.1, None, "common practice, from a meter manual: 0.100 V or less on the diode function is a short"),
        given=part.input_to_output,
        first_step=phrases.COOL,
        why="A shorted pass device puts the whole input on the load: no power before this reads more than a short.",
        workaround="Exchange red and black: near zero both ways is a shorted part or metal between the pins.",
        settle=True,
    )
    powered = (_output(part), _dropout(part, part.dropout)) if part.dropout is not None else (_output(part),)
    return (apart, *powered)


def _output(part: Regulator) -> Check:
    lower, upper = part.spread.interval(part.voltage)
    usual = "data sheets: 5 %, fixed linear regulators over line and load (LM78XX)"
    return part_check(
        part,
        "output_voltage",
        Function.DC_VOLTAGE,
        ("output", "ground"),
        Limits(lower, upper, tolerance_origin(part.tolerance, usual)),
        given=part.output_voltage,
        phase=Phase.POWERED_PARTS,
        expected=part.voltage,
        load_a=part.load,
        why="One or two volts below the input is an open ground pin, at the input a short: off at once.",
        workaround="Read AC volts too: one that oscillates looks nearly right on DC.",
    )


def _dropout(part: Regulator, given: Window[Volts]) -> Check:
    return part_check(
        part,
        "dropout",
        Function.DC_VOLTAGE,
        part.downhill,
        Limits(),
        given=given,
        phase=Phase.POWERED_PARTS,
        load_a=part.load,
        first_step="full load, the lowest supply voltage the unit must work on",
        why="Too little between input and output and the output follows the input down.",
        workaround="Read input and output to ground in turn on one range: the difference counts.",
    )


KIND = Kind("regulator", Regulator, ("input", "output", "ground"), checks, "input apart from output, output voltage")
