"""The meter classes we ship: data files beside this module, every figure common practice and overridable.

A class file groups ranges by function and states what they share once; merged, each line reads like a
`[[meter.NAME.range]]` of a bench file, and is structured by the same converter.
"""

from __future__ import annotations

import functools
from typing import Any

from benchcheck.bench.accuracy import Accuracy
from benchcheck.bench.entries import CLASS_FOLDER, LeadsEntry, RangeEntry, bench_converter
from benchcheck.bench.meter import Leads, MeterRange
from benchcheck.document import read_document
from benchcheck.errors import BenchError

__all__ = ["MeterClass", "built_leads", "built_range", "meter_class"]


class MeterClass:
    """A shipped class: `ranges` in file order, `leads`, a `summary` for people and the figures' `origin`."""

    def __init__(self, name: str, data: dict[str, Any]) -> None:
        converter = bench_converter(detailed=False)
        shared, per_function = data["defaults"], data.get("function", {})
        self.name = name
        self.summary = str(data["summary"])
        self.origin = str(data["origin"])
        self.leads = built_leads(converter.structure(data["leads"], LeadsEntry))
        self.ranges = tuple(
            built_range(
                converter.structure(
                    shared | per_function.get(function, {}) | line | {"function": function}, RangeEntry
                )
            )
            for function, lines in data["ranges"].items()
            for line in lines
        )


@functools.cache
def meter_class(name: str) -> MeterClass:
    """Return a shipped class by name; the read-back of supplies and loads is called "readback"."""
    return MeterClass(name, read_document(CLASS_FOLDER / f"{name}.toml", error=BenchError).data)


def built_range(entry: RangeEntry, base: MeterRange | None = None) -> MeterRange:
    """Return the range an entry describes; what it leaves out comes from `base`, the class' own line.

    Without a base, `resolution` and `accuracy` must be there: the caller has checked that.
    """
    if base is None:
        assert entry.resolution is not None
        base = MeterRange(entry.function, entry.full_scale, entry.resolution, entry.accuracy or Accuracy())

    def chosen(value: Any, other: Any) -> Any:
        return other if value is None else value

    return MeterRange(
        function=entry.function,
        full_scale=entry.full_scale,
        resolution=chosen(entry.resolution, base.resolution),
        accuracy=chosen(entry.accuracy, base.accuracy),
        coverage=chosen(entry.coverage, base.coverage),
        temperature=chosen(entry.temperature, base.temperature),
        over_range=chosen(entry.over_range, base.over_range),
        test_current_a=chosen(entry.test_current, base.test_current_a),
        compliance_v=chosen(entry.compliance, base.compliance_v),
        frequency_hz=chosen(entry.frequency, base.frequency_hz),
        input_resistance_ohm=chosen(entry.input_resistance, base.input_resistance_ohm),
        beeps_ohm=chosen(entry.beeps, base.beeps_ohm),
        settle_s=chosen(entry.settle, base.settle_s),
    )


def built_leads(entry: LeadsEntry, base: Leads | None = None) -> Leads:
    """Return the leads an entry describes; a resistance given without limits is taken as within a quarter."""
    base = base or Leads()
    resistance = base.resistance_ohm if entry.resistance is None else entry.resistance
    limits = base.limits_ohm if entry.resistance is None else max(resistance / 4, 0.05)
    return Leads(
        resistance_ohm=resistance,
        limits_ohm=limits if entry.limits is None else entry.limits,
        nulled=entry.nulled,
        residual_ohm=base.residual_ohm if entry.residual is None else entry.residual,
    )
