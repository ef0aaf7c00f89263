"""Readings from a linked meter: what it showed, the range it used, and what that range drives through the part.

A series that settles is a value, one beyond full scale or compliance an overload; one that does not settle keeps
only the way it went ("climbs", "falls", "jumps"): its end was not seen, and no number of it counts. Nothing is
subtracted here: the reading with the leads shorted is a reading of its own, and scoring takes it off.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, short_value
from benchcheck.errors import InstrumentError
from benchcheck.instruments.line_protocol import StreamedReading, StreamingMeter
from benchcheck.instruments.multimeter import Multimeter, Series
from benchcheck.instruments.reply import Indication, IndicationState
from benchcheck.instruments.settling import SettleRule
from benchcheck.kinds.check import Check, Phase
from benchcheck.quantity import Display, DisplayState, format_value
from benchcheck.readings.reading import Origin, Reading

__all__ = ["Taking", "from_series", "from_stream", "read_metered", "read_streamed"]

_MOVES = {"climbs": DisplayState.CLIMBS, "falls": DisplayState.FALLS, "jumps": DisplayState.JUMPS}
#: digits kept where neither bench file nor meter says what one step of the display is worth.
_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Taking:
    """How readings are taken: how many a touch-down, and when they stand still.

    `settle` holds for most checks; one that must charge a capacitor first is given `patient`, a small current in
    series `slow`: what falls is charge, and one to five minutes are usual.
    """

    count: int = 1
    settle: SettleRule = field(default_factory=SettleRule)
    patient: SettleRule = field(default_factory=lambda: SettleRule(timeout_s=20.0))

    slow: SettleRule = field(default_factory=lambda: SettleRule(hold_s=10.0, relative=0.01, timeout_s=300.0))

    def rule(self, check: Check) -> SettleRule:
        """Return when the readings of a check stand still."""
        if check.function is Function.DC_CURRENT:
            return self.slow
        return self.patient if check.settle or check.phase is Phase.ISOLATION else self.settle


def read_metered(
    check: Check, meter: Multimeter, known: Meter, taking: Taking, full_scale: float | None = None
) -> tuple[Reading, ...]:
    """Return the readings of a check, settled, `taking.count` of them; `full_scale` (SI) fixes the range.

    `known` is the meter as the bench file has it. InstrumentError as the driver has it; then nothing was read.
    """
    return from_series(check, meter.measure(check.function, full_scale, taking.count, taking.rule(check)), known.name)


def from_series(check: Check, series: Series, meter: str) -> tuple[Reading, ...]:
    """Return the readings of a check that a series amounts to; `meter` is what the bench file calls the meter."""
    step = series.known_range.resolution if series.known_range is not None else 0.0
    taken = [_display(one, check.quantity_unit, step) for one in series.indications]
    if len({one.state for one in taken}) > 1:
        taken = [Display("jumps", DisplayState.JUMPS)]
    elif not series.settled:
        taken = [_moving(series.trend)]
    common = Reading(
        check.id,
        taken[0],
        check.quantity_unit,
        Origin.METERED,
        meter=meter,
        meter_range=short_value(series.full_scale) if series.full_scale is not None else "",
        note=_applied(series) if series.settled else f"{_applied(series)}; last shown {series.indications[-1].text}",
        taken=series.taken,
    )
    return tuple(replace(common, display=one, repeat=place) for place, one in enumerate(taken, 1))


def _display(one: Indication, quantity_unit: str, step: float) -> Display:
    """Return what the meter's own display would show for an indication; InstrumentError where it is no number."""
    if one.state is IndicationState.OVERLOAD:
        return Display("OL", DisplayState.OVERLOAD)
    if one.value is None or not math.isfinite(one.value):
        raise InstrumentError(f'the meter answers "{one.text}", which is no reading; look at its display and leads')
    step = step or _last_digit(one.value)
    return Display(format_value(one.value, quantity_unit, step, ascii=True), DisplayState.VALUE, one.value, step)


def _last_digit(value: float) -> float:
    return 10.0 ** (math.floor(math.log10(abs(value))) - _DIGITS + 1) if value else 10.0**-_DIGITS


def _moving(trend: str) -> Display:
    """Return the display of readings that did not stand still: nobody saw their end, so none is noted."""
    state = _MOVES.get(trend, DisplayState.JUMPS)
    return Display(str(state), state)


def _applied(series: Series) -> str:
    """Return in words which function it was and what the range drives; the range has a field of its own."""
    known = series.known_range
    if known is None or not known.test_current_ampere:
        return str(series.function)
    current = format_value(known.test_current_ampere, "A", ascii=True)
    compliance = f" up to {format_value(known.compliance_volt, 'V', ascii=True)}" if known.compliance_volt else ""
    return f"{series.function}, {current}{compliance}"


def read_streamed(check: Check, meter: StreamingMeter, known: Meter, taking: Taking) -> tuple[Reading, ...]:
    """Return the readings of a check, `taking.count` of them, from a meter that sends what its display shows.

    Somebody turns its switch.
    InstrumentError for silence, rubbish, another function, or a reading that does not stand still.
    """
    rule = taking.rule(check)
    function = check.function if check.function is not Function.CONTINUITY else None
    held = replace(rule, hold_s=max(rule.hold_s, 0.5))
    taken = (meter.measure(check.quantity_unit, function, held) for _ in range(taking.count))
    return tuple(replace(from_stream(check, one, known), repeat=place) for place, one in enumerate(taken, 1))


def from_stream(check: Check, streamed: StreamedReading, known: Meter) -> Reading:
    """Return the reading that a line of a streaming meter is; the line does not say the range, the value does."""
    value = streamed.indication.value
    chosen = known.range_for(check.function, value) if value is not None else None
    display = _display(streamed.indication, check.quantity_unit, chosen.resolution if chosen is not None else 0.0)
    note = str(streamed.function) if streamed.function is not None else "its function is not said"
    return Reading(check.id, display, check.quantity_unit, Origin.METERED, meter=known.name, note=note)
