"""Fuse, PTC, ferrite and winding: parts known by a low resistance, which wants nulled leads."""

from __future__ import annotations

import attrs

from benchcheck.kinds.fields import Amperes, Ohms, Tolerance, Window
from benchcheck.kinds.part import Part

__all__ = ["Ferrite", "Fuse", "Ptc", "Winding"]


@attrs.frozen(kw_only=True)
class Fuse(Part):
    """`kind = "fuse"`: `rated_current` gives the usual cold resistance."""

    rated_current: Amperes | None = None
    resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Ptc(Part):
    """`kind = "ptc"`: a resettable fuse; `hold_current` gives the usual resistance."""

    hold_current: Amperes | None = None
    resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Ferrite(Part):
    """`kind = "ferrite"`: a bead or choke that is nearly a wire at DC."""

    resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Winding(Part):
    """`kind = "winding"`: one winding of a transformer, relay, motor or loudspeaker."""

    value: Ohms | None = None
    tolerance: Tolerance | None = None
    resistance: Window[Ohms] | None = None
