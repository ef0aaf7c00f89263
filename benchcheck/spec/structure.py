"""From a TOML table to an entry: cattrs over the attrs classes, every fault of a table at once.

cattrs walks the classes and collects; the hooks here refuse what TOML lets through (a text for a flag, a list
for a table) and read quantities. The tree of exceptions comes out as one `Wrong` of (path, sentence) pairs.
"""

from __future__ import annotations

import contextlib
import functools
import typing
from collections.abc import Callable, Collection, Iterator, Mapping
from typing import Any, Literal

import attrs
import cattrs
from cattrs.errors import IterableValidationNote
from cattrs.gen import make_dict_structure_fn, override

from benchcheck.kinds.fields import Gain, Tolerance
from benchcheck.kinds.isolation import Isolation
from benchcheck.kinds.part import Fitted, Kind, Part
from benchcheck.quantity.units import UNITS
from benchcheck.spec.entries import (
    FAULT_CODES,
    NAMED,
    POSITIONS,
    QUANTITIES,
    above_zero_only,
    fields_of,
    tolerance_unit,
    type_of,
)
from benchcheck.spec.pins import check_name, read_pair, read_pins, read_poles
from benchcheck.spec.tables import Hazard
from benchcheck.spec.words import (
    Path,
    ToleranceOf,
    Wrong,
    above_zero,
    count,
    describe,
    flag,
    mapping,
    near,
    one_of,
    plain_number,
    quantity,
    said,
    text,
    together,
    word,
)

__all__ = ["entry_of"]

#: where the name of the table travels among its keys; nobody types this one.
NAME_KEY = "<name>"
#: where anybody measures a board.
COLDEST_C, HOTTEST_C = -40.0, 85.0
#: a resistor of 0 ohm is a jumper; every other value is above zero.
JUMPER = ("value", "resistor")
Hook = Callable[[Any, Any], Any]


def entry_of(table: object, cl: Any, name: str = "", kind: Kind | None = None) -> Any:
    """Return the entry a table describes; raises Wrong with a finding for every fault in it.

    `name` is the table's own name, the designator of a part; `kind` says which pins `nets` may name.
    """
    given = dict(mapping(table, "the keys of a table below its header"))
    if attrs.fields_dict(cl).keys() & set(NAMED):
        given[NAME_KEY] = name
    # what collects every fault takes thrice as long to make, and most tables have none
    with contextlib.suppress(Exception):
        return _structure(given, cl, kind, detailed=False)
    try:
        return _structure(given, cl, kind, detailed=True)
    except cattrs.StructureHandlerNotFoundError as error:  # a stranger's kind
        raise Wrong(f"has a key no spec can hold ({error}); its kind needs mending, tell who wrote it") from error
    except (cattrs.BaseValidationError, Wrong) as error:
        raise Wrong(*_findings(error, (), f"kind {kind.name}" if kind else "this table")) from error


def _structure(given: dict[str, Any], cl: Any, kind: Kind | None, *, detailed: bool) -> Any:
    hook = _part_hook(kind, detailed) if kind is not None else _converter(detailed).get_structure_hook(cl)
    return hook(given, cl)


def _findings(error: BaseException, path: Path, owner: str) -> Iterator[tuple[Path, str]]:
    """Yield every fault in a tree of exceptions, with the keys that lead to it."""
    if isinstance(error, cattrs.ClassValidationError | cattrs.IterableValidationError):
        noted, bare = error.group_exceptions()
        for inner, note in noted:
            step = note.index if isinstance(note, IterableValidationNote) else _key_of(note.name)
            missing = isinstance(inner, KeyError)
            yield from _findings(_missing(note.type) if missing else inner, (*path, step), "this table")
        for inner in bare:
            yield from _findings(inner, path, owner)
    elif isinstance(error, Wrong):
        for below, message in error.findings:
            yield (*path, *below), message
    elif isinstance(error, cattrs.ForbiddenExtraKeysError):
        yield from _unknown_keys(error, path, owner)
    else:
        yield path, str(error)


def _missing(annotation: Any) -> Wrong:
    """Return what to say of a key that must be there and is not."""
    if annotation in QUANTITIES:
        words = UNITS[QUANTITIES[annotation]]
        return Wrong(f"is missing; write {words.quantity} such as {words.examples}")
    if typing.get_origin(annotation) is Literal:
        return Wrong(f"is missing; write {one_of(typing.get_args(annotation))}")
    origin = typing.get_origin(annotation)
    if origin is tuple:
        return Wrong("is missing; write its two values between [ and ]")
    return Wrong('is missing; write { plus = "V5", minus = "GND" }' if origin else "is missing; write it in quotes")


def _unknown_keys(error: cattrs.ForbiddenExtraKeysError, path: Path, owner: str) -> Iterator[tuple[Path, str]]:
    allowed = tuple(fields_of(error.cl))
    for key in sorted(error.extra_fields):
        hint = near(key, allowed) or f"; allowed are {', '.join(allowed)}"
        yield (*path, key), f"is not a key of {owner}{hint}"


def _key_of(attribute_name: str) -> str:
    return "nets" if attribute_name == "pins" else attribute_name.rstrip("_")


@functools.cache
def _converter(detailed: bool) -> cattrs.Converter:
    """Return the converter all entries go through; hooks registered later are asked first."""
    converter = cattrs.Converter(detailed_validation=detailed, forbid_extra_keys=True)
    readers: dict[Any, Callable[[Any], Any]] = {
        Gain: plain_number, str: text, bool: flag, int: count, float: plain_number, Tolerance: ToleranceOf.read,
    }  # fmt: skip
    readers |= {cl: functools.partial(quantity, quantity_unit=unit) for cl, unit in QUANTITIES.items()}
    for cl, reader in readers.items():
        converter.register_structure_hook(cl, _hook(reader))
    factories: tuple[tuple[Callable[[Any], bool], Any], ...] = (
        (lambda cl: typing.get_origin(cl) is tuple, _sequence_hook),
        (lambda cl: typing.get_origin(cl) is Literal, _literal_hook),
        (_is_entry, _entry_hook),
    )
    for fits, factory in factories:
        converter.register_structure_hook_factory(fits, factory)
    return converter


def _is_entry(cl: Any) -> bool:
    return attrs.has(typing.get_origin(cl) or cl)


def _hook(reader: Callable[[Any], Any]) -> Hook:
    return lambda value, _: reader(value)


def _literal_hook(cl: Any, _: cattrs.Converter) -> Hook:
    allowed = [each for each in typing.get_args(cl) if each]
    return _hook(functools.partial(word, allowed=allowed))


def _sequence_hook(cl: Any, converter: cattrs.Converter) -> Hook:
    item, *rest = typing.get_args(cl)
    size = None if rest == [...] else 1 + len(rest)
    read = functools.partial(_read_list, read=converter.get_structure_hook(item), item=item, size=size)
    return _hook(read)


def _read_list(value: Any, read: Hook, item: Any, size: int | None) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise Wrong(f"{describe(value)} is not a list; write the values between [ and ]")
    if size is not None and len(value) != size:
        raise Wrong(f"holds {len(value)} where {size} are wanted, no more and no less")
    kept = together({place: functools.partial(read, each, item) for place, each in enumerate(value)})
    if len(set(kept.values())) < len(kept):
        raise Wrong("says the same value twice; write each once")
    return tuple(kept.values())


@functools.cache
def _part_hook(kind: Kind, detailed: bool) -> Hook:
    return _entry_hook(kind.entry, _converter(detailed), kind)


def _entry_hook(cl: Any, converter: cattrs.Converter, kind: Kind | None = None) -> Hook:
    """Return what reads one entry class: keys as in the file, quantities bounded, tolerance in context."""
    keys = fields_of(cl)
    changes: dict[str, Any] = {name: override(rename=NAME_KEY) for name in NAMED}
    for key, attribute in keys.items():
        reader = _reader(key, type_of(attribute, cl), kind)
        changes[attribute.name] = override(rename=key, struct_hook=_hook(reader) if reader else None)
    read = make_dict_structure_fn(cl, converter, _cattrs_forbid_extra_keys=True, **changes)

    def structure(value: Any, _: Any) -> Any:
        if cl is Fitted and isinstance(value, bool):
            value = _newly_fitted(value)
        given = mapping(value, _example(cl))
        entry = read(_with_tolerance(given, keys), cl)
        _check_limits(entry)
        return entry

    return structure


def _reader(key: str, cl: Any, kind: Kind | None) -> Callable[[Any], Any] | None:
    """Return what reads a key whose meaning does not follow from its type alone."""
    if key == "nets":
        return functools.partial(read_pins, kind=kind) if kind else _NETS[typing.get_origin(cl) is tuple]
    if (key in _BY_KEY and kind is None) or key in ("switches", "priors"):
        return _BY_KEY[key]
    if above_zero_only(key, cl) and cl in QUANTITIES and (key, kind and kind.name) != JUMPER:
        return functools.partial(above_zero, quantity_unit=QUANTITIES[cl])
    return None


_NETS: Mapping[bool, Callable[[Any], Any]] = {True: read_pair, False: read_poles}


def _positions(value: Any) -> dict[str, str]:
    table = mapping(value, '{ S1 = "open" }')
    read = functools.partial(word, allowed=POSITIONS, what="a position of a switch")
    return together({name: functools.partial(read, position) for name, position in table.items()})


def _priors(value: Any) -> dict[str, float]:
    return together({
        code: functools.partial(_prior, code, chance)
        for code, chance in mapping(value, "{ reversed = 0.01 }").items()
    })  # fmt: skip


def _prior(code: str, chance: Any) -> float:
    if code not in FAULT_CODES:
        raise Wrong(f"is not a fault{near(code, FAULT_CODES) or f'; write {one_of(FAULT_CODES)}'}")
    number = quantity(chance, "1")
    if number > 1:
        raise Wrong(f"{describe(chance)} is more than 1; write a probability such as 0.01")
    return number


def _voltages(value: Any) -> dict[str, float]:
    table = mapping(value, '{ fresh = "6.4 V", end_of_life = "4.4 V" }')
    return together({name: functools.partial(_named_voltage, name, each) for name, each in table.items()})


def _named_voltage(name: str, value: Any) -> float:
    check_name(name, "a voltage")
    return above_zero(value, "V")


def _newly_fitted(value: bool) -> dict[str, Any]:
    if value:
        return {}
    raise Wrong("false says nothing; leave the key out for a part that is not new")


def _hazards(value: Any) -> tuple[str, ...]:
    if value in ("none", "", False, ["none"], [""]):
        raise Wrong("says that there is none; write hazards = []")
    allowed = typing.get_args(Hazard)
    if not isinstance(value, list):
        raise Wrong(f"{describe(value)} is not a list; write the hazards between [ and ], [] for none")
    named = together({place: functools.partial(_hazard, each, allowed) for place, each in enumerate(value)})
    return tuple(dict.fromkeys(named.values()))


def _hazard(value: Any, allowed: Collection[str]) -> str:
    if isinstance(value, str) and value in allowed:
        return value
    found = f"{describe(value)} is not on the closed list of hazards"
    guess = near(value, allowed)
    raise Wrong(
        f"{found}{guess} Allowed are {one_of(allowed, 'and')}" if guess else f"{found}; write {one_of(allowed)}"
    )


def _ambient(value: Any) -> float:
    ambient = quantity(value, "degC")
    if not COLDEST_C <= ambient <= HOTTEST_C:
        raise Wrong(f"{describe(value)} is no bench; write the room's temperature, such as 23 degC")
    return ambient


_BY_KEY: Mapping[str, Callable[[Any], Any]] = {
    "ambient": _ambient,
    "hazards": _hazards,
    "model": said,
    "priors": _priors,
    "switches": _positions,
    "voltages": _voltages,
}


def _example(cl: Any) -> str:
    """Return what to write where a table is wanted, for the message."""
    if cl is Fitted:
        return '{ maker = "...", lot = "..." }, or true when neither is known'
    keys = fields_of(cl)
    needed = "".join(f"{key} = ..., " for key, attribute in keys.items() if attribute.default is attrs.NOTHING)
    if {"min", "max"} <= keys.keys():
        return "{ " + needed + 'min = "...", max = "..." }, or one of min and max'
    return "its keys between { and }"


def _with_tolerance(given: Mapping[str, Any], keys: Mapping[str, attrs.Attribute[Any]]) -> Mapping[str, Any]:
    """Return the table with its tolerance told the quantity it belongs to and that quantity's value."""
    if "tolerance" not in given or "tolerance" not in keys:
        return given
    key, unit = tolerance_unit(keys)
    try:
        nominal = quantity(given.get(key), unit)
    except Wrong:  # said where the value itself is read
        nominal = None
    return {**given, "tolerance": ToleranceOf(given["tolerance"], unit, nominal)}


def _check_limits(entry: Any) -> None:
    """Raise Wrong where a limit leaves nothing between its two sides, or says neither."""
    if isinstance(entry, Part) or not (hasattr(entry, "min") and hasattr(entry, "max")):
        return
    if entry.min is None and entry.max is None and not isinstance(entry, Isolation):
        raise Wrong('says neither min nor max; write at least one, such as max = "..."')
    if entry.min is not None and entry.max is not None and entry.min >= entry.max:
        found = "above" if entry.min > entry.max else "the same as"
        raise Wrong(f"min is {found} max, so that no reading could pass; set min below max")
