"""The reserved checks that carry the session: the leads, a resistor, a diode and a cell known to be good.

Half a minute with them shows a broken lead, a flat meter battery or a wrong jack before any part is blamed.
"""

from __future__ import annotations

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import Details, check
from benchcheck.kinds.check import Check, Limits, Phase, Probe

__all__ = ["session_checks"]


def session_checks() -> tuple[Check, ...]:
    """Return `meter.leads_shorted`, `meter.reference_resistor`, `meter.diode`, `meter.cell` and `ambient`."""
    shorted = _meter(
        "leads_shorted",
        Function.OHMS,
        Limits(
            None, 1.0, "common practice, from meter makers: a pair has 0.1 to 0.5 ohm, above 1 ohm change the leads"
        ),
        ("the black tip", "the red tip"),
        why="What the leads read is taken off every low resistance of this session.",
        workaround="Clean the tips and the plugs; a reading that jumps is a broken lead.",
    )
    resistor = _meter(
        "reference_resistor",
        Function.OHMS,
        Limits(origin="none: kept for comparison with other sessions"),
        ("one end of a resistor you know", "its other end"),
        why="The same resistor every time shows a meter that drifts or runs on a flat battery.",
        workaround="Any 1 % film resistor kept in the meter's bag serves.",
    )
    diode = _meter(
        "diode",
        Function.DIODE,
        Limits(0.45, 0.80, "common practice, from meter manuals: 0.5 to 0.8 V or 0.4 to 0.9 V at 0.5 to 1.5 mA"),
        ("anode of a silicon diode you know", "its cathode"),
        why="Shows that the diode function works and which lead is plus: on most needle meters it is the black one.",
        workaround="Take another diode, then other leads.",
        expected=0.6,
    )
    cell = _meter(
        "cell",
        Function.DC_VOLTAGE,
        Limits(1.2, 1.7, "common practice, no source: a 1.5 V cell that still serves"),
        ("plus of a 1.5 V cell you know", "its minus"),
        why="OL or zero here is a lead, a jack or the meter, not the unit.",
        workaround="Take a fresh cell, then other leads.",
        expected=1.5,
    )
    return shorted, resistor, diode, cell, _ambient()


def _meter(measurand: str, function: Function, limits: Limits, points: tuple[str, str], **details: object) -> Check:
    red, black = (Probe(point) for point in points)
    texts: Details = {**details}  # type: ignore[typeddict-item]
    return check("meter", measurand, function, Phase.SESSION, limits, red, black, **texts)


def _ambient() -> Check:
    return Check(
        id="ambient",
        subject="ambient",
        measurand="ambient",
        function=Function.TEMPERATURE,
        quantity_unit=Function.TEMPERATURE.quantity_unit,
        phase=Phase.SESSION,
        limits=Limits(origin="none: it serves every other check"),
        red=Probe("the air beside the board, after ten minutes"),
        why="Junctions move 2 mV a kelvin, copper 0.4 %, and meters are specified for 18 to 28 degC.",
        workaround="A room thermometer serves.",
    )
