"""Sentences that several kinds say: what to do first, what a reading on a board can show, what to do instead."""

from __future__ import annotations

__all__ = [
    "CHARGED",
    "COOL",
    "DISCHARGE",
    "FORCE_CURRENT",
    "LIFT_LEAD",
    "LOWERED_BY_OTHERS",
    "NULL_LEADS",
    "RAISED_BY_OTHERS",
    "REST_CHARGE_V",
    "REVERSE_CURRENT",
    "SMALL_OHM",
]

#: below this many ohm the leads matter: 0.1 to 0.5 ohm a pair (meter makers), 1 % of 50 ohm.
SMALL_OHM = 50.0
#: what may be left on a part before ohms are read: common practice, no source.
REST_CHARGE_V = 0.05

NULL_LEADS = "short the tips and null the leads, or note what they read"
COOL = "let the part cool for some minutes after soldering"
CHARGED = "A charged part upsets every ohms, diode and capacitance reading and can damage the meter."
DISCHARGE = "Discharge through a resistor of about 1 kohm, not a screwdriver, and read again."
LIFT_LEAD = "On the board, lift one lead or solve the circuit around it."
LOWERED_BY_OTHERS = "Other paths on the board can only lower this: too high convicts, low or right proves nothing."
RAISED_BY_OTHERS = "Other capacitance on its nets adds to this: too low convicts, right or high proves nothing."
FORCE_CURRENT = (
    "Force a known current (0.1 to 1 A from the bench supply, limit first, within the part's rating) through it "
    "and read the millivolts at its leads, or use four wires."
)
REVERSE_CURRENT = (
    "Bench supply through 10 kohm, plus where red is, within ratings: 10 mV across the resistor are 1 uA."
)
