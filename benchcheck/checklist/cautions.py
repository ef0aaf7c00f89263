"""The cautions that go before every visit and into every record: the usual ones, then those of the board.

They advise; they defer to local codes and licensed practice (common practice, no source).
"""

from __future__ import annotations

from benchcheck.spec.board import Board

__all__ = ["cautions_for"]

_ALWAYS = (
    "Extra-low voltage only. benchcheck advises and records, it does not certify.",
    "Local codes and licensed practice come first.",
    "Power and every cell out before ohms, diode, capacitance or ESR; prove every large capacitor near 0 V first.",
    "Discharge through a resistor, never with a screwdriver. Wear eye protection at first power.",
    "Take the probes off before turning the function switch; check that red is not in a current jack.",
)
_HAZARDS = {
    "mains": "Mains on this board: unpowered checks only here; anything else is for licensed persons.",
    "crt": "A picture tube holds charge at high voltage for days: unpowered checks only, by skilled persons.",
    "flash-capacitor": "A flash capacitor holds a dangerous charge: unpowered checks only, by skilled persons.",
    "backlight-inverter": "A backlight inverter makes hundreds of volts: unpowered checks only.",
    "lithium-cell": "Lithium cell: never charge, short or heat it; take it out, put it in a fire-safe place.",
    "charged-capacitor": "Large capacitors keep their charge with the power off; some of it comes back on its own.",
    "laser": "A laser may run when powered: do not look into it, keep its covers on.",
    "motor": "A motor may start when powered: keep fingers, hair and probes clear.",
}


def cautions_for(board: Board) -> tuple[str, ...]:
    """Return the cautions of a board in words, the general ones first, then why power is refused if it is."""
    hazards = tuple(_HAZARDS[hazard] for hazard in board.hazards or () if hazard in _HAZARDS)
    refused = tuple(f"No power on this board: {reason}." for reason in board.power_refusals)
    return (*_ALWAYS, *hazards, *refused)
