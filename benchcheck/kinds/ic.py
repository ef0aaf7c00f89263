"""IC: each listed pin against ground and supply on the diode function, through the pin's clamps."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from benchcheck.kinds.fields import Volts, Window
from benchcheck.kinds.part import Part

__all__ = ["Ic"]


@attrs.frozen(kw_only=True)
class Ic(Part):
    """`kind = "ic"`: `nets` names its pins, among them `ground` and `supply`; others are free.

    `clamps = { fb = ["ground"], en = [] }` names what each pin clamps to where it is not both.
    """

    clamps: Mapping[str, tuple[str, ...]] = attrs.field(factory=dict)
    pin: Window[Volts] | None = None
