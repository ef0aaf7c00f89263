"""What must hold before a check: charge is gone before ohms, and shorts are cleared before power.

The lists are those of the safety contract (DEVELOPERS.md, "What must never happen at the bench"): nothing
here switches anything; it says which checks stand in the way.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.checklist.waivers import Waiver
from benchcheck.kinds.check import Check, Phase
from benchcheck.spec.board import Board

__all__ = ["Interlocks"]

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
_MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class Interlocks:
    """The interlocks of one board, looked up once: which checks guard ohms, and which guard power.

    Both hold check ids in board order.
    """

    before_ohms: tuple[str, ...]
    before_power: tuple[str, ...]
    power_refusals: tuple[str, ...] = ()

    @classmethod
    def of(cls, board: Board) -> Interlocks:
        """Return the interlocks of a board."""
        return cls(
            tuple(check.id for check in board.checks if check.phase is Phase.RESIDUAL_VOLTAGE),
            tuple(check.id for check in board.checks if _guards_power(check)),
            board.power_refusals,
        )

    def prerequisites(self, check: Check) -> tuple[str, ...]:
        """Return the ids of the checks that must be in order before `check` is taken at the bench."""
        if check.powered:
            return self.before_power
        if check.function in _NEEDS_NO_CHARGE and check.phase > Phase.RESIDUAL_VOLTAGE:
            return self.before_ohms
        return ()

    def in_the_way(
        self, check: Check, in_order: Collection[str], waivers: Collection[Waiver] = ()
    ) -> tuple[str, ...]:
        """Return what stands in the way of taking `check` at the bench, in words; empty when nothing does.

        `in_order` holds the ids of the checks scored pass or conditional pass. Waivers lift single checks
        before power; residual charge and the board's own refusals cannot be waived.
        """
        missing = [name for name in self.prerequisites(check) if name not in in_order]
        if not check.powered:
            told = f"charge is not proven gone at {_named(missing)}: discharge through a resistor, then measure there"
            return (told,) if missing else ()
        waived = {waiver.check for waiver in waivers}
        left = [name for name in missing if name not in waived]
        return (*self.power_refusals, *((f"not in order: {_named(left)}",) if left else ()))


def _named(names: Sequence[str]) -> str:
    """Return names in a row, the first few where there are many."""
    shown = ", ".join(names[:_MOST_NAMED])
    return shown if len(names) <= _MOST_NAMED else f"{shown} and {len(names) - _MOST_NAMED} more"


def _guards_power(check: Check) -> bool:
    return not check.powered and (check.measurand in _BEFORE_POWER or check.phase is Phase.ISOLATION)
