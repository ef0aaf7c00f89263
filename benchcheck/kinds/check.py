"""A check: one thing to establish about a unit, with all a person needs to establish it.

Kinds make checks, the checklist orders them, readings answer them, score judges them. A check says where
red and black go, on which function, what limits hold and where they come from, and above all what its
reading *can* show: a resistance read on a board is only ever lowered by the paths around it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

from benchcheck.bench.functions import Function

__all__ = ["Check", "Evidence", "Formula", "Limits", "Phase", "Probe"]


class Phase(IntEnum):
    """When in a visit a check comes; power is applied between TO_GROUND and IDLE and nowhere else."""

    SESSION = 0
    VISUAL = 10
    RESIDUAL_VOLTAGE = 20
    POLARITY = 30
    JOINTS = 40
    PARTS = 50
    ISOLATION = 60
    TO_GROUND = 70
    IDLE = 80
    RAILS = 90
    POWERED_PARTS = 100
    OFF = 110

    @property
    def powered(self) -> bool:
        """Whether the unit is under power in this phase."""
        return self >= Phase.IDLE


class Evidence(StrEnum):
    """What a reading can show of the thing checked, given the paths that may run around it.

    LOWERED: the thing is at least what was read. Above the upper limit it is convicted; where only a lower
    limit stands (insulation, blocking) a reading above it proves the thing; all else proves nothing.
    RAISED is the mirror: at most what was read, below the lower limit convicts.
    SHUNTED: a junction on a board. What lies beside it can take the meter's current, so a low drop proves nothing
    unless it is as low as metal; too high convicts.
    SCREEN: beyond a limit convicts, within them proves nothing.
    """

    DIRECT = "direct"  # the reading is the thing itself: a rail, a joint, a junction off the board, an isolation
    LOWERED = "lowered"  # other paths only lower the reading: too high convicts, low or right proves nothing
    RAISED = "raised"  # other paths only raise the reading (capacitance): too low convicts
    SHUNTED = "shunted"  # other paths only lower a junction's drop: too low proves nothing, short of metal
    SCREEN = "screen"  # can reject, never prove


class Formula(StrEnum):
    """How a derived check is computed from the checks named in `Check.sources`, in their order."""

    DIFFERENCE = "difference"  # first minus second
    LOAD_REGULATION = "load_regulation"  # (V at least load - V at full load) / V at full load
    SLOPE = "slope"  # (V1 - V2) / (I1 - I2): volts rise with the load current
    INTERNAL_RESISTANCE = "internal_resistance"  # (V1 - V2) / (I2 - I1): volts sag with it


@dataclass(frozen=True, slots=True)
class Probe:
    """Where a probe tip goes: the point in words, and the net it touches where the spec says so."""

    point: str
    net: str | None = None


@dataclass(frozen=True, slots=True)
class Limits:
    """Tolerance limits in the check's quantity unit (SI), with where they come from.

    `origin` begins with what vouches for them: "the spec", "standard: ...", "data sheets: ...",
    "computed: ..." or "common practice" (with what it leans on, or "no source").
    """

    lower: float | None = None
    upper: float | None = None
    origin: str = "the spec"
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing to establish.

    `id` is unique on a board (`R14.resistance`, `VSW.to_ground[red:VSW]`). `expected` is the value a good
    unit shows, in the quantity unit, or None. `answers` are the words a visual check takes; the first is
    the one that passes, and after "yes" and "no" a third is the name asked for. `sources` and `formula` belong
    to derived checks. `load_a` is the load current in ampere and `input_voltage` the name of the supply voltage
    at which a powered check is taken. `method`, where it is not empty, says why a reading of this function
    within the limits cannot meet what the limits presume. `first_step` is what to do before probing,
    `workaround` what to do when the meter cannot decide. `switches` are pairs of designator and "open" or
    "closed".
    """

    id: str
    subject: str
    measurand: str
    function: Function
    quantity_unit: str
    phase: Phase
    limits: Limits
    bracket: str = ""
    expected: float | None = None
    evidence: Evidence = Evidence.DIRECT
    red: Probe | None = None
    black: Probe | None = None
    first_step: str = ""
    why: str = ""
    workaround: str = ""
    settle: bool = False
    answers: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    formula: Formula | None = None
    load_a: float | None = None
    input_voltage: str = ""
    switches: tuple[tuple[str, str], ...] = ()
    method: str = ""

    @property
    def powered(self) -> bool:
        """Whether the unit must be under power for this check."""
        return self.phase.powered

    @property
    def name_asked(self) -> str:
        """The maker, series or lot that should be found, "" where none is asked for."""
        return self.answers[2] if len(self.answers) == 3 and self.answers[:2] == ("yes", "no") else ""
