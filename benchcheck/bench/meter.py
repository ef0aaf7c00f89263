"""A meter as its data sheet describes it: functions, ranges, accuracy, what it drives, and its leads.

A range knows from which value on it shows overload: full scale, or the voltage its source runs out of,
whichever comes first. "OL" therefore says "at least this much", never "infinite".
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from benchcheck.bench.accuracy import Accuracy, Coverage, TemperatureWindow
from benchcheck.bench.functions import Function
from benchcheck.errors import QuantityError
from benchcheck.quantity import parse_value

__all__ = ["CAPACITANCE_BY", "Leads", "Link", "Meter", "MeterRange", "charging", "ramp_volts", "short_value"]

#: how a meter measures capacitance; the first where neither bench file nor class says.
CAPACITANCE_BY = ("frequency", "ramp")
#: a ramp is timed between these shares of the open voltage, so that junctions beside stay off, takes this long at
#: full scale, and opens at so much where the data sheet does not say (common practice, no source).
_RAMP_SHARES, _RAMP_S, _RAMP_OPEN_V = (0.1, 0.3), 0.4, 1.0

#: functions that drive a current and read the voltage it makes, in ohm.
_RESISTANCES = (Function.OHMS, Function.LOW_POWER_OHMS, Function.OHMS_4W, Function.CONTINUITY, Function.ESR)
#: what stays of lead resistance after a null: contacts of good tips (common practice, no source).
_CONTACTS_OHM = 0.02
#: data sheets state compliance as an open voltage "below" or "about"; this much of it surely drives the test
#: current (common practice, no source).
_SURE_COMPLIANCE = 0.9
_USUAL_WINDOW = TemperatureWindow()
_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))


@functools.lru_cache(maxsize=512)  # a bench has a few dozen ranges, and every reading names one
def short_value(value: float) -> str:
    """Return a value as it stands in ids: at most four digits and an engineering prefix, no space.

    >>> short_value(6000.0), short_value(0.6), short_value(6e-9)
    ('6k', '600m', '6n')
    """
    for factor, prefix in _PREFIXES:
        if abs(value) >= factor * (1 - 1e-9):
            return f"{value / factor:.4g}{prefix}"
    return f"{value:.4g}"


@dataclass(frozen=True, slots=True)
class MeterRange:
    """One range of one function; numbers in the function's quantity unit unless the name says otherwise.

    `over_range` is how far beyond full scale the display still counts (0.2 for 20 %). `beeps_ohm` is the
    interval the continuity threshold lies in: below it the meter surely sounds, above it surely not.
    `input_resistance_ohm` loads a voltage or stands in series with a current. `settle_s` is the longest
    wait worth while. None: not known.
    """

    function: Function
    full_scale: float
    resolution: float
    accuracy: Accuracy
    coverage: Coverage = Coverage.LIMITS
    temperature: TemperatureWindow = _USUAL_WINDOW
    over_range: float = 0.0
    test_current_a: float | None = None
    compliance_v: float | None = None
    frequency_hz: float | None = None
    input_resistance_ohm: float | None = None
    beeps_ohm: tuple[float, float] | None = None
    settle_s: float | None = None

    @property
    def name(self) -> str:
        """Return full scale as it stands in ids, such as "6k"."""
        return short_value(self.full_scale)

    @property
    def ceiling(self) -> float:
        """Return the largest value the display can show."""
        return self.full_scale * (1.0 + self.over_range)

    def holds(self, value: float) -> bool:
        """Return whether the display can show this value."""
        return abs(value) <= self.ceiling * (1.0 + 1e-12)

    def half_width(self, value: float, ambient_c: float = 23.0) -> float:
        """Return the limit of error at `value` and this ambient, the makers' way (linear)."""
        plain = self.accuracy.half_width(value, full_scale=self.full_scale, resolution=self.resolution)
        return self.temperature.widen(plain, value, ambient_c, full_scale=self.full_scale, resolution=self.resolution)

    @property
    def overload_from(self) -> float:
        """Return the value beyond which the display shows overload: full scale or compliance."""
        return min(self.ceiling, self._driven_to(1.0))

    def overload_proves(self, ambient_c: float = 23.0) -> float:
        """Return the value an overload safely exceeds: full scale, or what the source surely drives, whichever
        is less, and less the meter's own error there.
        """
        limit = min(self.ceiling, self._driven_to(_SURE_COMPLIANCE))
        return limit - self.half_width(limit, ambient_c)

    def _driven_to(self, share: float) -> float:
        """Return the value at which the source runs out of this share of its compliance."""
        if self.compliance_v is None:
            return math.inf
        if self.function is Function.DIODE:
            return share * self.compliance_v
        if self.function in _RESISTANCES and self.test_current_a:
            return share * self.compliance_v / self.test_current_a
        return math.inf


def ramp_volts(open_v: float) -> tuple[float, float]:
    """Return the two voltages between which a meter of this open voltage times its ramp, in volt.

    >>> ramp_volts(1.0)
    (0.1, 0.3)
    """
    low, high = _RAMP_SHARES
    return low * open_v, high * open_v


def charging(one: MeterRange) -> MeterRange:
    """Return a capacitance range of a meter that charges with a known current, with its current and open voltage.

    >>> one = charging(MeterRange(Function.CAPACITANCE, 6e-6, 1e-9, Accuracy()))
    >>> round(one.test_current_a * 1e6, 3), one.compliance_v, one.frequency_hz
    (4.5, 1.0, None)
    """
    open_v = one.compliance_v or _RAMP_OPEN_V
    ampere = one.test_current_a or one.full_scale * ramp_volts(open_v)[1] / _RAMP_S
    return replace(one, test_current_a=ampere, compliance_v=open_v, frequency_hz=None)


@dataclass(frozen=True, slots=True)
class Leads:
    """The test leads of a meter, in ohm for the pair.

    `resistance_ohm` within `limits_ohm`, until a session measures it; `residual_ohm` is what a null or a
    reading with the tips shorted leaves behind (contacts), None for half a digit or the contacts of good
    tips, whichever is larger. `nulled`: the meter itself subtracts them.
    """

    resistance_ohm: float = 0.3
    limits_ohm: float = 0.2
    nulled: bool = False
    residual_ohm: float | None = None

    def residual_or(self, resolution_ohm: float) -> float:
        """Return the half-width left after a null, given the finest digit the null was taken with."""
        if self.residual_ohm is not None:
            return self.residual_ohm
        return max(0.5 * resolution_ohm, _CONTACTS_OHM)


@dataclass(frozen=True, slots=True)
class Link:
    """How an instrument is reached, as plain data; room `instruments` opens it.

    `dialect_file` is the path of a file with dialects of the user's own, "" for none. `settings` holds what stands
    beside those, such as `timeout_s` or `baud_rate`.
    """

    resource: str
    dialect: str = ""
    settings: Mapping[str, str | int | float | bool] = field(default_factory=dict)
    dialect_file: str = ""


@dataclass(frozen=True, slots=True)
class Meter:
    """One meter; `ranges` stand by function, smallest full scale first. Without `link` a person reads it.

    `readings` is how many of a linked meter's readings, settled, one touch-down keeps; their scatter is judged.
    `capacitance_by` is one of `CAPACITANCE_BY`.
    `finest_ohms` is the smallest digit of any two-wire ohms range in ohm, 0 where there is none.
    """

    name: str
    class_name: str
    ranges: tuple[MeterRange, ...]
    leads: Leads = Leads()
    calibration_due: date | None = None
    link: Link | None = None
    readings: int = 1
    capacitance_by: str = CAPACITANCE_BY[0]
    finest_ohms: float = field(init=False, repr=False, compare=False)
    _by_function: Mapping[Function, tuple[MeterRange, ...]] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Sort the ranges by function once: every reading asks for those of its own."""
        found: dict[Function, tuple[MeterRange, ...]] = {}
        for each in self.ranges:
            found[each.function] = (*found.get(each.function, ()), each)
        object.__setattr__(self, "_by_function", found)
        two_wire = (Function.OHMS, Function.LOW_POWER_OHMS, Function.ESR)
        digits = (each.resolution for each in self.ranges if each.function in two_wire)
        object.__setattr__(self, "finest_ohms", min(digits, default=0.0))

    @property
    def functions(self) -> tuple[Function, ...]:
        """Return the functions this meter has, each once, in the order of its ranges."""
        return tuple(self._by_function)

    def ranges_of(self, function: Function) -> tuple[MeterRange, ...]:
        """Return the ranges of a function, smallest first; empty when the meter has none."""
        return self._by_function.get(function, ())

    def range_for(self, function: Function, value: float, name: str = "") -> MeterRange | None:
        """Return the range a reading of `value` was taken on: the smallest that holds it (autorange).

        `name` picks a range by its full scale ("6k", "6 kohm"). None when no such range holds the value.
        """
        ranges = self.ranges_of(function)
        if name:
            ranges = tuple(each for each in ranges if _is_named(each, name))
        return next((each for each in ranges if each.holds(value)), None)

    def widest(self, function: Function) -> MeterRange | None:
        """Return the range that shows overload last, or None when the meter lacks the function."""
        return max(self.ranges_of(function), key=lambda each: each.overload_from, default=None)


def _is_named(each: MeterRange, name: str) -> bool:
    if name == each.name:
        return True
    try:
        full_scale = parse_value(name, each.function.quantity_unit)
    except QuantityError:
        return False
    return math.isclose(full_scale, each.full_scale, rel_tol=1e-9)
