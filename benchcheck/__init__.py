"""benchcheck: proof, with the meter you own, that a repaired low-voltage board is right.

The names below are handed on when first used, so that importing the package costs nothing.

>>> import benchcheck
>>> benchcheck.parse_value("4k7", "ohm")
4700.0
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchcheck.bench.load import load_bench as load_bench
    from benchcheck.bench.model import Bench as Bench
    from benchcheck.builtin import load_spec as load_spec
    from benchcheck.errors import BenchcheckError as BenchcheckError
    from benchcheck.errors import InputError as InputError
    from benchcheck.kinds.check import Check as Check
    from benchcheck.metrology import Budget as Budget
    from benchcheck.metrology import Contribution as Contribution
    from benchcheck.metrology import DecisionRule as DecisionRule
    from benchcheck.metrology import ToleranceInterval as ToleranceInterval
    from benchcheck.metrology import Verdict as Verdict
    from benchcheck.metrology import assess as assess
    from benchcheck.quantity import Display as Display
    from benchcheck.quantity import parse_display as parse_display
    from benchcheck.quantity import parse_tolerance as parse_tolerance
    from benchcheck.quantity import parse_value as parse_value
    from benchcheck.readings.reading import Reading as Reading
    from benchcheck.record.store import Record as Record
    from benchcheck.record.store import read_record as read_record
    from benchcheck.score.judge import judge as judge
    from benchcheck.score.model import Score as Score
    from benchcheck.spec.board import Board as Board

__version__ = "0.1.0"

_HOME = {
    "Bench": "bench.model",
    "BenchcheckError": "errors",
    "Board": "spec.board",
    "Budget": "metrology",
    "Check": "kinds.check",
    "Contribution": "metrology",
    "DecisionRule": "metrology",
    "Display": "quantity",
    "InputError": "errors",
    "Reading": "readings.reading",
    "Record": "record.store",
    "Score": "score.model",
    "ToleranceInterval": "metrology",
    "Verdict": "metrology",
    "assess": "metrology",
    "judge": "score.judge",
    "load_bench": "bench.load",
    "load_spec": "builtin",
    "parse_display": "quantity",
    "parse_tolerance": "quantity",
    "parse_value": "quantity",
    "read_record": "record.store",
}

__all__ = [
    "Bench",
    "BenchcheckError",
    "Board",
    "Budget",
    "Check",
    "Contribution",
    "DecisionRule",
    "Display",
    "InputError",
    "Reading",
    "Record",
    "Score",
    "ToleranceInterval",
    "Verdict",
    "assess",
    "judge",
    "load_bench",
    "load_spec",
    "parse_display",
    "parse_tolerance",
    "parse_value",
    "read_record",
]


def __getattr__(name: str) -> object:
    """Return a public name, importing the module it lives in."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """Return the public names."""
    return __all__
