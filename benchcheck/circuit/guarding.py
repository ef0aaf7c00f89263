"""Computed guarding: from the resistances between all pairs of N nets, every branch between two of them.

What lies between N nets is, seen from them, a resistor between each pair. The resistance matrix R gives its
Laplacian: L = pinv(-J R J / 2) with J = I - 1/N (Klein and Randic 1993, "Resistance distance"; Gutman and Xiao 2004),
a branch being -1/L_ij. As dL = L dR L / 2, every branch's slope to every reading is at hand, and errors that several
readings share, such as one meter's, go through with their signs.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .connectivity import conductive_pairs
from .devices import Bjt, Clamp, Device, Diode, Mosfet, Zener, part_of
from .netlist import Netlist

__all__ = ["Branch", "PairReading", "branches_between", "contradictions", "hidden_path", "read_one_way_only"]

Floats = NDArray[np.float64]
Pair = tuple[str, str]

#: standard uncertainties within which two figures agree: k = 2, about 95 %
_AGREE = 2.0
_UNKNOWN = "\0unknown"


@dataclass(frozen=True, slots=True)
class PairReading:
    """One reading in ohm, red on one net and black on another.

    `effects`: what each error does to it, by name, one standard uncertainty in ohm with its sign; an error of one
    name is the same in every reading.
    """

    red: str
    black: str
    ohm: float
    effects: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Branch:
    """What lies between two nets when the other probed nets are guarded.

    `ohm` with `standard_uncertainty_ohm`; both infinite where no current through it can be told from none, and
    `at_least_ohm` is then what it cannot be below (k = 2). `slopes` (ohm per ohm) by pair of nets.
    """

    nets: Pair
    ohm: float
    standard_uncertainty_ohm: float
    at_least_ohm: float
    slopes: Mapping[Pair, float]


def branches_between(readings: Iterable[PairReading]) -> tuple[Branch, ...]:
    """Return the branch between every pair of the nets read; readings both ways round are averaged.

    Raises CircuitError, in words, where a pair was not read, where a reading depends on polarity by more than its
    uncertainty, and where no resistors could read so.

    >>> ohms = {("A", "B"): 7275.0, ("B", "C"): 4098.0, ("A", "C"): 8812.0}
    >>> found = branches_between(PairReading(*pair, ohm) for pair, ohm in ohms.items())
    >>> {branch.nets: round(branch.ohm, -2) for branch in found}
    {('A', 'B'): 10000.0, ('A', 'C'): 22000.0, ('B', 'C'): 4700.0}
    """
    taken = tuple(readings)
    nets = tuple(dict.fromkeys(net for one in taken for net in (one.red, one.black)))
    by_pair = _by_pair(taken, nets)
    _refuse_joined(by_pair)
    if odd := contradictions(taken):
        raise CircuitError("\n".join(odd))
    laplacian = _laplacian(nets, by_pair)
    pairs = list(combinations(range(len(nets)), 2))
    found = tuple(_branch(laplacian, nets, pair, pairs, by_pair) for pair in pairs)
    _refuse_impossible(found, laplacian)
    return tuple(_as_told(branch, by_pair) for branch in found)


# the readings ---------------------------------------------------------------------------------------------


def _by_pair(taken: Sequence[PairReading], nets: Sequence[str]) -> dict[Pair, PairReading]:
    """Return one reading for every pair of nets, in order; raises CircuitError for what is missing or contradicts."""
    faults = [fault for one in taken if (fault := _odd(one))]
    if len(nets) < 3 and not faults:
        faults.append(f"readings between {len(nets)} nets: three or more make a group with branches to tell apart")
    if faults:
        raise CircuitError("\n".join(faults))
    found: dict[Pair, PairReading] = {}
    for pair in combinations(nets, 2):
        both = [one for one in taken if {one.red, one.black} == set(pair)]
        if not both:
            faults.append(f"{pair[0]} and {pair[1]} were not read; every pair of the group is needed")
            continue
        faults += _polarity_faults(pair, both)
        found[pair] = _averaged(pair, both)
    if faults:
        raise CircuitError("\n".join(faults))
    return found


def _odd(one: PairReading) -> str:
    if one.red == one.black:
        return f"a reading with both leads on {one.red}: name two nets"
    if not isfinite(one.ohm) or one.ohm < 0.0:
        return (
            f"{one.red} and {one.black} read {one.ohm:g} ohm; a resistance of zero or more is needed, OL has no value"
        )
    return ""


def _polarity_faults(pair: Pair, both: Sequence[PairReading]) -> list[str]:
    forward = [one for one in both if one.red == pair[0]]
    backward = [one for one in both if one.red == pair[1]]
    if not forward or not backward:
        return []
    one, other = _averaged(pair, forward), _averaged(pair, backward)
    allowed = _AGREE * _uncertainty(_sum(((one, 1.0), (other, -1.0))))
    if abs(one.ohm - other.ohm) <= max(allowed, 1e-9 * one.ohm):
        return []
    said = (
        f"{pair[0]} and {pair[1]} read {one.ohm:.4g} ohm with red on {pair[0]} and {other.ohm:.4g} ohm the other way "
        f"round, more apart than the readings' {allowed:.2g} ohm: a junction conducts, so they are no resistors; "
        "read on low-power ohms"
    )
    return [said]


def read_one_way_only(netlist: Netlist, readings: Iterable[PairReading]) -> tuple[str, ...]:
    """Say which readings were taken one way round only though a junction of the netlist lies between their nets.

    What a junction carries one way it does not carry the other way: only both readings tell it from a resistor.
    """
    ways = {(one.red, one.black) for one in readings}
    found = []
    for red, black in sorted(ways):
        parts = [part_of(d.designator) for d in netlist.devices if _junction_between(d, red, black)]
        if parts and (black, red) not in ways:
            names = ", ".join(dict.fromkeys(parts))
            found.append(
                f"{red} and {black} were read with red on {red} only, and a junction of {names} lies between them: "
                f"read them with red on {black} as well"
            )
    return tuple(found)


def _junction_between(device: Device, one: str, other: str) -> bool:
    pairs: tuple[tuple[str | None, str | None], ...] = ()
    match device:
        case Diode() | Zener():
            pairs = ((device.anode, device.cathode),)
        case Bjt():
            pairs = ((device.base, device.emitter), (device.base, device.collector))
        case Mosfet():
            pairs = ((device.source, device.drain),)
        case Clamp():
            pairs = ((device.pin, device.ground), (device.pin, device.supply))
    return any({one, other} == set(pair) for pair in pairs)


def contradictions(readings: Iterable[PairReading]) -> tuple[str, ...]:
    """Say, worst first, which three readings no resistors give: one beyond the sum of the two others.

    Resistances between nets are distances (Klein and Randic 1993): the way by a third net is never the shorter one.
    Only what is beyond the readings' uncertainty (k = 2) counts.
    """
    taken = tuple(readings)
    nets = tuple(dict.fromkeys(net for one in taken for net in (one.red, one.black)))
    by_pair = {}
    for pair in combinations(nets, 2):
        both = [one for one in taken if {one.red, one.black} == set(pair)]
        if both and not _polarity_faults(pair, both):  # which way round matters there: that is said first
            by_pair[frozenset(pair)] = _averaged(pair, both)
    found = []
    for a, via, b in permutations(nets, 3):
        if a < b and all(frozenset(pair) in by_pair for pair in ((a, b), (a, via), (via, b))):
            found += _too_far(*(by_pair[frozenset(pair)] for pair in ((a, b), (a, via), (via, b))))
    return tuple(said for _, said in sorted(found, reverse=True)[:3])


def _too_far(whole: PairReading, first: PairReading, second: PairReading) -> list[tuple[float, str]]:
    """Return by how many times its uncertainty one reading is beyond the sum of two others, and that in words."""
    beyond = whole.ohm - first.ohm - second.ohm
    allowed = max(_AGREE * _uncertainty(_sum(((whole, 1.0), (first, -1.0), (second, -1.0)))), 1e-9 * whole.ohm)
    if beyond <= allowed:
        return []
    said = (
        f"{whole.red} and {whole.black} read {whole.ohm:.5g} ohm, more than {first.red} and {first.black} "
        f"({first.ohm:.5g} ohm) and {second.red} and {second.black} ({second.ohm:.5g} ohm) together, by "
        f"{beyond:.3g} ohm where {allowed:.2g} ohm are uncertain: no resistors read so; read all three again"
    )
    return [(beyond / allowed, said)]


def _averaged(pair: Pair, several: Sequence[PairReading]) -> PairReading:
    share = 1.0 / len(several)
    effects = _sum((one, share) for one in several)
    return PairReading(*pair, sum(one.ohm for one in several) * share, tuple(effects.items()))


def _sum(weighted: Iterable[tuple[PairReading, float]]) -> dict[str, float]:
    """Return what each error does to a weighted sum of readings."""
    total: dict[str, float] = {}
    for one, weight in weighted:
        for name, effect in one.effects:
            total[name] = total.get(name, 0.0) + weight * effect
    return total


def _uncertainty(effects: Mapping[str, float]) -> float:
    return sqrt(sum(effect * effect for effect in effects.values()))


def _refuse_joined(by_pair: Mapping[Pair, PairReading]) -> None:
    joined = [
        f"{pair[0]} and {pair[1]} read {one.ohm:.3g} ohm, which is zero within the uncertainty: they are one net to "
        "this meter; leave one of them out"
        for pair, one in by_pair.items()
        if one.ohm <= _AGREE * _uncertainty(dict(one.effects)) or one.ohm == 0.0
    ]
    if joined:
        raise CircuitError("\n".join(joined))


# the branches ---------------------------------------------------------------------------------------------


def _laplacian(nets: Sequence[str], by_pair: Mapping[Pair, PairReading]) -> Floats:
    """Return the Laplacian, in siemens; raises CircuitError where it cannot be had from these readings."""
    count = len(nets)
    matrix = np.zeros((count, count))
    for (a, b), one in by_pair.items():
        matrix[nets.index(a), nets.index(b)] = matrix[nets.index(b), nets.index(a)] = one.ohm
    centred = np.eye(count) - 1.0 / count
    potential = -0.5 * centred @ matrix @ centred
    values, vectors = np.linalg.eigh(potential)
    order = np.argsort(np.abs(vectors.sum(axis=0)))[:-1]  # the even vector belongs to the value zero
    values, vectors = values[order], vectors[:, order]
    worst = int(np.argmin(values))
    if values[worst] <= 1e-12 * abs(values).max():
        involved = np.argsort(-np.abs(vectors[:, worst]))[:3]
        names = ", ".join(sorted(nets[at] for at in involved))
        raise CircuitError(
            f"no resistors between these nets could read so; the readings among {names} contradict one another most: "
            "read them again"
        )
    return np.asarray((vectors / values) @ vectors.T)


def _branch(
    laplacian: Floats, nets: Sequence[str], pair: tuple[int, int], pairs: Sequence[tuple[int, int]],
    by_pair: Mapping[Pair, PairReading],
) -> Branch:  # fmt: skip
    i, j = pair
    siemens = -laplacian[i, j]
    slopes = {
        (nets[k], nets[m]): -0.5 * float(laplacian[i, k] * laplacian[j, m] + laplacian[i, m] * laplacian[j, k])
        for k, m in pairs
    }
    spread = _uncertainty(_sum((by_pair[at], slope) for at, slope in slopes.items()))
    # in siemens for now: a branch that carries nothing has no resistance to divide by
    return Branch((nets[i], nets[j]), float(siemens), spread, 0.0, slopes)


def _refuse_impossible(found: Sequence[Branch], laplacian: Floats) -> None:
    rounding = 1e-9 * float(np.abs(laplacian).max())
    negative = [
        f"between {branch.nets[0]} and {branch.nets[1]} the readings give a branch below zero "
        f"({1.0 / branch.ohm:.3g} ohm), by more than their uncertainty: no resistors read so; read the group again"
        for branch in found
        if branch.ohm < -max(_AGREE * branch.standard_uncertainty_ohm, rounding)
    ]
    if negative:
        raise CircuitError("\n".join(negative))


def _as_told(branch: Branch, by_pair: Mapping[Pair, PairReading]) -> Branch:
    """Return a branch, so far in siemens, in ohm."""
    siemens, spread = branch.ohm, branch.standard_uncertainty_ohm
    largest = max(one.ohm for one in by_pair.values())
    floor = max(_AGREE * spread, 1e-9 / largest)
    at_least = 1.0 / max(siemens + floor, 1e-30)
    if siemens <= floor:
        return Branch(branch.nets, inf, inf, at_least, {})
    slopes = {pair: -slope / siemens**2 for pair, slope in branch.slopes.items()}
    return Branch(branch.nets, 1.0 / siemens, spread / siemens**2, at_least, slopes)


# whether a branch is a part -------------------------------------------------------------------------------


def hidden_path(
    netlist: Netlist, nets: Pair, probed: Iterable[str], *, incomplete: Iterable[str] = (), off: Iterable[str] = ()
) -> tuple[str, ...] | None:
    """Return the nets, not probed, a path between two nets runs through, or None where there is no such path.

    Only without one is the branch the part between the two nets. Nets that are `incomplete` may be joined by paths
    nobody wrote down: an empty tuple is such a path straight between the two. `off` names devices known to carry
    nothing, junctions below their turn-on.
    """
    beside = _beside(netlist, frozenset(off), frozenset(incomplete))
    known = frozenset(probed) | set(nets)
    came: dict[str, str] = {nets[0]: ""}
    waiting = [nets[0]]
    while waiting:
        net = waiting.pop(0)
        for other in beside.get(net, ()):
            if other == nets[1] and net != nets[0]:
                return _way(came, net)
            if other not in came and other not in known:
                came[other] = net
                waiting.append(other)
    return None


def _beside(netlist: Netlist, off: frozenset[str], incomplete: frozenset[str]) -> dict[str, dict[str, None]]:
    """Return the neighbours of every net; nets that are incomplete are joined through one nobody knows."""
    found: dict[str, dict[str, None]] = {}
    pairs = [p for device in netlist.devices if device.designator not in off for p in conductive_pairs(device)]
    pairs += [(net, _UNKNOWN) for net in netlist.nets if net in incomplete]
    for one, other in pairs:
        found.setdefault(one, {})[other] = None
        found.setdefault(other, {})[one] = None
    return found


def _way(came: Mapping[str, str], net: str) -> tuple[str, ...]:
    way = []
    while came[net]:
        way.append(net)
        net = came[net]
    return tuple(one for one in reversed(way) if one != _UNKNOWN)
