"""Bipolar transistor: two junctions from one base, their difference, and that collector to emitter blocks."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Gain, Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Bjt"]


@attrs.frozen(kw_only=True)
class Bjt(Part):
    """`kind = "bjt"`."""

    polarity: Literal["NPN", "PNP"]
    be_drop: Window[Volts] | None = None
    bc_drop: Window[Volts] | None = None
    drop_difference: Window[Volts] | None = None
    ce_blocking: Window[Volts] | None = None
    hfe: Window[Gain] | None = None
