"""From the resistances between all nets of a passive group to each branch, and to the part where it is one.

The readings' errors are this bench's: what the meter and its leads do to one reading they do to all, what is a
reading's own (its digits, the bend of the meter's curve) is not. A branch speaks for a part where it is alone between
its nets and no path runs through a net that was not probed; only then is it judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import permutations
from math import isfinite
from typing import TYPE_CHECKING, Any

from benchcheck.bench.contributions import accuracy_contributions, lead_correction, not_shared
from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.errors import CircuitError, Fault, UsageError, close_match
from benchcheck.kinds.check import Check, Evidence
from benchcheck.metrology import Budget, Contribution, Verdict
from benchcheck.quantity import brief_value
from benchcheck.readings.reading import Session
from benchcheck.score.conclude import assessed, conclude
from benchcheck.score.model_circuit import Model, excitation_for, model_of
from benchcheck.spec.board import Board

if TYPE_CHECKING:
    from benchcheck.circuit.guarding import Branch, PairReading

__all__ = ["FoundBranch", "branch_lines", "branches", "branches_json", "exit_code_of"]

_DIGITS = ".digits"
#: a branch known no better than this share of itself is not straight in the readings: only its bound is used
_COARSE = 0.1
_RESISTANCES = ("resistance", "dc_resistance")
#: red, black, ohm, and one step of the last digit in ohm
Taken = tuple[str, str, float, float]


@dataclass(frozen=True, slots=True)
class FoundBranch:
    """One branch: what it is in ohm (None: none that could be told), and the part it is, judged, or why it is none.

    `at_least_ohm` is what it cannot be below; `verdict` is empty where no part lies there or it has no such check.
    """

    nets: tuple[str, str]
    value: float | None
    standard_uncertainty: float | None
    at_least_ohm: float
    part: str = ""
    verdict: str = ""
    because: str = ""


def branches(board: Board, bench: Bench, taken: Iterable[Taken], session: Session) -> tuple[FoundBranch, ...]:
    """Return every branch between the nets read; raises UsageError for nets the board has not and readings the
    bench's meter cannot have shown, CircuitError for readings no resistors explain.
    """
    from benchcheck.circuit.guarding import branches_between

    listed = tuple(taken)
    model = model_of(board)
    _refuse(model, listed)
    readings = [_with_errors(bench, one, session) for one in listed]
    _refuse_odd(model, readings)
    found = branches_between(readings)
    probed = tuple(dict.fromkeys(net for one in listed for net in one[:2]))
    off = _off(model, bench, probed)
    return tuple(_told(board, bench, model, branch, probed, off) for branch in found)


def _refuse(model: Model, listed: Sequence[Taken]) -> None:
    known = model.netlist.nets
    nets = dict.fromkeys(net for one in listed for net in one[:2] if net not in known)
    faults = [Fault("", net, f"no part of the spec is on this net{close_match(net, known)}") for net in nets]
    if faults:
        raise UsageError(faults)


def _refuse_odd(model: Model, readings: Sequence[PairReading]) -> None:
    """Raise CircuitError where a junction was read one way only, and where the figures as written contradict.

    Digits nobody wrote down explain anything, and then say nothing: they excuse no contradiction.
    """
    from benchcheck.circuit.guarding import contradictions, read_one_way_only

    odd = list(read_one_way_only(model.netlist, readings))
    written = [replace(one, effects=tuple(e for e in one.effects if not e[0].endswith(_DIGITS))) for one in readings]
    if said := contradictions(written):
        hint = () if contradictions(readings) else ("write every digit that the display shows",)
        odd += [*said, *hint]
    if odd:
        raise CircuitError("\n".join(odd))


def _with_errors(bench: Bench, one: Taken, session: Session) -> PairReading:
    from benchcheck.circuit.guarding import PairReading

    red, black, ohm, resolution = one
    meter = bench.meter_for(Function.OHMS)
    chosen = bench.range_for(Function.OHMS, ohm)
    if meter is None or chosen is None:
        raise UsageError(
            Fault("", f"{red}, {black}", f"{ohm:g} ohm: no meter of the bench has a range that shows it")
        )
    name = f"{red}:{black}"
    leads = lead_correction(meter, Function.OHMS, session.leads_ohm)
    made = accuracy_contributions(
        meter, chosen, ohm, reading=name, ambient_c=session.ambient_c, recorded_resolution=resolution
    )
    every = (*made, *leads.contributions, *not_shared(name, chosen, ohm))
    effects = tuple((each.id, each.sensitivity * each.standard_uncertainty) for each in every)
    return PairReading(red, black, max(ohm - leads.resistance_ohm, 0.0), effects)


def _off(model: Model, bench: Bench, probed: Sequence[str]) -> frozenset[str]:
    """Return the parts whose junctions carry nothing in any of the readings, as the good board says."""
    from benchcheck.circuit.reading import solve_reading

    excitation = excitation_for(bench, Function.OHMS)
    if excitation is None:
        return frozenset()
    states: dict[str, bool] = {}
    for red, black in permutations(probed, 2):
        try:
            shown = solve_reading(model.netlist, red, black, excitation)
        except CircuitError:
            return frozenset()
        for each in shown.junctions:
            states[each.designator] = states.get(each.designator, True) and each.state == "blocks"
    return frozenset(name for name, blocks in states.items() if blocks)


def _told(
    board: Board, bench: Bench, model: Model, branch: Branch, probed: Sequence[str], off: frozenset[str]
) -> FoundBranch:
    told = isfinite(branch.ohm)
    found = FoundBranch(
        branch.nets,
        branch.ohm if told else None,
        branch.standard_uncertainty_ohm if told else None,
        branch.at_least_ohm,
    )
    part, because = _part(model, branch.nets, probed, off)
    if because:
        return replace(found, because=because, verdict=str(Verdict.UNDECIDED) if part else "")
    check = next((board.by_id[name] for kind in _RESISTANCES if (name := f"{part}.{kind}") in board.by_id), None)
    if check is None:
        return replace(found, part=part)
    verdict, why = _judged(check, bench, branch)
    return replace(found, part=part, verdict=verdict, because=why)


def _judged(check: Check, bench: Bench, branch: Branch) -> tuple[str, str]:
    """Return the verdict of the part's own value and why; of an open or coarse branch only the bound counts."""
    if not isfinite(branch.ohm) or branch.standard_uncertainty_ohm > _COARSE * branch.ohm:
        beyond = check.limits.upper is not None and branch.at_least_ohm > check.limits.upper
        coarse = "; the readings tell it no better" if isfinite(branch.ohm) else ""
        said = f"at least {brief_value(branch.at_least_ohm, 'ohm', 3)}{'' if beyond else coarse}"
        return str(Verdict.FAIL if beyond else Verdict.UNDECIDED), said
    spread = Contribution(f"{check.id}.branch", "the readings of the group", branch.standard_uncertainty_ohm)
    budget = Budget(branch.ohm, "ohm", (spread,))
    finding = conclude(check, budget, assessed(check, budget, bench.decision), Evidence.DIRECT)
    return str(finding.verdict), finding.because


def _part(model: Model, nets: tuple[str, str], probed: Sequence[str], off: frozenset[str]) -> tuple[str, str]:
    """Return the part alone between two nets, and why the branch is not it (empty: it is)."""
    from benchcheck.circuit.connectivity import conductive_pairs
    from benchcheck.circuit.guarding import hidden_path

    between = [
        device.designator
        for device in model.netlist.devices
        if device.designator not in off and any(set(pair) == set(nets) for pair in conductive_pairs(device))
    ]
    if not between:
        return "", "no part of the spec lies here"
    if len(between) > 1:
        return between[0], f"{' and '.join(between)} lie side by side: what is read is both"
    hidden = hidden_path(model.netlist, nets, probed, incomplete=model.incomplete, off=off)
    if hidden is None:
        return between[0], ""
    way = f"a path runs through {', '.join(hidden)}, not probed" if hidden else "neither net is complete in the spec"
    return between[0], f"{between[0]} is in it, but {way}"


def branch_lines(found: Sequence[FoundBranch]) -> tuple[str, ...]:
    """Return the branches for a person, one a line and what is to be said of it below."""
    lines: list[str] = []
    for one in found:
        value = f"open, at least {brief_value(one.at_least_ohm, 'ohm', 3)}"
        if one.value is not None and one.standard_uncertainty is not None:
            value = f"{brief_value(one.value, 'ohm', 4)}, u {brief_value(one.standard_uncertainty, 'ohm', 2)}"
        judged = f"  {': '.join(word for word in (one.part, one.verdict) if word)}".rstrip()
        lines.append(f"{one.nets[0]} to {one.nets[1]}: {value}{judged}")
        lines += [f"    {one.because}"] if one.because else []
    return tuple(lines)


def exit_code_of(found: Sequence[FoundBranch]) -> int:
    """Return 1 where a part failed or conditionally failed, 3 where one is undecided, else 0, as `verify` does."""
    verdicts = {one.verdict for one in found}
    if verdicts & {Verdict.FAIL, Verdict.CONDITIONAL_FAIL}:
        return 1
    return 3 if Verdict.UNDECIDED in verdicts else 0


def branches_json(found: Sequence[FoundBranch]) -> dict[str, Any]:
    """Return the branches for programs: `branches[]` with the fields of `FoundBranch`."""
    keys = ("value", "standard_uncertainty", "at_least_ohm", "part", "verdict", "because")
    return {
        "format": 1,
        "branches": [{"nets": list(one.nets), **{key: getattr(one, key) for key in keys}} for one in found],
    }
