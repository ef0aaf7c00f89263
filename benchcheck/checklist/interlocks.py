"""What must hold before a check: charge is gone before ohms, and shorts are cleared before power.

The lists are those of the safety contract (DEVELOPERS.md, "What must never happen at the bench"): nothing
here switches anything; it says which checks stand in the way.
"""

from __future__ import annotations

from collections.abc import Collection

from benchcheck.bench.functions import Function
from benchcheck.checklist.waivers import Waiver
from benchcheck.kinds.check import Check, Phase
from benchcheck.spec.board import Board

__all__ = ["in_the_way", "prerequisites"]

#: functions whose test current a charged capacitor would upset, or which it would damage.
_NEEDS_NO_CHARGE = frozenset(
    {
        Function.OHMS,
        Function.LOW_POWER_OHMS,
        Function.OHMS_4W,
        Function.DIODE,
        Function.CONTINUITY,
        Function.CAPACITANCE,
        Function.ESR,
        Function.INDUCTANCE,
        Function.HFE,
    }
)
#: the junction checks of diodes and transistors that must be in order before power; a zener's voltage is not one,
#: because few meters reach it, and a short or a wrong direction shows in its forward drop.
_JUNCTIONS = frozenset(
    {
        "forward_drop",
        "reverse",
        "be_drop",
        "bc_drop",
        "ce_blocking",
        "body_diode",
        "blocking",
        "gate_insulation",
    }
)
_BEFORE_POWER = _JUNCTIONS | {"polarity", "orientation", "to_ground"}


def _guards_power(check: Check) -> bool:
    return check.measurand in _BEFORE_POWER or check.phase is Phase.ISOLATION


def prerequisites(board: Board, check: Check) -> tuple[Check, ...]:
    """Return the checks that must be in order before `check` is taken at the bench, in board order."""
    if check.powered:
        return tuple(other for other in board.checks if _guards_power(other))
    if check.function in _NEEDS_NO_CHARGE and check.phase > Phase.RESIDUAL_VOLTAGE:
        return tuple(other for other in board.checks if other.phase is Phase.RESIDUAL_VOLTAGE)
    return ()


def in_the_way(board: Board, check: Check, in_order: Collection[str], waivers: Collection[Waiver]) -> tuple[str, ...]:
    """Return what stands in the way of taking `check` at the bench, in words; empty when nothing does.

    `in_order` holds the ids of the checks scored pass or conditional pass. Waivers lift single checks
    before power; residual charge and the board's own refusals cannot be waived.
    """
    missing = [other.id for other in prerequisites(board, check) if other.id not in in_order]
    if not check.powered:
        return tuple(f"{name} is not in order: discharge through a resistor, measure again" for name in missing)
    waived = {waiver.check for waiver in waivers}
    return (*board.power_refusals, *(f"{name} is not in order" for name in missing if name not in waived))
