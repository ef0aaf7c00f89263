"""Small boards and checks for tests that need no spec file; everything in them is invented."""

from __future__ import annotations

from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Limits, Phase, Probe
from benchcheck.quantity import parse_display
from benchcheck.readings.reading import Origin, Reading
from benchcheck.spec.board import Board


def check(identity: str, function: Function = Function.OHMS, phase: Phase = Phase.PARTS, **changes: Any) -> Check:
    """A check with limits 4.6 kohm to 4.8 kohm unless told otherwise."""
    subject, _, rest = identity.partition(".")
    measurand, _, bracket = rest.partition("[")
    given: dict[str, Any] = {
        "quantity_unit": function.quantity_unit,
        "limits": Limits(4600.0, 4800.0, "the spec"),
        "red": Probe(f"{subject} lead 1", "FB"),
        "black": Probe(f"{subject} lead 2", "GND"),
        "bracket": bracket.removesuffix("]"),
        "why": "because",
    }
    return Check(identity, subject, measurand, function, phase=phase, **{**given, **changes})


def voltage(identity: str, phase: Phase, lower: float | None, upper: float | None, **changes: Any) -> Check:
    return check(identity, Function.DC_VOLTAGE, phase, limits=Limits(lower, upper, "the spec"), **changes)


def board(*checks: Check, **changes: Any) -> Board:
    given: dict[str, Any] = {
        "name": "specs/test.toml",
        "digest": "0" * 64,
        "source": "benchcheck = 1\n",
        "model": "Ellwick T-1 test board",
        "revision": "A",
        "ambient_c": 23.0,
        "hazards": (),
        "nets": {},
        "supplies": {},
        "rails": {},
        "parts": {},
        "checks": checks,
        "by_id": {one.id: one for one in checks},
    }
    return Board(**{**given, **changes})


def reading(of: Check, text: str, **changes: Any) -> Reading:
    given: dict[str, Any] = {"display": parse_display(text, of.quantity_unit), "origin": Origin.TYPED}
    return Reading(of.id, quantity_unit=of.quantity_unit, **{**given, **changes})


def bench(meter_class: str = "handheld-6000") -> Bench:
    """A bench with one meter of a shipped class, leads nulled."""
    text = f'benchcheck_bench = 1\n[meter.dmm]\nclass = "{meter_class}"\nleads = {{ nulled = true }}\n'
    return load_bench(parse_document(text, "bench.toml"))
