"""The tables of a bench file as they are written: what each key holds, and how its text becomes a number.

Entry classes name the keys; cattrs structures them and reports everything wrong at once. Texts are read by
`quantity`, so a refusal says what was found and what to write. A full scale is in the unit of its function, which
travels with the text.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, NewType

import attrs
from cattrs import Converter
from cattrs.gen import make_dict_structure_fn, override

from benchcheck.bench.accuracy import Accuracy, Coverage, TemperatureWindow
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import CAPACITANCE_BY
from benchcheck.errors import QuantityError, close_match
from benchcheck.quantity import parse_value

__all__ = [
    "DecisionEntry",
    "GuardBandEntry",
    "LeadsEntry",
    "LinkEntry",
    "LoadEntry",
    "MeterEntry",
    "RangeEntry",
    "SupplyEntry",
    "bench_converter",
    "class_names",
]

CLASS_FOLDER = Path(__file__).parent / "classes"
READBACK = "readback"  # what supplies and loads say of themselves: a class file, but of no meter

ClassName = NewType("ClassName", str)
CapacitanceBy = NewType("CapacitanceBy", str)
InFunctionUnit = NewType("InFunctionUnit", float)  # the unit of the range's function
Resource = NewType("Resource", str)
Ohms = NewType("Ohms", float)
OhmsOrZero = NewType("OhmsOrZero", float)
Volts = NewType("Volts", float)
Amperes = NewType("Amperes", float)
Hertz = NewType("Hertz", float)
Seconds = NewType("Seconds", float)
Ratio = NewType("Ratio", float)
Celsius = NewType("Celsius", float)


@attrs.frozen(kw_only=True)
class TemperatureEntry:
    """`temperature = { window = ["18 degC", "28 degC"], coefficient = "0.1 spec/K" }`."""

    window: list[Celsius] = attrs.field(factory=lambda: [Celsius(18.0), Celsius(28.0)])
    coefficient: str = "0.1 spec/K"

    def built(self) -> TemperatureWindow:
        """Return the window; QuantityError when it is none."""
        if len(self.window) != 2:
            raise QuantityError(f"{len(self.window)} temperatures are no window; write two, the lower first")
        of_spec_per_k, per_k = TemperatureWindow.parse_coefficient(self.coefficient)
        return TemperatureWindow(self.window[0], self.window[1], of_spec_per_k, per_k)


@attrs.frozen(kw_only=True)
class RangeEntry:
    """One `[[meter.NAME.range]]`; what is left out comes from the class' line of the same full scale."""

    function: Function
    full_scale: InFunctionUnit
    resolution: InFunctionUnit | None = None
    accuracy: Accuracy | None = None
    coverage: Coverage | None = None
    temperature: TemperatureWindow | None = None
    over_range: Ratio | None = None
    test_current: Amperes | None = None
    compliance: Volts | None = None
    frequency: Hertz | None = None
    input_resistance: Ohms | None = None
    beeps: tuple[Ohms, Ohms] | None = None
    settle: Seconds | None = None


@attrs.frozen(kw_only=True)
class LeadsEntry:
    """`leads = { resistance = "0.2 ohm", limits = "0.1 ohm" }` or `{ nulled = true }`."""

    resistance: OhmsOrZero | None = None
    limits: OhmsOrZero | None = None
    nulled: bool = False
    residual: OhmsOrZero | None = None


@attrs.frozen(kw_only=True)
class LinkEntry:
    """How an instrument is reached; `timeout` and the serial settings are for the links that have them.

    `dialect_file` is a TOML file of the user's own dialects, from the folder of the bench file.
    """

    resource: Resource
    dialect: str = ""
    dialect_file: str = ""
    timeout: Seconds | None = None
    baud_rate: int | None = None
    data_bits: int | None = None
    parity: str | None = None
    stop_bits: int | None = None
    flow_control: str | None = None
    read_termination: str | None = None
    write_termination: str | None = None


@attrs.frozen(kw_only=True)
class MeterEntry:
    """One `[meter.NAME]`; `readings` is how many readings a touch-down keeps where the meter is linked.

    `capacitance_by` says how it measures capacitance: at a `frequency`, or by the `ramp` of a known current.
    """

    class_name: ClassName = ClassName("")
    leads: LeadsEntry | None = None
    calibration_due: date | None = None
    ranges: list[RangeEntry] = attrs.field(factory=list)
    link: LinkEntry | None = None
    readings: int = 1
    capacitance_by: CapacitanceBy = CapacitanceBy("")


@attrs.frozen(kw_only=True)
class CeilingEntry:
    """`ceiling = { voltage = "12 V", current = "1 A" }`: no spec may exceed it."""

    voltage: Volts
    current: Amperes


@attrs.frozen(kw_only=True)
class SupplyEntry:
    """One `[supply.NAME]`; its ranges say how well it reads itself back."""

    ceiling: CeilingEntry
    channel: int = 1
    calibration_due: date | None = None
    ranges: list[RangeEntry] = attrs.field(factory=list)
    link: LinkEntry | None = None


@attrs.frozen(kw_only=True)
class LoadEntry:
    """One `[load.NAME]`."""

    ceiling: CeilingEntry | None = None
    channel: int = 1
    calibration_due: date | None = None
    ranges: list[RangeEntry] = attrs.field(factory=list)
    link: LinkEntry | None = None


@attrs.frozen(kw_only=True)
class GuardBandEntry:
    """`guard_band = { specific_risk = "2.5 %" }` or `{ global_risk = "2 %", in_tolerance = "95 %" }`."""

    specific_risk: Ratio | None = None
    global_risk: Ratio | None = None
    in_tolerance: Ratio | None = None


@attrs.frozen(kw_only=True)
class DecisionEntry:
    """The `[decision]` table; a guard band given as text, "1 U", arrives as a float multiple of U."""

    rule: str = "ILAC-G8:09/2019 4.2.3"
    guard_band: float | GuardBandEntry = 1.0
    coverage: Ratio = Ratio(0.9545)


_TABLES = frozenset({LeadsEntry, LinkEntry, CeilingEntry, MeterEntry, SupplyEntry, LoadEntry, DecisionEntry})
_OF_THE_SCALE = ("full_scale", "resolution")  # the keys in the unit of the range's function
#: attribute -> key as written, where a key is a word of Python or reads better in the plural.
RENAMED = {"class_name": "class", "ranges": "range"}


def _text(value: Any, _: Any = None) -> str:
    if not isinstance(value, str):
        raise QuantityError(f"{value!r} is not a text; put it in quotes, with its quantity unit if it has one")
    return value


def _quantity(unit: str, *, positive: bool = True, zero: bool = False) -> Callable[[Any, Any], float]:
    def read(value: Any, _: Any) -> float:
        number = parse_value(_text(value), unit)
        if positive and (number < 0 or (number == 0 and not zero)):
            least = "0 or more" if zero else "greater than 0"
            raise QuantityError(f'"{value}" is not allowed here; the value must be {least}')
        return number

    return read


def _ratio(value: Any, _: Any) -> float:
    number = parse_value(_text(value), "1")
    if not 0 <= number <= 1:
        raise QuantityError(f'"{value}" is not allowed here; write a ratio from "0 %" to "100 %"')
    return number


def _resource(value: Any, _: Any) -> str:
    if not _text(value).strip():
        raise QuantityError('is empty; write a VISA resource such as "TCPIP0::192.0.2.7::5025::SOCKET"')
    return str(value)


def _one_of(value: Any, allowed: tuple[str, ...], what: str) -> str:
    text = _text(value)
    if text not in allowed:
        near = close_match(text, allowed)
        raise QuantityError(f'"{text}" is not {what}; allowed are {", ".join(allowed)}{near}')
    return text


@functools.cache
def class_names() -> tuple[str, ...]:
    """Return the names of the shipped meter classes, sorted."""
    return tuple(sorted(path.stem for path in CLASS_FOLDER.glob("*.toml") if path.stem != READBACK))


def _class_name(value: Any, _: Any) -> str:
    return _one_of(value, class_names(), "a meter class")


def _capacitance_by(value: Any, _: Any) -> str:
    return _one_of(value, CAPACITANCE_BY, "a way to measure capacitance")


_METERED = tuple(each.value for each in Function if each.metered)
_COVERAGES = {"".join(each.value.split()): each for each in Coverage}


def _function(value: Any, _: Any) -> Function:
    return Function(_one_of(value, _METERED, "a function a meter has"))


def _coverage(value: Any, _: Any) -> Coverage:
    found = _COVERAGES.get("".join(_text(value).split()))
    return found or Coverage(_one_of(value, tuple(Coverage), "a coverage"))


def _due(value: Any, _: Any) -> date:
    if not isinstance(value, date) or isinstance(value, datetime):
        raise QuantityError(f"{value!r} is not a date; write it without quotes: 2027-01-31")
    return value


def _exactly(kind: type, words: str) -> Callable[[Any, Any], Any]:
    def read(value: Any, _: Any) -> Any:
        if type(value) is not kind:
            raise QuantityError(f"{value!r} is not {words}")
        return value

    return read


def _beeps(value: Any, _: Any) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise QuantityError(f'{value!r} is no interval; write ["10 ohm", "35 ohm"]')
    low, high = (_quantity("ohm", zero=True)(each, None) for each in value)
    if low > high:
        raise QuantityError(f'["{value[0]}", "{value[1]}"] is upside down; the lower end stands first')
    return low, high


def _guard_band(converter: Converter) -> Callable[[Any, Any], float | GuardBandEntry]:
    forms = 'write "1 U", { specific_risk = "2.5 %" } or { global_risk = "2 %" }'

    def read(value: Any, _: Any) -> float | GuardBandEntry:
        if isinstance(value, dict):
            entry = converter.structure(value, GuardBandEntry)
            if (entry.specific_risk is None) == (entry.global_risk is None):
                raise QuantityError(f"{value!r} is not a guard band; {forms}")
            return entry
        words = value.split() if isinstance(value, str) else []
        try:
            multiple = float(words[0]) if len(words) == 2 and words[1] == "U" else -1.0
        except ValueError:
            multiple = -1.0
        if not 0.0 <= multiple <= 10.0:
            raise QuantityError(f"{value!r} is not a guard band; {forms}")
        return multiple

    return read


def _temperature(converter: Converter) -> Callable[[Any, Any], TemperatureWindow]:
    return lambda value, _: converter.structure(value, TemperatureEntry).built()


def _table(converter: Converter, entry: type) -> Callable[[Any, Any], Any]:
    names = {
        field.name: override(rename=RENAMED[field.name]) for field in attrs.fields(entry) if field.name in RENAMED
    }
    inner: Callable[[Any, Any], Any] = make_dict_structure_fn(entry, converter, **names)  # type: ignore[arg-type]

    def read(value: Any, kind: Any) -> Any:
        if not isinstance(value, dict):
            raise QuantityError(f"{value!r} is not a table; write {{ {attrs.fields(entry)[0].name} = ... }}")
        return inner(value, kind)

    return read


@dataclass(frozen=True, slots=True)
class _InUnit:
    """What a range says of its scale, with the unit of its function; "" where no function is known."""

    value: Any
    unit: str


def _in_function_unit(told: _InUnit, _: Any) -> float:
    return _quantity(told.unit)(told.value, None) if told.unit else 1.0


def _range(converter: Converter) -> Callable[[Any, Any], RangeEntry]:
    structure = _table(converter, RangeEntry)

    def read(value: Any, kind: Any) -> RangeEntry:
        if isinstance(value, dict):
            function = value.get("function")
            unit = Function(function).quantity_unit if function in _METERED else ""
            value = value | {key: _InUnit(value[key], unit) for key in _OF_THE_SCALE if key in value}
        entry: RangeEntry = structure(value, kind)
        return entry

    return read


@functools.cache
def bench_converter(*, detailed: bool = True) -> Converter:
    """Return the converter of bench files; all that is wrong comes as one group of exceptions.

    Without `detailed` only the first comes: such a converter is ready in a third of the time.
    """
    converter = Converter(detailed_validation=detailed, forbid_extra_keys=True)
    hooks: dict[Any, Callable[[Any, Any], Any]] = {
        str: _text,
        int: _exactly(int, "a whole number"),
        bool: _exactly(bool, "true or false"),
        date: _due,
        ClassName: _class_name,
        CapacitanceBy: _capacitance_by,
        Resource: _resource,
        Function: _function,
        InFunctionUnit: _in_function_unit,
        Coverage: _coverage,
        Accuracy: lambda value, _: Accuracy.parse(_text(value)),
        Ohms: _quantity("ohm"),
        OhmsOrZero: _quantity("ohm", zero=True),
        Volts: _quantity("V"),
        Amperes: _quantity("A"),
        Hertz: _quantity("Hz"),
        Seconds: _quantity("s"),
        Celsius: _quantity("degC", positive=False),
        Ratio: _ratio,
    }
    for kind, hook in hooks.items():
        converter.register_structure_hook(kind, hook)
    converter.register_structure_hook_func(lambda kind: kind == tuple[Ohms, Ohms], _beeps)
    converter.register_structure_hook(TemperatureWindow, _temperature(converter))
    converter.register_structure_hook(float | GuardBandEntry, _guard_band(converter))
    # what reads a table is made when one of its kind is met: the making takes longer than the reading
    converter.register_structure_hook_factory(_TABLES.__contains__, lambda entry: _table(converter, entry))
    converter.register_structure_hook_factory(lambda kind: kind is RangeEntry, lambda _: _range(converter))
    return converter
