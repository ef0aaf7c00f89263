"""A reading: what the meter showed (the VIM's indication) for one check, exactly as accepted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from benchcheck.quantity import Display

__all__ = ["CLIPS_SEEN", "Origin", "Reading", "Session"]

#: begins the note of a reading before which the same clips were seen on their points.
CLIPS_SEEN = "clips seen on"


class Origin(StrEnum):
    """How a reading came in."""

    TYPED = "typed"
    FILE = "file"
    METERED = "metered"


@dataclass(frozen=True, slots=True)
class Reading:
    """One accepted reading.

    `display` holds what was shown and its SI value and resolution in `quantity_unit`. `polarity` is "" or
    "swapped" when red and black were exchanged against the check. `repeat` counts readings of one check from
    1; `meter` and `meter_range` name what took it. `line` is the line of the readings file, 0 otherwise.
    `retries` are the displays of earlier tries that were not accepted, oldest first. `taken` is in UTC.
    """

    check: str
    display: Display
    quantity_unit: str
    origin: Origin
    polarity: str = ""
    repeat: int = 1
    meter: str = ""
    meter_range: str = ""
    note: str = ""
    line: int = 0
    taken: datetime | None = None
    retries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Session:
    """What the reserved readings say about the whole session, with the spec's or bench's value until read.

    `ambient_c` in degree Celsius; `leads_ohm` is the reading with the leads shorted, `cell_volt` that of a cell known
    to serve, None until taken. `contacts` is how this hand's contacts repeat, by second looks: the standard deviation
    as a multiple of what good contacts repeat to, and its degrees of freedom; 0 of them as long as there are too few.
    """

    ambient_c: float = 23.0
    ambient_read: bool = False
    leads_ohm: float | None = None
    contacts: tuple[float, int] = (0.0, 0)
    cell_volt: float | None = None
