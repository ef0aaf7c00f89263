"""Every kind of misbehaviour against every driver operation, judged: right, refused, or wrong.

Right: the driver's answer is the truth of the simulated instrument. Refused: a clear instrument error (exit 4 or 5).
Anything else (a wrong number, another exception, a hang) is wrong. After each operation on a supply or load the
power is made safe, and what is said of the output is compared with the output.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.clock import SystemClock
from benchcheck.errors import InstrumentError
from benchcheck.instruments.connection import LinkSettings, connect
from benchcheck.instruments.electronic_load import ElectronicLoad
from benchcheck.instruments.make_safe import make_safe
from benchcheck.instruments.multimeter import Multimeter, Series
from benchcheck.instruments.power_supply import Mode, PowerSupply
from benchcheck.instruments.power_watch import OffState
from benchcheck.instruments.settling import SettleRule
from benchcheck.simulation.misbehaviour import HARMLESS, Kind, Misbehaviour
from tests.instruments.rig import TRUTH_OHM, Rig, catalogue, running_rig

SETTLE = SettleRule(window=3, hold_s=0.03, timeout_s=0.6)
HANG_S = 20.0
AMOUNTS = {
    Kind.LATE: 0.35,
    Kind.SPLIT: 0.002,
    Kind.DRIBBLES: 0.03,
    Kind.PAUSES: 0.35,
    Kind.DUPLICATED_LATER: 0.002,
    Kind.NUMBER_LATER: 0.002,
    Kind.REFUSES: 0.3,
    Kind.MUTE: 0.5,
    Kind.DROPS_EARLY: 0.005,
    Kind.SLOW_FIRST: 0.5,
    Kind.SETTINGS_SCALED: 1.5,
    Kind.READBACK_SCALED: 1.02,
}
#: the same digit changed in every answer, for ever, is what an instrument out of calibration shows: only the
#: self-check against a known resistor and cell can find that
BEYOND_ANY_DRIVER = (Kind.DIGIT_CHANGED,)


@dataclass(frozen=True)
class Operation:
    name: str
    role: str
    run: Callable[[Rig, object], bool]
    powered: bool = False


def near(found: float, truth: float, relative: float = 0.002, absolute: float = 0.0) -> bool:
    return abs(found - truth) <= max(relative * abs(truth), absolute)


def _meter(run: Callable[[Rig, Multimeter], bool]) -> Callable[[Rig, object], bool]:
    def wrapped(rig: Rig, driver: object) -> bool:
        assert isinstance(driver, Multimeter)
        return run(rig, driver)

    return wrapped


def _supply(run: Callable[[Rig, PowerSupply], bool]) -> Callable[[Rig, object], bool]:
    def wrapped(rig: Rig, driver: object) -> bool:
        assert isinstance(driver, PowerSupply)
        return run(rig, driver)

    return wrapped


def _load(run: Callable[[Rig, ElectronicLoad], bool]) -> Callable[[Rig, object], bool]:
    def wrapped(rig: Rig, driver: object) -> bool:
        assert isinstance(driver, ElectronicLoad)
        return run(rig, driver)

    return wrapped


def _ohms_right(series: Series) -> bool:
    """A series is right when it is settled and true, or says by its state that it is not a value."""
    if not series.settled or not series.values:
        return True  # nobody takes it for a value
    return all(near(value, TRUTH_OHM) for value in series.values) and series.function is Function.OHMS


def _measured(rig: Rig, meter: Multimeter) -> bool:
    return _ohms_right(meter.measure(Function.OHMS, settle=SETTLE))


def _ranged(rig: Rig, meter: Multimeter) -> bool:
    series = meter.measure(Function.OHMS, full_scale=10e3, count=3, settle=SETTLE)
    return _ohms_right(series) and series.full_scale in (None, 10e3)


def _diode(rig: Rig, meter: Multimeter) -> bool:
    series = meter.measure(Function.DIODE, settle=SETTLE)
    return not series.settled or not series.values or near(series.values[0], 0.55)


def _nulled(rig: Rig, meter: Multimeter) -> bool:
    rig.bench.values[Function.OHMS] = 0.18
    return near(meter.null_leads(), 0.18, absolute=0.005)


def _identified(rig: Rig, server: int, name: str, role: str, identity: str) -> bool:
    settings = LinkSettings(rig.served.servers[server].resource, rig.dialect)
    for connection in rig.connections:
        connection.close()  # instruments of one client
    made = connect(name, role, settings, catalogue(), SystemClock())
    rig.connections.append(made)
    return made.identity == identity


def _limit_set(rig: Rig, supply: PowerSupply) -> bool:
    supply.set_current_limit(0.25)
    return near(rig.supply.limit_ampere, 0.25, absolute=0.003)


def _voltage_set(rig: Rig, supply: PowerSupply) -> bool:
    supply.set_voltage(4.0)
    return near(rig.supply.voltage_volt, 4.0, absolute=0.01)


def _level_set(rig: Rig, supply: PowerSupply) -> bool:
    supply.set_over_voltage(8.0)
    return near(rig.supply.over_voltage_volt, 8.0, absolute=0.01)


def _settings_read(rig: Rig, supply: PowerSupply) -> bool:
    found, front = supply.settings(), rig.supply
    level = found.over_voltage_volt
    return (
        near(found.voltage_volt, front.voltage_volt)
        and near(found.limit_ampere, front.limit_ampere)
        and (level is None or near(level, front.over_voltage_volt))
    )


def _switched_on(rig: Rig, supply: PowerSupply) -> bool:
    supply.on()
    return rig.supply.output


def _switched_off(rig: Rig, supply: PowerSupply) -> bool:
    supply.off()
    return not rig.supply.output


def _state_read(rig: Rig, supply: PowerSupply) -> bool:
    return supply.is_on() is rig.supply.output


def _steady(rig: Rig, supply: PowerSupply) -> bool:
    point = supply.steady(SettleRule(window=3, hold_s=0.02, relative=0.01, timeout_s=0.6))
    truth = rig.bench.supply_point(rig.supply.now_s)
    return (
        near(point.voltage_volt, truth.voltage_volt, 0.03, 0.01)
        and near(point.current_ampere, truth.current_ampere, 0.03, 0.001)
        and point.mode in (Mode.VOLTAGE, Mode.UNKNOWN)
    )


def _trip_read(rig: Rig, supply: PowerSupply) -> bool:
    return supply.tripped() is rig.supply.tripped


def _cleared(rig: Rig, supply: PowerSupply) -> bool:
    supply.clear_protection()
    return not rig.supply.output and not rig.supply.tripped


def _mode_chosen(rig: Rig, load: ElectronicLoad) -> bool:
    load.set_constant_current()
    return not rig.load.input


def _level_chosen(rig: Rig, load: ElectronicLoad) -> bool:
    load.set_current(0.12)
    return near(rig.load.current_ampere, 0.12, absolute=0.003)


def _level_read(rig: Rig, load: ElectronicLoad) -> bool:
    return near(load.settings(), rig.load.current_ampere, absolute=1e-4)


def _input_on(rig: Rig, load: ElectronicLoad) -> bool:
    load.on()
    return rig.load.input


def _input_off(rig: Rig, load: ElectronicLoad) -> bool:
    load.off()
    return not rig.load.input


def _load_steady(rig: Rig, load: ElectronicLoad) -> bool:
    point = load.steady(SettleRule(window=3, hold_s=0.02, relative=0.01, timeout_s=0.6))
    truth = rig.bench.load_point(rig.load.now_s)
    return near(point.voltage_volt, truth.voltage_volt, 0.03, 0.01) and near(
        point.current_ampere, truth.current_ampere, 0.03, 0.001
    )


OPERATIONS = (
    Operation("meter: connect", "dmm", lambda rig, _: _identified(rig, 0, "meter.dmm", "dmm", METER)),
    Operation("meter: ohms, settled", "dmm", _meter(_measured)),
    Operation("meter: ohms, fixed range, three readings", "dmm", _meter(_ranged)),
    Operation("meter: diode", "dmm", _meter(_diode)),
    Operation("meter: lead null", "dmm", _meter(_nulled)),
    Operation("supply: connect", "psu", lambda rig, _: _identified(rig, 1, "supply.psu", "psu", SUPPLY)),
    Operation("supply: current limit", "psu", _supply(_limit_set)),
    Operation("supply: voltage", "psu", _supply(_voltage_set)),
    Operation("supply: over-voltage level", "psu", _supply(_level_set)),
    Operation("supply: settings", "psu", _supply(_settings_read)),
    Operation("supply: on", "psu", _supply(_switched_on)),
    Operation("supply: off", "psu", _supply(_switched_off), powered=True),
    Operation("supply: is it on", "psu", _supply(_state_read), powered=True),
    Operation("supply: measure", "psu", _supply(_steady), powered=True),
    Operation("supply: tripped", "psu", _supply(_trip_read), powered=True),
    Operation("supply: clear protection", "psu", _supply(_cleared), powered=True),
    Operation("load: connect", "load", lambda rig, _: _identified(rig, 2, "load.eload", "load", LOAD)),
    Operation("load: constant current", "load", _load(_mode_chosen)),
    Operation("load: level", "load", _load(_level_chosen)),
    Operation("load: settings", "load", _load(_level_read)),
    Operation("load: on", "load", _load(_input_on), powered=True),
    Operation("load: off", "load", _load(_input_off), powered=True),
    Operation("load: measure", "load", _load(_load_steady), powered=True),
)
METER = "Fenwater Instruments,M55,100042,1.07"
SUPPLY = "Fenwater Instruments,S3205,200017,2.31"
LOAD = "Fenwater Instruments,L150,300008,1.02"


@dataclass
class Tally:
    """Outcomes counted; `faults` names every case that went wrong."""

    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)

    def add(self, outcome: str, case: str) -> None:
        self.counts[outcome] += 1
        if outcome.startswith("WRONG"):
            self.faults.append(f"{case}: {outcome}")


def prepared(rig: Rig, operation: Operation) -> tuple[object, PowerSupply, ElectronicLoad]:
    """Connect everything honestly, with power on where the operation needs it."""
    supply, load = rig.power_supply(), rig.electronic_load()
    meter = rig.multimeter()
    supply.set_over_voltage(7.0)
    supply.set_current_limit(0.5)
    supply.set_voltage(5.0)
    load.set_current(0.1)
    if operation.powered:
        supply.on()
        load.on() if "off" in operation.name or "measure" in operation.name else None
        SystemClock().sleep(0.02)
    if operation.role == "dmm":
        meter.measure(Function.DIODE if "diode" in operation.name else Function.OHMS, settle=None)
    return {"dmm": meter, "psu": supply, "load": load}[operation.role], supply, load


def run_case(kind: Kind, operation: Operation, times: int, dialect: str, skip: int = 0) -> tuple[str, bool]:
    """Return the outcome of one case, and whether the misbehaviour struck at all."""
    clock = SystemClock()
    with running_rig(dialect) as rig:
        driver, supply, load = prepared(rig, operation)
        server = rig.served.servers[("dmm", "psu", "load").index(operation.role)]
        fault = Misbehaviour(kind, times=times, amount=AMOUNTS.get(kind, 0.0), skip=skip)
        server.faults.append(fault)
        began_s = clock.monotonic_s()
        outcome = _outcome(rig, driver, operation)
        if clock.monotonic_s() - began_s > HANG_S:
            outcome = "WRONG: it hung"
        if kind in HARMLESS and outcome != "right":
            outcome = f"WRONG: refused a harmless answer ({outcome})"
        if operation.role != "dmm" and "connect" not in operation.name:
            outcome = _safe(rig, supply, load, outcome)
        return outcome, fault.struck > 0


def _outcome(rig: Rig, driver: object, operation: Operation) -> str:
    try:
        right = operation.run(rig, driver)
    except InstrumentError as reason:
        return "refused" if reason.exit_code in (4, 5) and len(str(reason)) > 15 else "WRONG: an unclear error"
    except Exception as reason:
        return f"WRONG: {type(reason).__name__}: {reason}"
    return "right" if right else "WRONG: a wrong answer was taken"


def _safe(rig: Rig, supply: PowerSupply, load: ElectronicLoad, outcome: str) -> str:
    report = make_safe(supply, load, fall_s=0.0)
    if outcome.startswith("WRONG"):
        return outcome
    if report.state is not OffState.UNKNOWN and rig.supply.output:
        return "WRONG: the output was said to be off and is on"
    if report.state is OffState.UNKNOWN:
        return f"{outcome}, output {'on' if rig.supply.output else 'off'} and said to be unknown"
    return f"{outcome}, output off"


def run_matrix(
    kinds: Iterable[Kind], operations: Iterable[Operation], variants: Iterable[tuple[int, int]], dialect: str
) -> Tally:
    """Run kinds x operations x variants (times, answers let through first) and count."""
    tally, chosen = Tally(), list(operations)
    patterns = list(variants)
    for kind in kinds:
        for operation in chosen:
            for times, skip in patterns:
                if times < 0 and kind in BEYOND_ANY_DRIVER:
                    tally.add("left out: beyond any driver", "")
                    continue
                outcome, struck = run_case(kind, operation, times, dialect, skip)
                case = f"{kind} x {operation.name} ({dialect}, {times} times after {skip})"
                tally.add(outcome if struck else f"{outcome} (did not strike)", case)
    return tally
