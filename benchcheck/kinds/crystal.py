"""Crystal or resonator: an insulator to a meter; whether it swings shows only under power."""

from __future__ import annotations

import attrs

from benchcheck.kinds.fields import Hertz, Ohms, Window
from benchcheck.kinds.part import Part

__all__ = ["Crystal"]


@attrs.frozen(kw_only=True)
class Crystal(Part):
    """`kind = "crystal"`: `frequency` in hertz is kept for the record, a meter cannot check it."""

    frequency: Hertz | None = None
    insulation: Window[Ohms] | None = None
