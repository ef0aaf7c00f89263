"""Tantalum: as an electrolytic, but the marked lead is the plus and reverse voltage is forgiven less."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.electrolytic import PolarCapacitor

__all__ = ["Tantalum"]


@attrs.frozen(kw_only=True)
class Tantalum(PolarCapacitor):
    """`kind = "tantalum"`: the marked lead is the plus."""

    technology: Literal["", "manganese-dioxide", "polymer"] = ""

    @property
    def marked(self) -> str:
        """The pin the print marks."""
        return "plus"
