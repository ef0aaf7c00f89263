"""What may be wrong: the good board, every single fault of every part, and what the hand and the meter may do.

Each hypothesis carries its odds against the good board before any reading, and where they come from. No public
statistics of repairs were found; what guides and reported cases agree on is the order: the repairer's own work first,
then the part, then the chip. Faults are taken as independent, so the odds of two together are their product.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations, pairwise

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Clamp, Mosfet, part_of, pins
from benchcheck.circuit.faults import PartFault, possible_faults
from benchcheck.circuit.netlist import Netlist
from benchcheck.kinds.part import Part
from benchcheck.spec.board import Board

__all__ = [
    "GOOD", "OPERATOR_CODES", "UNNAMED", "Hypothesis", "against_usual", "hypotheses_of", "operator_hypotheses",
]  # fmt: skip

OPERATOR_CODES = (
    "probes-swapped", "leads-not-nulled", "lead-open", "tips-joined", "charged-gate", "residual-charge", "typed-1000",
)  # fmt: skip

_WORKMANSHIP = "common practice, from repair guides and reported cases: the repairer's own work comes first"
_PART = "common practice, from repair guides and reported cases: parts come after the work"
_CHIP = "common practice, from repair guides and reported cases: the chip comes last"
_OPERATOR = "common practice, no source: a few readings in a thousand are taken or written wrongly"
_REPLACED = "; twice that on a part fitted on this visit"
_SPEC = "the spec"

#: chance of each fault on a part: of one pin for joints, one pair for bridges and pins, one factor for decades.
_CHANCE: Mapping[str, tuple[float, str]] = {
    "missing-joint": (0.004, _WORKMANSHIP),
    "bridge": (0.002, _WORKMANSHIP),
    "reversed": (0.004, _WORKMANSHIP),
    "decade": (0.002, _WORKMANSHIP),
    "wrong-polarity-type": (0.002, _WORKMANSHIP),
    "swapped-pins": (0.001, _WORKMANSHIP),
    "open": (0.002, _PART),
    "short": (0.002, _PART),
    "dry": (0.002, _PART),
    "leaky": (0.001, _PART),
}
_BY_HAND = ("missing-joint", "bridge", "reversed", "decade", "wrong-polarity-type", "swapped-pins")
#: the order is common practice; no rates are published, so odds are no further apart than the order needs: readings
#: decide, and where they tell nothing a guess must not.
_REPLACED_FACTOR = 2.0
_CHIP_SHARE = 0.5
_OPERATOR_CHANCE: Mapping[str, float] = {
    "probes-swapped": 0.0005,
    "leads-not-nulled": 0.005,
    "lead-open": 0.001,
    "tips-joined": 0.001,
    "charged-gate": 0.002,
    "residual-charge": 0.0005,
    "typed-1000": 0.001,
}
_MOST_BRIDGES = 150
#: functions in which red and black make a difference, and that are typed as numbers.
_DRIVEN = (Function.OHMS, Function.LOW_POWER_OHMS, Function.DIODE)


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One thing that may be the case.

    `designator` is the part (or device of a chip), empty for bridges, the good board and the meter; `fault` the code
    with its particulars; `odds` against the good board before any reading, `origin` where they come from.
    `part_fault` edits the netlist; `check` is the reading an operator's slip concerns, empty for all of them;
    `also` what is wrong at the same time.
    """

    designator: str
    fault: str
    odds: float
    origin: str = ""
    part_fault: PartFault | None = None
    check: str = ""
    also: tuple[Hypothesis, ...] = ()

    @property
    def part_faults(self) -> tuple[PartFault, ...]:
        """What the hypothesis does to the netlist, the faults that come with it included."""
        own = () if self.part_fault is None else (self.part_fault,)
        return (*own, *(fault for other in self.also for fault in other.part_faults))

    @property
    def code(self) -> str:
        """The fixed code of the fault, "good" for none."""
        return self.fault.split()[0]

    @property
    def without_paths(self) -> Hypothesis:
        """What is wrong with parts and hands, whether or not paths that the spec does not name lie beside it."""
        return replace(self, also=tuple(one for one in self.also if one != UNNAMED))

    def __str__(self) -> str:
        """Return the hypothesis as `--fault` takes it."""
        own = " ".join(word for word in (self.designator, self.fault, self.check) if word)
        return " and ".join((own, *map(str, self.also)))


GOOD = Hypothesis("", "good", 1.0, "what all others are held against")
UNNAMED = Hypothesis(
    "",
    "paths the spec does not name",
    0.1,
    "common practice, no source: parts without a model draw current unpowered",
)


def hypotheses_of(board: Board, netlist: Netlist) -> tuple[Hypothesis, ...]:
    """Return the good board, then every fault of a part or joint and every bridge.

    Bridges are those of nets that meet on one part of three pins or more, and of the isolation pairs of the spec.
    """
    faults = possible_faults(netlist, bridges=_bridges(board, netlist))
    found = [_of_part(board, netlist, fault) for fault in faults]
    return (GOOD, *found, *_unmodelled(board, netlist))


def _of_part(board: Board, netlist: Netlist, fault: PartFault) -> Hypothesis:
    name = part_of(fault.designator)
    part = board.parts.get(name)
    chance, origin = _chance(fault, part, board)
    if fault.designator and isinstance(netlist.device(fault.designator), Clamp):
        chance, origin = chance * _CHIP_SHARE, origin if origin == _SPEC else _CHIP
    if fault.code == "missing-joint" and origin != _SPEC:
        chance /= max(len(pins(netlist.device(fault.designator))), 1) / 2.0
    fault_words = str(fault).removeprefix(fault.designator).strip()
    return Hypothesis(fault.designator, fault_words, _odds(chance), origin, fault)


def _odds(chance: float) -> float:
    kept = min(max(chance, 1e-9), 0.999)
    return kept / (1.0 - kept)


def _chance(fault: PartFault, part: Part | None, board: Board) -> tuple[float, str]:
    if part is not None and fault.code in part.priors:
        return part.priors[fault.code], _SPEC
    chance, origin = _CHANCE[fault.code]
    touched = [part] if part is not None else _touched(board, fault.where)
    if fault.code in _BY_HAND and any(each.fitted is not None for each in touched):
        return chance * _REPLACED_FACTOR, origin + _REPLACED
    return chance, origin


def against_usual(part: Part, code: str) -> tuple[float, str]:
    """Return how many times likelier than on any part of its kind a fault of this one is, and why ("": it is not)."""
    if code in part.priors:
        return _odds(part.priors[code]) / _odds(_CHANCE[code][0]), f"; its chance is from {_SPEC}"
    raised = code in _BY_HAND and part.fitted is not None
    return (_REPLACED_FACTOR, _REPLACED) if raised else (1.0, "")


def _touched(board: Board, nets: tuple[str, ...]) -> list[Part]:
    """Return the parts that have both bridged nets on them: the splash is most likely where one was fitted."""
    return [part for part in board.parts.values() if set(nets) <= set(part.pins.values())]


def _bridges(board: Board, netlist: Netlist) -> tuple[tuple[str, str], ...]:
    pairs: dict[frozenset[str], tuple[str, str]] = {}
    declared = [isolation.nets for isolation in board.isolations]
    for pair in (*declared, *_meeting(board)):
        if len(set(pair)) == 2 and all(net in netlist.pins_on for net in pair):
            pairs.setdefault(frozenset(pair), (pair[0], pair[1]))
    return tuple(pairs.values())


def _meeting(board: Board) -> Iterator[tuple[str, str]]:
    """Yield nets side by side on a part of three pins or more; all pairs of a small one, else those in pin order."""
    many = [tuple(dict.fromkeys(part.pins.values())) for part in board.parts.values()]
    many = [nets for nets in many if len(nets) > 2]
    for nets in many:
        yield from pairwise(nets)
    every = [pair for nets in many for pair in combinations(nets, 2)]
    if len(every) <= _MOST_BRIDGES:
        yield from every


def _unmodelled(board: Board, netlist: Netlist) -> Iterator[Hypothesis]:
    """Yield what a part without a circuit model may do: be open (which nothing shows unpowered) or joined inside."""
    modelled = {part_of(device.designator) for device in netlist.devices}
    for name, part in board.parts.items():
        nets = tuple(part.pins.values())[:2]
        if name in modelled or len(set(nets)) < 2 or part.kind in ("crystal", "battery"):
            continue
        for code in ("open", "short"):
            chance = part.priors.get(code)
            origin = _SPEC if chance is not None else _CHIP
            odds = _odds(chance if chance is not None else _CHANCE[code][0] * _CHIP_SHARE)
            joined = code == "short" and all(net in netlist.pins_on for net in nets)
            yield Hypothesis(name, code, odds, origin, PartFault("bridge", where=nets) if joined else None)


def operator_hypotheses(readings: Iterable[tuple[str, Function]], netlist: Netlist) -> tuple[Hypothesis, ...]:
    """Return what the hand and the meter may have done: to all readings, and to each of these (check, function)."""
    found = [_operator(code) for code in ("leads-not-nulled", "probes-swapped", "lead-open", "tips-joined")]
    if any(isinstance(device, Mosfet) for device in netlist.devices):
        found.append(_operator("charged-gate"))
    for check, function in readings:
        if function in _DRIVEN:
            found.append(_operator("probes-swapped", check))
            if function is not Function.DIODE:
                found.append(_operator("residual-charge", check))
        found.append(_operator("typed-1000", check))
    return tuple(found)


def _operator(code: str, check: str = "") -> Hypothesis:
    return Hypothesis("", code, _odds(_OPERATOR_CHANCE[code]), _OPERATOR, check=check)
