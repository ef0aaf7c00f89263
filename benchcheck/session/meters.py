"""The linked meters of a bench during a visit: opened together, asked one at a time, let go together.

What a meter is asked for is what its dialect can do; a function it has no command for is left to a person's eyes.
A meter that fails twice running is not waited for again and again: each further check says why at once.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter
from benchcheck.bench.model import Bench
from benchcheck.clock import Clock
from benchcheck.errors import BenchcheckError, BenchError, Fault, InstrumentError
from benchcheck.instruments.catalogue import Catalogue, shipped_catalogue
from benchcheck.instruments.connection import connect
from benchcheck.instruments.from_bench import is_stream, link_settings, meter_ranges, streaming_meter
from benchcheck.instruments.line_protocol import StreamingMeter
from benchcheck.instruments.multimeter import Multimeter
from benchcheck.instruments.settling import SettleRule
from benchcheck.kinds.check import Check
from benchcheck.readings.metered import Taking, from_stream, read_metered, read_streamed
from benchcheck.readings.reading import Reading
from benchcheck.session.live import LiveMeter

__all__ = ["Meters", "linked", "open_meter"]

#: one reading as it comes, without waiting for it to stand still.
_AT_ONCE = SettleRule(window=1, hold_s=0.0, timeout_s=1.0)
_GLIMPSE = Taking(settle=_AT_ONCE, patient=_AT_ONCE, slow=_AT_ONCE)
_PATIENCE = 2  # failures of one meter, one after the other, before it is given up


def linked(bench: Bench) -> bool:
    """Return whether any instrument of the bench can be reached from here."""
    meters = (one.link for one in bench.meters.values())
    supplies = (one.link for one in bench.supplies.values())
    return any(link is not None for link in (*meters, *supplies, *(one.link for one in bench.loads.values())))


def open_meter(meter: Meter, catalogue: Catalogue, clock: Clock) -> Multimeter | StreamingMeter:
    """Return the driver of a linked meter; BenchError or InstrumentError, with its name, when it cannot be had."""
    assert meter.link is not None
    name = f"meter.{meter.name}"
    try:
        if is_stream(meter.link):
            return streaming_meter(name, meter.link, clock)
        made = connect(name, "dmm", link_settings(meter.link), catalogue, clock)
    except BenchError as reason:
        raise _placed(reason, f"{name}.link") from reason
    try:
        return Multimeter(made, meter_ranges(meter))
    except BaseException:
        made.close()
        raise


def _placed(reason: BenchError, key: str) -> BenchError:
    """Return the error with the table of the bench file it is about."""
    return BenchError([Fault(fault.where, fault.key or key, fault.message) for fault in reason.faults])


@dataclass(slots=True)
class Meters:
    """The linked meters of a bench, by name; `while_waiting` is called several times a second during readings."""

    bench: Bench
    clock: Clock
    taking: Taking = field(default_factory=Taking)
    catalogue: Catalogue = field(default_factory=shipped_catalogue)
    drivers: dict[str, Multimeter | StreamingMeter] = field(default_factory=dict)
    _failures: dict[str, list[str]] = field(default_factory=dict)
    _tended: Callable[[], None] | None = None

    def open(self, while_waiting: Callable[[], None] | None = None) -> None:
        """Open every linked meter, or none: BenchError or InstrumentError when one cannot be had."""
        try:
            for name, meter in self.bench.meters.items():
                if meter.link is not None:
                    driver = self.drivers[name] = open_meter(meter, self.catalogue, self.clock)
                    if isinstance(driver, Multimeter):
                        driver.link.while_waiting = while_waiting
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let every meter go."""
        for driver in self.drivers.values():
            with contextlib.suppress(BenchcheckError, OSError):
                driver.close()
        self.drivers.clear()

    def identities(self) -> dict[str, str]:
        """Return what each linked meter says it is; a streaming one says nothing."""
        drivers = self.drivers.items()
        return {name: one.connection.identity for name, one in drivers if isinstance(one, Multimeter)}

    def serving(self, function: Function) -> Meter | None:
        """Return the linked meter the bench uses for a function, None where none is linked or it lacks it."""
        known = self.bench.meter_for(function) if function.metered else None
        driver = self.drivers.get(known.name) if known is not None else None
        if isinstance(driver, Multimeter) and function not in driver.functions():
            return None
        return known if driver is not None else None

    def watch(self, check: Check, meter: Meter, wake: Callable[[], None]) -> LiveMeter:
        """Return the meter read over and over for a check, each reading as it comes; stop it before anything else."""
        driver = self.drivers[meter.name]
        self._failures.pop(meter.name, None)
        if isinstance(driver, StreamingMeter):
            function = check.function if check.function is not Function.CONTINUITY else None
            return LiveMeter(
                lambda: from_stream(check, driver.measure(check.quantity_unit, function, _AT_ONCE), meter),
                self.clock,
                wake,
            )
        self._tended = driver.link.while_waiting
        driver.link.while_waiting = None  # whoever watches tends power in the thread that owns it
        return LiveMeter(lambda: read_metered(check, driver, meter, _GLIMPSE)[0], self.clock, wake)

    def watched(self, meter: Meter) -> None:
        """Go back to readings taken one at a time, after the watch was stopped."""
        driver = self.drivers.get(meter.name)
        if isinstance(driver, Multimeter):
            driver.link.while_waiting = self._tended

    def read(self, check: Check, meter: Meter, full_scale: float | None = None) -> tuple[Reading, ...]:
        """Return the readings of a check; InstrumentError when there are none, at once where it was given up."""
        failures = self._failures.setdefault(meter.name, [])
        driver = self.drivers[meter.name]
        if len(failures) >= _PATIENCE and isinstance(driver, Multimeter):  # a stream in the wrong unit costs no wait
            raise InstrumentError(f"{meter.name} was given up: {failures[-1]}")
        try:
            taking = replace(self.taking, count=max(self.taking.count, meter.readings))
            if isinstance(driver, StreamingMeter):
                readings = read_streamed(check, driver, meter, taking)
            else:
                readings = read_metered(check, driver, meter, taking, full_scale)
        except InstrumentError as reason:
            failures.append(str(reason))
            raise
        failures.clear()
        return readings
