"""On-resistance of a MOSFET counts only with its gate known: measured, steady, and at least the stated drive.

The value itself is computed like any derived check, (V1 - V2)/(I1 - I2) with the errors of meter and load and the
heating of the part in its budget. Without the gate's voltage it says nothing of the part: a gate that is not driven
far enough, or one that swings in a running switcher, makes a good part look bad and a bad one look no worse.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from benchcheck.kinds.check import Check
from benchcheck.score.model import Outcome, Reason, Score, Verdict
from benchcheck.session.exit_code import PASSED

__all__ = ["gate_check", "held_to_gate"]


def gate_check(check: Check) -> tuple[str, ...]:
    """Return the id of the gate voltage an on-resistance needs; empty for every other check."""
    return (f"{check.subject}.gate_drive",) if check.measurand == "on_resistance" else ()


def held_to_gate(check: Check, score: Score, scores: Mapping[str, Score]) -> Score:
    """Return the score of an on-resistance, undecided (method) unless the gate's voltage is in order."""
    names = gate_check(check)
    if not names or score.outcome is not Outcome.MEASURED:
        return score
    gate = scores.get(names[0])
    if gate is not None and gate.verdict in PASSED:
        return score
    because = f"it counts only at a steady gate drive, and {names[0]} {_told(gate)}"
    change = check.workaround or f"read {names[0]} with the part steadily on, then again"
    return replace(score, verdict=Verdict.UNDECIDED, code=Reason.METHOD, because=because, change=change)


def _told(gate: Score | None) -> str:
    if gate is None or gate.outcome is not Outcome.MEASURED:
        return "was not read"
    return "wanders: the gate is being switched" if gate.code is Reason.CONTACT else f"is {gate.verdict}"
