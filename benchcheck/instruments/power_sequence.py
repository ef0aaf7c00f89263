"""Power as pure decisions: what is refused, in which order things are set, how long a limit may hold, when to stop.

Nothing here talks to an instrument or a clock. A plan is made from what the spec and the bench say; steps come out
of it in the one safe order (off and seen off, over-voltage level, current limit, voltage, read back, on).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from benchcheck.errors import Fault, SpecError
from benchcheck.instruments.power_supply import Ceiling, SupplySettings

__all__ = [
    "Do",
    "FedOutput",
    "PowerPlan",
    "PowerRequest",
    "Step",
    "plan_power",
    "power_off_steps",
    "power_on_steps",
    "read_back_faults",
]

MAX_DC_VOLT = 60.0  # extra-low voltage: above this nothing is powered
OVER_VOLTAGE_RATIO, OVER_VOLTAGE_MARGIN_VOLT = 1.1, 0.5  # common practice, no source
DEADLINE_TIMES = 3.0
POLLS = 3
RESOLVED_POLLS = 5


@dataclass(frozen=True, slots=True)
class FedOutput:
    """An output that the supply charges through a converter: its capacitance and voltage."""

    capacitance_farad: float
    voltage_volt: float


@dataclass(frozen=True, slots=True)
class PowerRequest:
    """What spec and bench say about one supply; None where they do not say."""

    name: str
    voltage_volt: float
    current_limit_ampere: float | None
    idle_max_ampere: float | None
    input_capacitance_farad: float | None
    start_current_ampere: float | None = None
    over_voltage_volt: float | None = None
    fed: tuple[FedOutput, ...] = ()
    full_limit: bool = False


@dataclass(frozen=True, slots=True)
class PowerPlan:
    """What will be set, and by when the output must have left constant current.

    `charging_s` is t = C V / (I_limit - I_idle,max); `deadline_s` the longest of 3 t, three polls and the dialect's
    settling time, counted from switching on.
    """

    name: str
    voltage_volt: float
    limit_ampere: float
    over_voltage_volt: float
    idle_max_ampere: float
    charging_s: float
    deadline_s: float
    poll_s: float


class Do(StrEnum):
    """One thing to do to the supply or the load."""

    LOAD_OFF = "load off and seen off"
    OUTPUT_OFF = "output off and seen off"
    SET_OVER_VOLTAGE = "over-voltage level set and read back"
    SET_LIMIT = "current limit set and read back"
    SET_VOLTAGE = "voltage set and read back"
    READ_BACK = "all settings read back once more"
    OUTPUT_ON = "output on and seen on"


@dataclass(frozen=True, slots=True)
class Step:
    """A step with its value in volt or ampere; None where it has none."""

    do: Do
    value: float | None = None


def plan_power(request: PowerRequest, ceiling: Ceiling, poll_s: float = 0.05, settling_s: float = 0.2) -> PowerPlan:
    """Return the plan for a supply; SpecError with every reason why it may not be powered.

    `poll_s` is the time between two polls, `settling_s` the dialect's settling time.
    """
    faults = [*_missing(request), *_too_much(request, ceiling)]
    if faults:
        raise SpecError(faults)
    assert request.current_limit_ampere is not None
    assert request.idle_max_ampere is not None
    assert request.input_capacitance_farad is not None
    limit = first_limit(request.current_limit_ampere, request.idle_max_ampere, request.start_current_ampere)
    if request.full_limit:
        limit = request.current_limit_ampere
    if limit <= request.idle_max_ampere:
        message = (
            f"{limit:g} A to start with leaves nothing to charge the board beside {request.idle_max_ampere:g} A of "
            "idle current; raise start_current or current_limit"
        )
        raise SpecError(Fault("", f"supply.{request.name}.start_current", message))
    charging_s = charging_time(request, limit)
    over = request.over_voltage_volt or request.voltage_volt + max(
        OVER_VOLTAGE_MARGIN_VOLT, (OVER_VOLTAGE_RATIO - 1.0) * request.voltage_volt
    )
    deadline_s = max(DEADLINE_TIMES * charging_s, POLLS * poll_s, settling_s)
    return PowerPlan(
        request.name,
        request.voltage_volt,
        limit,
        over,
        request.idle_max_ampere,
        charging_s,
        deadline_s,
        poll_s,
    )


def first_limit(current_limit_ampere: float, idle_max_ampere: float, start_ampere: float | None = None) -> float:
    """Return the limit for the first power: the start current, else twice the idle maximum, never above the limit.

    >>> first_limit(0.7, 0.045), first_limit(0.7, 0.045, 0.3), first_limit(0.05, 0.045)
    (0.09, 0.3, 0.05)
    """
    return min(current_limit_ampere, start_ampere if start_ampere is not None else 2.0 * idle_max_ampere)


def charging_time(request: PowerRequest, limit_ampere: float) -> float:
    """Return t = C V / (I_limit - I_idle,max) in seconds; fed outputs count with (V_out / V_in) squared."""
    assert request.input_capacitance_farad is not None
    assert request.idle_max_ampere is not None
    seen = request.input_capacitance_farad + sum(
        output.capacitance_farad * (output.voltage_volt / request.voltage_volt) ** 2 for output in request.fed
    )
    return seen * request.voltage_volt / (limit_ampere - request.idle_max_ampere)


def _missing(request: PowerRequest) -> list[Fault]:
    keys = {
        "current_limit": request.current_limit_ampere,
        "idle_current.max": request.idle_max_ampere,
        "input_capacitance": request.input_capacitance_farad,
    }
    return [
        Fault(
            "", f"supply.{request.name}.{key}", "is not given, and without it nothing is powered; add it to the spec"
        )
        for key, value in keys.items()
        if value is None or not value > 0.0
    ]


def _too_much(request: PowerRequest, ceiling: Ceiling) -> list[Fault]:
    """Return what exceeds the bench's ceiling or extra-low voltage; neither can be waived."""
    key = f"supply.{request.name}"
    faults = []
    if not 0.0 < request.voltage_volt <= MAX_DC_VOLT:
        message = f"{request.voltage_volt:g} V is not within 0 to {MAX_DC_VOLT:g} V DC; such a board is not powered"
        faults.append(Fault("", f"{key}.voltage", message))
    pairs = (
        ("voltage", request.voltage_volt, ceiling.voltage_volt, "V"),
        ("current_limit", request.current_limit_ampere or 0.0, ceiling.current_ampere, "A"),
    )
    faults += [
        Fault(
            "",
            f"{key}.{name}",
            f"{value:g} {unit} is above the bench's ceiling of {most:g} {unit}; it is not powered",
        )
        for name, value, most, unit in pairs
        if value > most
    ]
    return faults


def power_on_steps(
    plan: PowerPlan, present: SupplySettings, *, has_load: bool, has_over_voltage: bool
) -> tuple[Step, ...]:
    """Return what to do, in order, from any state of supply and load to power on.

    A supply set higher than the new over-voltage level is lowered first, since many refuse the level otherwise; that
    happens with the output off and seen off.
    """
    steps = [Step(Do.LOAD_OFF)] if has_load else []
    steps.append(Step(Do.OUTPUT_OFF))
    if has_over_voltage:
        if present.voltage_volt > plan.over_voltage_volt:
            steps += [Step(Do.SET_LIMIT, plan.limit_ampere), Step(Do.SET_VOLTAGE, plan.voltage_volt)]
        steps.append(Step(Do.SET_OVER_VOLTAGE, plan.over_voltage_volt))
    steps += [Step(Do.SET_LIMIT, plan.limit_ampere), Step(Do.SET_VOLTAGE, plan.voltage_volt)]
    return (*steps, Step(Do.READ_BACK), Step(Do.OUTPUT_ON))


def power_off_steps(*, has_load: bool) -> tuple[Step, ...]:
    """Return the way down: the load first, then the output."""
    return (*((Step(Do.LOAD_OFF),) if has_load else ()), Step(Do.OUTPUT_OFF))


def read_back_faults(plan: PowerPlan, found: SupplySettings) -> tuple[str, ...]:
    """Return a line for every setting that is not as planned, to the larger of 1 % and 20 mV or 5 mA.

    >>> plan = PowerPlan("BATT", 6.0, 0.3, 7.0, 0.045, 0.01, 0.2, 0.05)
    >>> read_back_faults(plan, SupplySettings(6.0, 3.0, 7.0))
    ('current limit reads back 3 A instead of 0.3 A',)
    """
    pairs = [
        ("voltage", found.voltage_volt, plan.voltage_volt, 0.02, "V"),
        ("current limit", found.limit_ampere, plan.limit_ampere, 0.005, "A"),
    ]
    if found.over_voltage_volt is not None:
        pairs.append(("over-voltage level", found.over_voltage_volt, plan.over_voltage_volt, 0.02, "V"))
    return tuple(
        f"{what} reads back {back:g} {unit} instead of {wanted:g} {unit}"
        for what, back, wanted, absolute, unit in pairs
        if abs(back - wanted) > max(absolute, 0.01 * wanted)
    )
