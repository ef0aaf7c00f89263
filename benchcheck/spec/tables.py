"""The tables of a spec that are no part, rail or supply: the board itself and its nets."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Celsius, Volts

__all__ = ["BoardTable", "NetTable"]

USUAL_AMBIENT = Celsius(23.0)  # the reference temperature of most meter specifications

Hazard = Literal[
    "mains",
    "crt",
    "flash-capacitor",
    "backlight-inverter",
    "lithium-cell",
    "charged-capacitor",
    "laser",
    "motor",
]


@attrs.frozen(kw_only=True)
class BoardTable:
    """`[board]`: which board the file describes. `hazards = []` says there is none; left out, no power."""

    model: str
    revision: str = ""
    ambient: Celsius = USUAL_AMBIENT
    hazards: tuple[Hazard, ...] | None = None


@attrs.frozen(kw_only=True)
class NetTable:
    """`[net.NAME]`: `complete = true` when every path on the net is in the file.

    `voltage` is the net's DC voltage to ground under power, `ac_voltage` (rms) and `peak_voltage` what else
    stands on it; functions whose compliance exceeds `max_probe_voltage` are not offered on it. All in volt.
    """

    complete: bool = False
    voltage: Volts | None = None
    ac_voltage: Volts | None = None
    peak_voltage: Volts | None = None
    max_probe_voltage: Volts | None = None
