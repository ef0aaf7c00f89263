"""A small invented board, a bench and finished visits to it, for kits to try things on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.document import dump, parse_document
from benchcheck.kinds.catalogue import KINDS
from benchcheck.kinds.check import Check
from benchcheck.kinds.part import Kind
from benchcheck.record.record import Record
from benchcheck.record.store import read_record
from benchcheck.score.model import Score
from benchcheck.session.run import Conduct, Request
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

__all__ = ["READINGS", "require", "sample_bench", "sample_board", "sample_record"]

_BOARD: Mapping[str, Any] = {
    "benchcheck": 1,
    "board": {"model": "Fennick L-2 lamp dimmer", "revision": "A", "hazards": []},
    "supply": {
        "VIN": {
            "nets": {"plus": "VIN", "minus": "GND"},
            "voltage": "12 V",
            "current_limit": "500 mA",
            "idle_current": {"max": "20 mA"},
            "input_capacitance": "100 uF",
        }
    },
    "part": {
        "R1": {"kind": "resistor", "value": "4k7", "tolerance": "1 %", "nets": ["VIN", "OUT"]},
        "D1": {"kind": "diode", "nets": {"anode": "OUT", "cathode": "LMP"}},
        "C1": {
            "kind": "electrolytic",
            "value": "100 uF",
            "rated_voltage": "25 V",
            "nets": {"plus": "VIN", "minus": "GND"},
        },
    },
    "rail": {"OUT": {"nets": {"plus": "OUT", "minus": "GND"}, "voltage": "5 V", "tolerance": "4 %"}},
}
_BENCH = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "handheld-6000"\n'
#: readings of a good unit, as a file has them; some checks are left out.
READINGS = """\
check,reading
R1.resistance,4.68k
D1.forward_drop,0.58
D1.reverse,OL
VIN.residual_voltage,0.01
C1.residual_voltage,0.00
OUT.residual_voltage,0.00
"""


def require(condition: object, words: str) -> None:
    """Raise AssertionError with words unless the condition holds; plain `assert` would not survive -O."""
    if not condition:
        raise AssertionError(words)


def sample_board(part: Mapping[str, Any] | None = None, kind: Kind | None = None, name: str = "X1") -> Board:
    """Return the sample board, with one more part of a kind of one's own where they are given."""
    data: dict[str, Any] = {key: value for key, value in _BOARD.items() if key != "part"}
    data["part"] = {**_BOARD["part"], **({name: dict(part)} if part is not None else {})}
    kinds: Iterable[Kind] = KINDS
    if kind is not None:
        kinds = (*(one for one in KINDS if one.name != kind.name), kind)
    return load_board(parse_document(dump(data), "sample.toml"), kinds)


def sample_bench() -> Bench:
    """Return a bench with one handheld meter."""
    return load_bench(parse_document(_BENCH, "bench.toml"))


def sample_record(folder: Path, unit: str = "L-2 no. 7", readings: str = READINGS) -> Record:
    """Return the record of a finished visit to the sample board, written under a folder."""
    bench, file = folder / "bench.toml", folder / "readings.csv"
    bench.write_text(_BENCH, encoding="utf-8")
    file.write_text(readings, encoding="utf-8")
    board = sample_board()
    request = Request(unit=unit, bench=str(bench), readings=file, records=folder / "records")
    report = Conduct(request, _Unwatched(), _nobody).run(board, tuple(check.id for check in board.checks))
    return read_record(report.record)


class _Unwatched:
    def scored(self, check: Check, score: Score, place: int, total: int) -> None:
        """Nobody looks."""

    def undone(self, check: Check | None) -> None:
        """Nobody looks."""


def _nobody(bench: Bench) -> Any:
    raise AssertionError("a file of readings answers everything")
