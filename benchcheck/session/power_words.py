"""What is asked and said of power, in words."""

from __future__ import annotations

from benchcheck.kinds.supply import Supply

__all__ = ["CELLS_OUT", "DUMMY_OFF", "NO_ANSWER", "PAUSED", "STILL_OFF", "UNKNOWN", "named", "to_confirm"]

PAUSED = "the program was told to pause"
CELLS_OUT = "Is every cell out of the unit, backup cell included? A supply on a cell is an uncontrolled charger."
DUMMY_OFF = "Is the dummy load off again?"
NO_ANSWER = "no answer from the supply or the load: being looked into; any key switches off"
STILL_OFF = "switching off: no answer yet; be ready to switch the supply off by hand"
UNKNOWN = "output state unknown: switch the supply off by hand, now"


def to_confirm(bench_supply: str, supply: Supply) -> tuple[tuple[str, str, str], ...]:
    """Return what is confirmed before power: of what, which state of it, and the question."""
    leads = (
        f"Output off: is {bench_supply} wired to {supply.name}, plus to {supply.nets['plus']} and minus to "
        f"{supply.nets['minus']}, sense leads where it has them, and nothing else feeding the unit?"
    )
    return ("cells", "out", CELLS_OUT), (bench_supply, supply.name, leads)


def named(at: str) -> str:
    """Return the name of a voltage in brackets, "" without one."""
    return f" ({at.replace('_', ' ')})" if at else ""
