"""Inductor: winding resistance, and inductance where the spec gives a value."""

from __future__ import annotations

import attrs

from benchcheck.kinds.fields import Henries, Ohms, Tolerance, Window
from benchcheck.kinds.part import Part

__all__ = ["Inductor"]


@attrs.frozen(kw_only=True)
class Inductor(Part):
    """`kind = "inductor"`: value in henry and tolerance where inductance is to be checked."""

    value: Henries | None = None
    tolerance: Tolerance | None = None
    dc_resistance: Window[Ohms] | None = None
    inductance: Window[Henries] | None = None
