"""Isolation: two nets that must not be joined, whatever lies between them."""

from __future__ import annotations

from collections.abc import Mapping

import attrs

from benchcheck.kinds.fields import Ohms

__all__ = ["Isolation"]


@attrs.frozen(kw_only=True)
class Isolation:
    """`[[isolation]]`: a pair of nets and the least resistance between them in ohm."""

    nets: tuple[str, str]
    min: Ohms | None = None
    max: Ohms | None = None
    reason: str = ""
    switches: Mapping[str, str] = attrs.field(factory=dict)
