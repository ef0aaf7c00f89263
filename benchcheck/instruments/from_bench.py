"""From the bench file's words to what drivers take: links, ranges, ceilings, and what the power keeper owns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchcheck.bench.meter import Link, Meter
from benchcheck.bench.model import Bench
from benchcheck.bench.model import Ceiling as BenchCeiling
from benchcheck.clock import Clock
from benchcheck.errors import BenchError, Fault, InstrumentError, close_match
from benchcheck.instruments.connection import LinkSettings, adjusted
from benchcheck.instruments.dialect import LinkManners
from benchcheck.instruments.keeper_wire import KeeperSettings, PoweredInstrument
from benchcheck.instruments.line_protocol import StreamingMeter
from benchcheck.instruments.multimeter import MeterRange
from benchcheck.instruments.own_dialects import command_tables, line_protocol
from benchcheck.instruments.power_supply import Ceiling

__all__ = ["is_stream", "keeper_settings", "link_settings", "meter_ranges", "streaming_meter"]


def link_settings(link: Link) -> LinkSettings:
    """Return how to reach an instrument of the bench; BenchError with every fault of its own dialect file."""
    return LinkSettings(link.resource, link.dialect, overrides=link.settings, own=command_tables(link))


def is_stream(link: Link) -> bool:
    """Return whether a link is to a meter that streams its readings by itself; BenchError for its dialect file."""
    return line_protocol(link) is not None


def streaming_meter(name: str, link: Link, clock: Clock) -> StreamingMeter:
    """Return the meter that streams over a link; BenchError or InstrumentError when the line cannot be opened."""
    from benchcheck.instruments.visa import visa_opener

    chosen = line_protocol(link)
    if chosen is None:
        raise BenchError(Fault("", f"{name}.link.dialect", f'"{link.dialect}" is no line protocol; write "lines"'))
    manners = adjusted(LinkManners(serial=chosen.serial), link_settings(link))
    try:
        return StreamingMeter(name, visa_opener(name, link.resource, manners), chosen, clock)
    except ConnectionError as reason:
        raise InstrumentError(f"{name}: cannot be opened ({reason}); check the cable and the resource") from reason


def meter_ranges(meter: Meter) -> tuple[MeterRange, ...]:
    """Return what the bench knows of a meter's ranges, as the driver wants it."""
    return tuple(
        MeterRange(one.function, one.full_scale, one.resolution, one.test_current_a, one.compliance_v)
        for one in meter.ranges
    )


def keeper_settings(
    bench: Bench, supply: str, load: str = "", dialects: Mapping[str, Any] | None = None
) -> KeeperSettings:
    """Return what the power keeper is to own; BenchError for a name the bench has not, or one without a link.

    A load without a ceiling of its own gets the supply's.
    """
    source = bench.supplies.get(supply)
    if source is None:
        hint = close_match(supply, bench.supplies)
        raise BenchError(
            Fault(bench.source, f"supply.{supply}", f"is not on this bench{hint}; add it to the bench file")
        )
    owned = _powered(f"supply.{supply}", source.link, source.ceiling, source.channel)
    if not load:
        return KeeperSettings(owned, None, dialects or {})
    sink = bench.loads.get(load)
    if sink is None:
        hint = close_match(load, bench.loads)
        raise BenchError(Fault(bench.source, f"load.{load}", f"is not on this bench{hint}; add it to the bench file"))
    taken = _powered(f"load.{load}", sink.link, sink.ceiling or source.ceiling, sink.channel)
    return KeeperSettings(owned, taken, dialects or {})


def _powered(name: str, link: Link | None, ceiling: BenchCeiling, channel: int) -> PoweredInstrument:
    if link is None:
        raise BenchError(Fault("", f"{name}.link", "is not given, so it cannot be driven from here; add a link"))
    return PoweredInstrument(name, link_settings(link), Ceiling(ceiling.voltage_v, ceiling.current_a), channel)
