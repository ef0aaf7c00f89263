"""What readings under power say for and against a fault: a few signatures, and how rarely a good board gives them.

A current above its limit is a path that should not be there; a rail at nothing is shorted or not fed; a rail one
diode drop below its input is a converter that does not switch; a rail too high has lost its feedback. A good board
gives none of them, unless the reading was taken wrongly. The factors are common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.circuit.devices import part_of
from benchcheck.diagnosis.evidence import Evidence
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.kinds.check import Check
from benchcheck.spec.board import Board

__all__ = [
    "UNDER_POWER",
    "Sign",
    "feeding",
    "only_under_power",
    "signs_under_power",
    "under_power",
    "ways_under_power",
]

Floats = NDArray[np.float64]

#: how often a reading under power is out of its limits by a slip alone, and each further one that says the same.
_BY_A_SLIP, _AGAIN, _LEAST = math.log(0.001), math.log(0.2), math.log(1e-5)
_AGAINST = math.log(0.2)
_JOINING = ("short", "bridge", "leaky", "reversed")
_PARTING = ("open", "missing-joint", "reversed", "wrong-polarity-type", "swapped-pins")
_SETTING = ("decade", "short", "leaky", "dry", "bridge")
#: what a diode takes between the input and the output of a converter that stands still, in volt (common practice).
_DROP_V = (0.1, 1.0)
#: two nets are at one voltage that are no further apart, as a share of it.
_ONE_V = 0.15
_NOTHING = 0.1  # of the nominal voltage, and of the largest idle current
#: what passes a supply on, or makes one of it: where such a part fails inside, nothing may show it without power.
_CHIPS = ("ic", "regulator")
_TRANSISTORS = ("bjt", "mosfet")
#: what direct current does not pass.
_BLOCKING = ("capacitor", "electrolytic", "tantalum", "crystal")
UNDER_POWER = "a fault that shows under power alone"
_DEAD = "common practice, no source: what no reading without power shows, a chip first"
_CHIP_ODDS = 0.002
_SEEN_ODDS, _UNSEEN_ODDS = 0.0003, 0.005
_ALONG = (
    "with the power up as it was for {rail}, volts to ground along the way to it, {way}: between the last net that "
    "is right and the first that is not, something does not pass it on or loads it down"
)
_AT_REST = (
    "power off and no charge left, ohms to ground at {nets}, against what the spec asks; where none is low, a chip "
    "draws the current: lift its supply lead and look again"
)


@dataclass(frozen=True, slots=True)
class Sign:
    """What a powered reading says: `subject` a rail or supply, `words` for people.

    Faults of one of `parting` that are of `parts`, and of one of `joining` that touch `nets`, explain it. A sign that
    `convicts` no good board gives; any other speaks against such faults. With a `ground` a part joins only where it
    has a lead on it, or is a transistor: what lies along a way draws nothing from it.
    """

    subject: str
    words: str
    convicts: bool = True
    parts: frozenset[str] = frozenset()
    parting: tuple[str, ...] = _PARTING
    nets: frozenset[str] = frozenset()
    joining: tuple[str, ...] = _JOINING
    ground: str = ""

    def explained_by(self, board: Board, one: Hypothesis) -> bool:
        """Return whether a fault explains the sign."""
        if one.fault == UNDER_POWER:
            return self.convicts
        if one.code in self.parting and part_of(one.designator) in self.parts:
            return True
        nets, part = _nets(board, one), board.parts.get(part_of(one.designator))
        along = self.ground and part is not None and self.ground not in nets and part.kind not in _TRANSISTORS
        return one.code in self.joining and bool(self.nets & nets) and not along


def under_power(board: Board, hypotheses: Sequence[Hypothesis], evidence: Evidence) -> Floats:
    """Return what the powered readings add to the log odds of every hypothesis.

    Readings of one rail that say the same are one sign, the surer the more of them there are.
    """
    found = np.zeros(len(hypotheses))
    signs: dict[tuple[object, ...], list[Sign]] = {}
    for sign in signs_under_power(board, evidence):
        key = sign.subject, sign.convicts, sign.parts, sign.nets, sign.parting
        signs.setdefault(key, []).append(sign)
    for alike in signs.values():
        sign = alike[0]
        hit = np.array([any(sign.explained_by(board, each) for each in (one, *one.also)) for one in hypotheses])
        if sign.convicts:
            found += np.where(hit, 0.0, _BY_A_SLIP + _AGAIN * min(len(alike) - 1, 2))
        else:
            found += np.where(hit, _AGAINST, 0.0)
    apart = _apart(board, evidence)
    joined = np.array([any(apart(fault.where) for fault in one.part_faults) for one in hypotheses], bool)
    return np.maximum(found + np.where(joined, _BY_A_SLIP, 0.0), _LEAST)


def _apart(board: Board, evidence: Evidence) -> Callable[[tuple[str, ...]], bool]:
    """Return what says of a bridge's nets whether every reading under power of both was at another voltage.

    What metal joins is at one voltage.
    """
    volts: dict[str, list[float]] = {}
    for name, value in (evidence.powered or {}).items():
        check = board.by_id[name]
        if check.measurand == "voltage" and check.subject in board.rails:
            for net in _hot(board, list(board.rails[check.subject].nets.values())):
                volts.setdefault(net, []).append(value)

    def apart(nets: tuple[str, ...]) -> bool:
        if len(nets) != 2 or not volts.keys() >= set(nets):
            return False
        one, other = (volts[net] for net in nets)
        return all(abs(a - b) > _ONE_V * max(abs(a), abs(b)) for a in one for b in other)

    return apart


def _nets(board: Board, one: Hypothesis) -> set[str]:
    """Return the nets a fault concerns."""
    if one.part_fault is not None and one.part_fault.where and not one.part_fault.designator:
        return set(one.part_fault.where)
    part = board.parts.get(part_of(one.designator))
    return set(part.pins.values()) if part is not None else set()


def signs_under_power(board: Board, evidence: Evidence) -> Iterator[Sign]:
    """Yield a sign for every powered reading that says something."""
    read = [(board.by_id[name], value) for name, value in (evidence.powered or {}).items()]
    rails = [(check, value) for check, value in read if check.measurand == "voltage" and check.subject in board.rails]
    live = frozenset(part for name in _live(rails) for part in feeding(board, name)[1])
    for check, value in read:
        if check.measurand == "idle_current":
            yield from _idle(board, check, value, live)
    for check, value in rails:
        right = _right_under_more(check, rails)
        if right and abs(value) < _NOTHING * abs(board.rails[check.subject].voltage):
            words = f"{check.id} is next to nothing, and {right} is right: read both again, one of them is not so"
            yield Sign(check.subject, words, convicts=False)
        else:
            yield from _rail(board, check, value, live)


def _right_under_more(check: Check, rails: Sequence[tuple[Check, float]]) -> str:
    """Return a check of the same rail, as supplied, that is right under as much load or more, "" for none."""
    for other, volt in rails:
        alike = other.subject == check.subject and other.input_voltage == check.input_voltage
        if alike and (other.load_a or 0.0) >= (check.load_a or 0.0) and _within(other, volt):
            return other.id
    return ""


def _live(rails: Sequence[tuple[Check, float]]) -> set[str]:
    """Return the rails of which every reading is there: what feeds them passes current."""
    off = {check.subject for check, value in rails if not _within(check, value)}
    return {check.subject for check, _ in rails} - off


def _within(check: Check, value: float) -> bool:
    lower, upper = check.limits.lower, check.limits.upper
    return (lower is None or value >= lower) and (upper is None or value <= upper)


def _hot(board: Board, nets: Sequence[str]) -> frozenset[str]:
    return frozenset(nets) - {board.ground() or "", ""}


def _fed(board: Board) -> frozenset[str]:
    ways = [*(each.nets for each in board.supplies.values()), *(each.nets for each in board.rails.values())]
    return _hot(board, [net for nets in ways for net in nets.values()])


def feeding(board: Board, rail: str) -> tuple[tuple[str, ...], frozenset[str]]:
    """Return the nets from a supply to a rail, in order, and the parts that pass the current on from one to the next.

    The shortest ways through parts, ground left out.
    """
    ends = _hot(board, list(board.rails[rail].nets.values()))
    starts = _hot(board, [net for each in board.supplies.values() for net in each.nets.values()])
    passing = [(name, part) for name, part in board.parts.items() if part.kind not in _BLOCKING]
    pins = {name: _hot(board, list(part.pins.values())) for name, part in passing}
    ahead, back = _distances(pins, starts), _distances(pins, ends)
    short = min((ahead[net] + back[net] for net in ahead.keys() & back.keys()), default=-1)
    way = [net for net in ahead if net in back and ahead[net] + back[net] == short]
    way.sort(key=lambda net: (ahead[net], net))
    steps = {net: ahead[net] for net in way}
    parts = (name for name, nets in pins.items() if len({steps[net] for net in nets if net in steps}) > 1)
    return tuple(way), frozenset(parts)


def _distances(pins: dict[str, frozenset[str]], starts: frozenset[str]) -> dict[str, int]:
    """Return how many parts lie between these nets and every other."""
    found = dict.fromkeys(starts, 0)
    edge = set(starts)
    while edge:
        steps = found[next(iter(edge))] + 1
        reached = {net for nets in pins.values() if nets & edge for net in nets} - found.keys()
        found |= dict.fromkeys(sorted(reached), steps)
        edge = reached
    return found


def only_under_power(board: Board, evidence: Evidence, known: Sequence[Hypothesis]) -> tuple[Hypothesis, ...]:
    """Return what may be wrong that no reading without power shows, where a sign convicts the unit.

    Chips that may not work, those whose faults are not known yet; and whatever else fails under power alone.
    """
    convicting = [sign for sign in signs_under_power(board, evidence) if sign.convicts]
    parts = sorted({name for sign in convicting for name in sign.parts})
    chips = [name for name in parts if board.parts[name].kind in _CHIPS]
    told = {one.designator for one in known if one.code == "open"}
    dead = (Hypothesis(name, "open", _CHIP_ODDS, _DEAD) for name in chips if name not in told)
    by_one = any(all(name in sign.parts for sign in convicting) for name in chips)
    other = Hypothesis("", UNDER_POWER, _SEEN_ODDS if by_one else _UNSEEN_ODDS, _DEAD)
    return (*dead, other) if convicting else ()


def ways_under_power(board: Board, evidence: Evidence) -> Iterator[tuple[str, str]]:
    """Yield a rail that is off, or a supply that gives too much, with what to do about it in words."""
    met: set[str] = set()
    for sign in signs_under_power(board, evidence):
        if not sign.convicts or sign.subject in met:
            continue
        met.add(sign.subject)
        if sign.subject in board.rails:
            way = " then ".join(feeding(board, sign.subject)[0])
            yield sign.subject, _ALONG.format(rail=sign.subject, way=way)
        elif sign.joining:
            yield sign.subject, _AT_REST.format(nets=" and ".join(sorted(_fed(board))))


def _idle(board: Board, check: Check, value: float, live: frozenset[str]) -> Iterator[Sign]:
    upper = check.limits.upper
    supply = _hot(board, list(board.supplies[check.subject].nets.values()))
    if upper is None:
        return
    if value > upper:
        words = f"{check.id} is above its limit: a path that should not be there"
        chips, inside = _chips_on(board, _fed(board)), ("short", "open")
        ground = board.ground() or ""
        yield Sign(check.subject, words, parts=chips, nets=_fed(board), parting=inside, ground=ground)
    elif abs(value) < _NOTHING * upper:
        words = f"{check.id} is next to nothing: the way in is open"
        ways = frozenset(name for rail in board.rails for name in feeding(board, rail)[1])
        yield Sign(check.subject, words, parts=(ways | _on(board, supply)) - live, joining=())


def _on(board: Board, nets: frozenset[str]) -> frozenset[str]:
    """Return the parts on nets that join more than one net besides ground."""
    parts = [(name, part) for name, part in board.parts.items() if part.kind not in _BLOCKING]
    return frozenset(
        name
        for name, part in parts
        if nets & set(part.pins.values()) and len(_hot(board, list(part.pins.values()))) > 1
    )


def _chips_on(board: Board, nets: frozenset[str]) -> frozenset[str]:
    return frozenset(name for name in _on(board, nets) if board.parts[name].kind in _CHIPS)


def _rail(board: Board, check: Check, value: float, live: frozenset[str]) -> Iterator[Sign]:
    rail = board.rails[check.subject]
    hot = _hot(board, list(rail.nets.values()))
    limits, size, nominal = check.limits, abs(value), abs(rail.voltage)
    lower = min((abs(end) for end in (limits.lower, limits.upper) if end is not None), default=0.0)
    upper = max((abs(end) for end in (limits.lower, limits.upper) if end is not None), default=math.inf)
    on, (_, way) = _on(board, hot), feeding(board, check.subject)
    near, at, name = on | way, check.subject, check.id
    if math.copysign(1.0, value) != math.copysign(1.0, rail.voltage) and size >= _NOTHING * nominal:
        words = f"{name} has the wrong sign: red and black exchanged, or the rail fed the wrong way round"
        yield Sign(at, words, parts=near, parting=("reversed", "swapped-pins"), joining=())
    elif lower <= size <= upper:
        words, parting = f"{name} is within its limits", ("open", "missing-joint")
        yield Sign(at, words, convicts=False, parts=way & live, parting=parting, nets=hot, joining=("short",))
    elif size < _NOTHING * nominal:
        yield Sign(at, f"{name} is next to nothing: shorted, or not fed", parts=way - live, nets=hot)
    elif size > upper:
        words = f"{name} is too high: its feedback is lost"
        yield Sign(at, words, parts=near, parting=(*_PARTING, *_SETTING), joining=("bridge",), nets=hot)
    elif any(_DROP_V[0] < abs(one.voltage) - size < _DROP_V[1] for one in board.supplies.values()):
        words = f"{name} is a diode drop below its input: the converter does not switch"
        yield Sign(at, words, parts=near, parting=(*_PARTING, "short"))
    else:
        yield Sign(at, f"{name} is too low", parts=near, parting=(*_PARTING, *_SETTING), nets=hot)
