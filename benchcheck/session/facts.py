"""What the reserved readings say of the whole session: the ambient temperature, the leads, the known cell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading, Session

__all__ = ["session_facts"]

_CELL_VOLT = (1.2, 1.7)


def session_facts(session: Session, readings: Mapping[str, tuple[Reading, ...]]) -> Session:
    """Return the session with what `ambient`, `meter.leads_shorted` and `meter.cell` read, where that is a value.

    A cell counts where it reads like one (1.2 to 1.7 V, as its check has it; common practice).
    """
    ambient = _value(readings.get("ambient", ()))
    leads = _value(readings.get("meter.leads_shorted", ()))
    cell = _value(readings.get("meter.cell", ()))
    if cell is not None and _CELL_VOLT[0] <= abs(cell) <= _CELL_VOLT[1]:
        session = replace(session, cell_volt=abs(cell))
    if ambient is not None:
        session = replace(session, ambient_c=ambient, ambient_read=True)
    return session if leads is None or leads < 0.0 else replace(session, leads_ohm=leads)


def _value(readings: tuple[Reading, ...]) -> float | None:
    values = [reading.display.value for reading in readings if reading.display.state is DisplayState.VALUE]
    return values[-1] if values else None
