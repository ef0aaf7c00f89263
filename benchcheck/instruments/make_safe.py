"""Off, whatever happened: load first, then output; at once and blind, then verified, then looked at until discharged.

Nothing here raises: the answer is one of the three states of off. A blind command goes out on the link as it is,
even when an answer is outstanding; only then is the link reopened and the instrument asked.
"""

from __future__ import annotations

from collections.abc import Callable

from benchcheck.errors import BenchcheckError
from benchcheck.instruments.electronic_load import ElectronicLoad
from benchcheck.instruments.power_supply import PowerSupply, SupplyPoint
from benchcheck.instruments.power_watch import OffReport, OffState, judge_off
from benchcheck.instruments.recovery import recover

__all__ = ["make_safe", "off_at_once"]

ATTEMPTS = 3
RECOVER_S = 2.0
FALL_S = 2.0  # a supply without a down-programmer needs 0.2 to 0.4 s at no load; boards hold more
POLL_S = 0.02
NO_SUPPLY = "no supply was driven"


def off_at_once(supply: PowerSupply | None, load: ElectronicLoad | None) -> None:
    """Send both commands to switch off without waiting for anything."""
    if load is not None:
        load.off_blind()
    if supply is not None:
        supply.off_blind()


def make_safe(supply: PowerSupply | None, load: ElectronicLoad | None, fall_s: float = FALL_S) -> OffReport:
    """Switch off blind, verify, and wait up to `fall_s` seconds for the voltage to fall; never raises an error.

    A load that cannot be seen off is told in the line, the state is the supply's: without a source it is harmless.
    """
    off_at_once(supply, load)
    load_off = load is None or _verified(load, load.off)
    if supply is None:
        return OffReport(OffState.OFF, None, NO_SUPPLY if load_off else f"{NO_SUPPLY}; the load may be on")
    if not supply.connection.known:
        return OffReport(OffState.OFF, None, f"{supply.name} was only read, never switched from here")
    said_on = None if not _verified(supply, supply.off) else False
    point = _fallen(supply, fall_s) if said_on is False else None
    report = judge_off(said_on, point)
    return report if load_off else OffReport(report.state, report.voltage_volt, f"{report.line}; the load may be on")


def _verified(driver: PowerSupply | ElectronicLoad, off: Callable[[], None]) -> bool:
    """Bring the link in step and switch off until it is seen; False when that never succeeds.

    Where nobody listened for as long as recovering takes, waiting longer only delays the word to switch off by hand.
    """
    explains, driver.explains = driver.explains, False
    try:
        for _ in range(ATTEMPTS):
            try:
                if driver.link.state.dirty:
                    recover(driver.link, RECOVER_S)
                driver.acknowledge_restart()
                off()
            except BenchcheckError as reason:
                driver.link.mark("switching off failed")
                driver.off_blind()
                if isinstance(reason.__cause__, ConnectionRefusedError):
                    return False
                continue
            return True
        return False
    finally:
        driver.explains = explains


def _fallen(supply: PowerSupply, fall_s: float) -> SupplyPoint | None:
    """Return what the supply measures once the voltage is down, the last measurement when it stays up."""
    deadline_s = supply.clock.monotonic_s() + fall_s
    point: SupplyPoint | None = None
    while True:
        try:
            point = supply.measure()
            if supply.is_on():
                return None
        except BenchcheckError:
            return None
        if judge_off(False, point).state is OffState.OFF or supply.clock.monotonic_s() >= deadline_s:
            return point
        supply.clock.sleep(POLL_S)
