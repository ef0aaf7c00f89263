"""What the reserved readings say of the whole session: the ambient temperature and the leads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading, Session

__all__ = ["session_facts"]


def session_facts(session: Session, readings: Mapping[str, tuple[Reading, ...]]) -> Session:
    """Return the session with what `ambient` and `meter.leads_shorted` read, where they read a value."""
    ambient = _value(readings.get("ambient", ()))
    leads = _value(readings.get("meter.leads_shorted", ()))
    if ambient is not None:
        session = replace(session, ambient_c=ambient, ambient_read=True)
    return session if leads is None or leads < 0.0 else replace(session, leads_ohm=leads)


def _value(readings: tuple[Reading, ...]) -> float | None:
    values = [reading.display.value for reading in readings if reading.display.state is DisplayState.VALUE]
    return values[-1] if values else None
