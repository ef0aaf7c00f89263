"""The dictionary of a board on a bench as plain arrays, so that it can be kept and need not be worked out again.

What it is called by is everything it depends on but the program itself, which whoever keeps it has to answer for.
Groups are kept with it. What comes back is, to the last bit, what was put away.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from benchcheck.bench.model import Bench
from benchcheck.circuit.items import Outcome
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.settled import Settled
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.predicted import Positions, Predictions
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.strays import Strays
from benchcheck.spec.board import Board

__all__ = ["Arrays", "Shelf", "called", "packed", "unpacked"]

Arrays = Mapping[str, NDArray[Any]]

#: the arrays of predictions that are kept as they are.
_PLAIN = ("mean", "latent", "held", "known", "good", "slopes", "entry", "own", "bent", "by_lead")
_OURS = "benchcheck."
_HEAD, _GROUPS, _SETTLED, _PROBES = "head", "groups", "settled", "probes"


class Shelf(Protocol):
    """Where dictionaries are kept."""

    def taken(self, name: str) -> Arrays | None:
        """Return what was put away under a name, None where nothing was or it is damaged."""

    def put(self, name: str, arrays: Arrays) -> None:
        """Put arrays away under a name, or do nothing where that cannot be done."""


def called(
    board: Board, bench: Bench, netlist: Netlist, hypotheses: Sequence[Hypothesis], shots: Sequence[Shot],
    ambient_c: float, by_eye: Collection[str],
) -> str:  # fmt: skip
    """Return the name of a dictionary: a digest of all it is worked out from, parts' spreads among it.

    It is "" for a board with a part whose kind a plugin brought: nothing tells one version of that from another.
    """
    if not all(type(part).__module__.startswith(_OURS) for part in board.parts.values()):
        return ""
    of_parts = [(name, getattr(p, "spread", None), getattr(p, "value", None)) for name, p in board.parts.items()]
    meters = bench.meters, bench.use, bench.supplies, bench.loads
    given = board.digest, meters, netlist.devices, hypotheses, shots, board.parts, of_parts, ambient_c, sorted(by_eye)
    return hashlib.sha256(repr(given).encode()).hexdigest()


def packed(predictions: Predictions, groups: Sequence[int]) -> dict[str, NDArray[Any]]:
    """Return predictions and groups as arrays of plain numbers."""
    arrays: dict[str, NDArray[Any]] = {name: getattr(predictions, name) for name in _PLAIN}
    arrays[_GROUPS] = np.array(groups, np.intp)
    boards = []
    for at, (switches, settled) in enumerate(predictions.settled.items()):
        boards.append([switches, settled.row_of, settled.layout])
        arrays |= {f"{_SETTLED}{at}.{name}": getattr(settled.outcome, name) for name in Outcome.__slots__}
        probes = [(*key, place) for key, place in settled.places.items()]
        arrays[f"{_SETTLED}{at}.{_PROBES}"] = np.array(probes, float).reshape(-1, 5)
    head = json.dumps({"strays": predictions.strays.keys, "settled": boards})
    arrays[_HEAD] = np.frombuffer(head.encode(), np.uint8)
    return arrays


def unpacked(
    arrays: Arrays, board: Board, netlist: Netlist, shots: Sequence[Shot]
) -> tuple[Predictions, tuple[int, ...]]:
    """Return the predictions and groups of a board's shots that were packed.

    Raises KeyError, TypeError or ValueError where the arrays are no such thing.
    """
    head = json.loads(arrays[_HEAD].tobytes().decode())
    strays = Strays(board, netlist, [(designator, what, number) for designator, what, number in head["strays"]])
    settled = dict(_settled(arrays, at, *each) for at, each in enumerate(head["settled"]))
    mean, latent, held, known, good, slopes, entry, own, bent, by_lead = (arrays[name] for name in _PLAIN)
    groups = tuple(arrays[_GROUPS].tolist())
    if mean.shape != (len(groups), len(shots)):
        raise ValueError(f"{mean.shape} are not readings of {len(groups)} hypotheses and {len(shots)} shots")
    return Predictions(
        tuple(shots), mean, latent, held, known, good, slopes, entry, own, bent, by_lead, strays, settled
    ), groups


def _settled(
    arrays: Arrays, at: int, switches: list[list[str]], row_of: dict[str, int], layout: list[Any]
) -> tuple[Positions, Settled]:
    """Return the positions of switches and where a board settled with them."""
    outcome = Outcome(*(arrays[f"{_SETTLED}{at}.{name}"] for name in Outcome.__slots__))
    probes = arrays[f"{_SETTLED}{at}.{_PROBES}"].tolist()
    places = {(int(red), int(black), ampere, volt): int(place) for red, black, ampere, volt, place in probes}
    devices = tuple((designator, tuple(rows)) for designator, rows in layout)
    return tuple((name, state) for name, state in switches), Settled(outcome, places, row_of, devices)
