"""From a bench file to a bench: every fault of the file at once, or a bench that holds together.

Each table is structured on its own, so that a fault in one meter does not hide those of the next; what only
shows between tables (a class that does not exist, `use` of a meter without the function) comes after.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

import attrs

from benchcheck.bench.decision import decision_rule
from benchcheck.bench.entries import (
    READBACK,
    DecisionEntry,
    LinkEntry,
    LoadEntry,
    MeterEntry,
    RangeEntry,
    SupplyEntry,
    bench_converter,
    class_names,
)
from benchcheck.bench.faults import Faults, KeyPath
from benchcheck.bench.functions import Function
from benchcheck.bench.meter import CAPACITANCE_BY, Leads, Link, Meter, MeterRange, charging
from benchcheck.bench.model import Bench, Ceiling, Load, Supply
from benchcheck.bench.shipped import MeterClass, built_leads, built_range, meter_class
from benchcheck.document import Document, read_document
from benchcheck.errors import BenchError, MetrologyError, close_match
from benchcheck.metrology import DecisionRule

__all__ = ["load_bench"]

_FORMAT = 1
_TABLES = ("meter", "supply", "load")
_KEYS = ("benchcheck_bench", "decision", *_TABLES, "use")
#: more of one touch-down tell nothing more: what a hand changes between touch-downs is larger by then
MOST_READINGS = 100
_NAME = re.compile(r"[A-Za-z0-9_+\-./]{1,60}")
Entry = TypeVar("Entry")


def load_bench(source: Path | str | Document) -> Bench:
    """Return the bench a file (path) or an already read document describes.

    Raises BenchError with every fault: file and line, key path, what was found, what is allowed.
    """
    document = source if isinstance(source, Document) else read_document(Path(source), error=BenchError)
    return _Loader(document).bench()


class _Loader:
    """One document on its way to a bench; faults are kept until the whole file is seen."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.faults = Faults(document)
        self.names: dict[str, str] = {}

    def bench(self) -> Bench:
        data = self.document.data
        self.top(data)
        rule = self.decision(data.get("decision", {}))
        meters = {name: self.meter(name, entry) for name, entry in self.tables("meter", MeterEntry)}
        supplies = {name: self.supply(name, entry) for name, entry in self.tables("supply", SupplyEntry)}
        loads = {name: self.load(name, entry) for name, entry in self.tables("load", LoadEntry)}
        bench = Bench(self.document.name, rule, meters, supplies, loads, {}, self.document.text, self.document.digest)
        use = self.use(bench)
        self.faults.raise_any()
        return Bench(bench.name, rule, meters, supplies, loads, use, self.document.text, self.document.digest)

    def decision(self, table: Any) -> DecisionRule:
        """Return the decision rule; the usual one, with a fault kept, where the figures make none."""
        try:
            return decision_rule(self.structured(DecisionEntry, table, ("decision",)))
        except MetrologyError as error:
            self.faults.add(("decision",), str(error))
            return decision_rule(None)

    def top(self, data: dict[str, Any]) -> None:
        for key in data:
            if key not in _KEYS:
                known = ", ".join(_KEYS)
                self.faults.add((key,), f"is not a key here; allowed are {known}{close_match(key, _KEYS)}")
        version = data.get("benchcheck_bench")
        if version is None:
            self.faults.add((), f'the key "benchcheck_bench" is missing; write benchcheck_bench = {_FORMAT}')
        elif type(version) is not int or version != _FORMAT:
            self.faults.add(("benchcheck_bench",), f"{version!r} is not a format read here; write {_FORMAT}")

    def structured(self, kind: type[Entry], raw: Any, path: KeyPath) -> Entry | None:
        """Return the entry a table holds, or None with its faults kept."""
        with contextlib.suppress(Exception):  # whatever it is, the other converter says all of it
            return bench_converter(detailed=False).structure(raw, kind)
        try:
            return bench_converter().structure(raw, kind)
        except Exception as error:  # (cattrs raises groups of whatever the hooks raise)
            self.faults.take(error, path)
            return None

    def tables(self, kind: str, entry: type[Entry]) -> list[tuple[str, Entry]]:
        """Return (name, entry) of every sound table under `kind`; their names are checked against all others."""
        raw = self.document.data.get(kind, {})
        if not isinstance(raw, dict):
            self.faults.add((kind,), f"{raw!r} is not a table; write [{kind}.NAME]")
            return []
        found = []
        for name, table in raw.items():
            self.name(kind, name)
            plain = table | {"range": []} if isinstance(table, dict) and "range" in table else table
            structured = self.structured(entry, plain, (kind, name))
            if structured is not None:
                found.append((name, structured))
            elif isinstance(table, dict):
                self.ranges_anyway((kind, name), table)
        return found

    def ranges_anyway(self, path: KeyPath, table: dict[str, Any]) -> None:
        """Keep the faults in the ranges of an instrument whose own keys are at fault already."""
        if table.get("class") in class_names():
            self.ranges(meter_class(table["class"]), path)
        else:
            for _ in self.range_entries(path):
                pass

    def name(self, kind: str, name: str) -> None:
        if not _NAME.fullmatch(name):
            self.faults.add((kind, name), "is not a name; use up to 60 letters, digits and _ + - . /")
        other = self.names.setdefault(name.casefold(), f"{kind}.{name}")
        if other != f"{kind}.{name}":
            self.faults.add((kind, name), f"is the name of {other} already; every instrument needs its own")

    def meter(self, name: str, entry: MeterEntry) -> Meter:
        path = ("meter", name)
        shipped = meter_class(entry.class_name) if entry.class_name else None
        ranges = self.ranges(shipped, path)
        if shipped is None and "range" not in self.document.data["meter"][name]:
            self.faults.add(path, f'has neither "class" nor a range; classes are {", ".join(class_names())}')
        if not 1 <= entry.readings <= MOST_READINGS:
            self.faults.add(
                (*path, "readings"), f"{entry.readings} is not a number of readings; 1 to {MOST_READINGS} are"
            )
        leads = shipped.leads if shipped else Leads()
        by = entry.capacitance_by or CAPACITANCE_BY[0]
        if by == "ramp":
            ranges = tuple(charging(one) if one.function is Function.CAPACITANCE else one for one in ranges)
        return Meter(
            name=name,
            class_name=entry.class_name,
            ranges=ranges,
            leads=built_leads(entry.leads, leads) if entry.leads else leads,
            calibration_due=entry.calibration_due,
            link=self.link(entry.link),
            readings=entry.readings,
            capacitance_by=by,
        )

    def range_entries(self, path: KeyPath) -> Iterator[tuple[KeyPath, RangeEntry]]:
        """Yield the sound ranges of an instrument, each with its key path."""
        kind, name = path
        raw = self.document.data[str(kind)][name].get("range", [])
        if not isinstance(raw, list):
            self.faults.add((*path, "range"), f"is not a list of ranges; write [[{kind}.{name}.range]]")
            return
        for place, table in enumerate(raw):
            at = (*path, "range", place)
            entry = self.structured(RangeEntry, table, at)
            if entry is not None:
                yield at, entry

    def ranges(self, shipped: MeterClass | None, path: KeyPath) -> tuple[MeterRange, ...]:
        """Return the class' ranges with each entry laid over the line of its full scale, or added."""
        merged = {_identity(each): each for each in shipped.ranges} if shipped else {}
        given: set[tuple[Function, str]] = set()
        for at, entry in self.range_entries(path):
            key = (entry.function, f"{entry.full_scale:.9g}")
            if key in given:
                self.faults.add(at, "gives a range a second time; keep one line per function and full scale")
            given.add(key)
            base = merged.get(key)
            if self.complete(entry, base, at):
                merged[key] = built_range(entry, base)
                self.sound(merged[key], at)
        order = list(Function)
        return tuple(sorted(merged.values(), key=lambda each: (order.index(each.function), each.full_scale)))

    def complete(self, entry: RangeEntry, base: MeterRange | None, at: KeyPath) -> bool:
        missing = [key for key in ("resolution", "accuracy") if base is None and getattr(entry, key) is None]
        for key in missing:
            self.faults.add(at, f'the key "{key}" is missing; the class has no such range to take it from')
        return not missing

    def sound(self, built: MeterRange, at: KeyPath) -> None:
        """Keep what is wrong with a range as a whole."""
        if not built.resolution < built.full_scale:
            self.faults.add((*at, "resolution"), "is not finer than full scale; write the worth of one digit")
        if built.half_width(built.full_scale) >= built.full_scale:
            self.faults.add((*at, "accuracy"), "is wider than the range itself; one count is one digit")
        if built.half_width(built.full_scale) == 0:
            self.faults.add((*at, "accuracy"), "promises no error at all; no meter does")
        if built.beeps_ohm is not None and built.function is not Function.CONTINUITY:
            self.faults.add((*at, "beeps"), 'belongs to function "continuity" only')

    def supply(self, name: str, entry: SupplyEntry) -> Supply:
        ceiling = Ceiling(entry.ceiling.voltage, entry.ceiling.current)
        return Supply(name, ceiling, self.readback("supply", name, entry), entry.channel, self.link(entry.link))

    def load(self, name: str, entry: LoadEntry) -> Load:
        ceiling = Ceiling(entry.ceiling.voltage, entry.ceiling.current) if entry.ceiling else None
        return Load(name, self.readback("load", name, entry), ceiling, entry.channel, self.link(entry.link))

    def link(self, entry: LinkEntry | None) -> Link | None:
        """Return how an instrument is reached; a path in it is one from the folder of the bench file."""
        if entry is None:
            return None
        settings = {
            ("timeout_s" if field.name == "timeout" else field.name): getattr(entry, field.name)
            for field in attrs.fields(LinkEntry)
            if field.name not in ("resource", "dialect", "dialect_file") and getattr(entry, field.name) is not None
        }
        file = str(Path(self.document.name).parent / entry.dialect_file) if entry.dialect_file else ""
        return Link(entry.resource, entry.dialect, settings, file)

    def readback(self, kind: str, name: str, entry: SupplyEntry | LoadEntry) -> Meter:
        shipped = meter_class(READBACK)
        own = "range" in self.document.data[kind][name]
        ranges = self.ranges(None if own else shipped, (kind, name))
        return Meter(name, shipped.name, ranges, shipped.leads, entry.calibration_due, self.link(entry.link))

    def use(self, bench: Bench) -> dict[Function, str]:
        raw = self.document.data.get("use", {})
        if not isinstance(raw, dict):
            self.faults.add(("use",), f"{raw!r} is not a table; write [use]")
            return {}
        found: dict[Function, str] = {}
        for key, name in raw.items():
            function = self.structured(Function, key, ("use", key))
            named = self.structured(str, name, ("use", key))
            if function is not None and named is not None and self.usable(bench, function, named):
                found[function] = named
        return found

    def usable(self, bench: Bench, function: Function, name: str) -> bool:
        instrument = bench.instrument(name)
        at = ("use", function.value)
        if instrument is None and name.casefold() not in self.names:
            near = close_match(name, self.names)
            known = ", ".join(self.names) or "none"
            self.faults.add(at, f'"{name}" is no instrument of this bench; there are {known}{near}')
        elif instrument is not None and not instrument.ranges_of(function):
            has = ", ".join(instrument.functions)
            self.faults.add(at, f'"{name}" does not measure {function}; it measures {has}')
        return instrument is not None


def _identity(built: MeterRange) -> tuple[Function, str]:
    return built.function, f"{built.full_scale:.9g}"
