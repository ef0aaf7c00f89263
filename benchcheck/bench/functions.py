"""What a meter can be set to, and the quantity unit its display then counts in."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["Function"]


class Function(StrEnum):
    """A measuring function, or one of the two ways to establish a check without a meter.

    >>> Function("esr").quantity_unit
    'ohm'
    """

    DC_VOLTAGE = "dc_voltage"
    AC_VOLTAGE = "ac_voltage"
    DC_CURRENT = "dc_current"
    OHMS = "ohms"
    LOW_POWER_OHMS = "low_power_ohms"
    OHMS_4W = "ohms_4w"
    DIODE = "diode"
    CONTINUITY = "continuity"
    CAPACITANCE = "capacitance"
    ESR = "esr"
    INDUCTANCE = "inductance"
    HFE = "hfe"
    TEMPERATURE = "temperature"
    TIME = "time"  # a stop watch or the supply's own polls
    VISUAL = "visual"  # looked at, answered in words
    DERIVED = "derived"  # computed from the readings of other checks

    @property
    def quantity_unit(self) -> str:
        """The quantity unit of the reading; "1" for a ratio, "text" for an answer in words."""
        return _QUANTITY_UNITS[self]

    @property
    def metered(self) -> bool:
        """Whether a meter takes this reading."""
        return self not in (Function.VISUAL, Function.DERIVED, Function.TIME)


_QUANTITY_UNITS = {
    Function.DC_VOLTAGE: "V",
    Function.AC_VOLTAGE: "V",
    Function.DC_CURRENT: "A",
    Function.OHMS: "ohm",
    Function.LOW_POWER_OHMS: "ohm",
    Function.OHMS_4W: "ohm",
    Function.DIODE: "V",
    Function.CONTINUITY: "ohm",
    Function.CAPACITANCE: "F",
    Function.ESR: "ohm",
    Function.INDUCTANCE: "H",
    Function.HFE: "1",
    Function.TEMPERATURE: "degC",
    Function.TIME: "s",
    Function.VISUAL: "text",
    Function.DERIVED: "1",
}
