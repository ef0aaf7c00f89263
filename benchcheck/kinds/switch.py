"""Switch and connector: joined when closed (or mated), apart when open."""

from __future__ import annotations

from typing import Literal

import attrs

from benchcheck.kinds.fields import Ohms, Window
from benchcheck.kinds.part import Part

__all__ = ["Connector", "Switch"]


@attrs.frozen(kw_only=True)
class Switch(Part):
    """`kind = "switch"`: one pole; `rest` is its position while parts are measured."""

    rest: Literal["open", "closed"] = "open"
    closed_resistance: Window[Ohms] | None = None
    open_resistance: Window[Ohms] | None = None


@attrs.frozen(kw_only=True)
class Connector(Part):
    """`kind = "connector"`: one contact pair, lead 1 on the board, lead 2 beyond the contact.

    `rest` says whether it is mated ("closed") while parts are measured.
    """

    rest: Literal["open", "closed"] = "open"
    closed_resistance: Window[Ohms] | None = None
    open_resistance: Window[Ohms] | None = None
