"""A simulated bench in front of a plain unit, with a bench file of its own and a hand that only writes down."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.model import Bench
from benchcheck.clock import SystemClock
from benchcheck.document import parse_document
from benchcheck.instruments.settling import SettleRule
from benchcheck.kinds.check import Check
from benchcheck.readings.metered import Taking
from benchcheck.session.answers import Answer
from benchcheck.session.hand import Hand
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.meters import Meters
from benchcheck.simulation.meter_front import MeterFront
from benchcheck.simulation.scpi_server import ServedBench
from benchcheck.simulation.supply_front import LoadFront, SupplyFront
from benchcheck.simulation.world import Excitation, PlainBench
from tests.instruments.rig import wait_until_left

#: quick enough for tests, the front ends of the rig settle in 5 ms
RULE = SettleRule(hold_s=0.02, timeout_s=2.0)
QUICK = Taking(settle=RULE, patient=RULE, slow=RULE)
BENCH = """\
benchcheck_bench = 1
[meter.dmm]
class = "bench-5.5"
leads = {{ nulled = true }}
link = {{ resource = "{meter}", dialect = "generic", timeout = "1 s" }}
{ranges}
[meter.esrmeter]
class = "esr-meter"
[supply.psu]
link = {{ resource = "{supply}", dialect = "generic" }}
ceiling = {{ voltage = "12 V", current = "1 A" }}
[load.eload]
link = {{ resource = "{load}", dialect = "generic" }}
[use]
esr = "esrmeter"
"""
RANGES = (
    ("ohms", "100 ohm", "1 mohm"),
    ("ohms", "1 kohm", "10 mohm"),
    ("ohms", "10 kohm", "0.1 ohm"),
    ("ohms", "100 kohm", "1 ohm"),
    ("ohms", "1 Mohm", "10 ohm"),
    ("dc_current", "1 mA", "10 nA"),
    ("dc_voltage", "100 mV", "1 uV"),
    ("dc_voltage", "1 V", "10 uV"),
    ("dc_voltage", "10 V", "0.1 mV"),
)
RANGE = '[[meter.dmm.range]]\nfunction = "{}"\nfull_scale = "{}"\nresolution = "{}"\naccuracy = "0.02 % + 6"\n'
RANGE += 'test_current = "100 uA"\n'


@dataclass
class ScriptedHand:
    """Says yes, sees what the script says, and writes down what it was asked."""

    seen: Mapping[str, str] = field(default_factory=dict)
    says: bool = True
    unit: PlainBench | None = None
    at: Mapping[str, float] = field(default_factory=dict)  # what lies between the tips, by check
    done: list[str] = field(default_factory=list)

    def place(self, check: Check) -> Answer | None:
        self.done.append(f"place {check.id}")
        if self.unit is not None and check.id in self.at:
            self.unit.values[check.function] = self.at[check.id]
        return None

    def lift(self) -> None:
        self.done.append("lift")

    def look(self, check: Check) -> str:
        return self.seen.get(check.id, check.answers[0] if check.answers else "seen")

    def confirm(self, question: str) -> bool:
        self.done.append(f"confirm {question}")
        return self.says

    def read(self, check: Check, meter: str) -> str:
        self.done.append(f"read {check.id} on {meter}")
        return self.seen[check.id]

    def discharge(self, check: Check) -> None:
        self.done.append(f"discharge {check.id}")


@dataclass
class Served:
    """What is served, and the bench file that names it."""

    unit: PlainBench
    meter: MeterFront
    supply: SupplyFront
    load: LoadFront
    served: ServedBench

    @property
    def text(self) -> str:
        meter, supply, load = (server.resource for server in self.served.servers)
        ranges = "".join(RANGE.format(*one) for one in RANGES)
        return BENCH.format(meter=meter, supply=supply, load=load, ranges=ranges)

    def bench(self) -> Bench:
        return load_bench(parse_document(self.text, "bench.toml"))


class Living(PlainBench):
    """A unit whose volts are those of its supply, so that nobody need say what the tips find."""

    def probed(self, excitation: Excitation, now_s: float) -> float:
        if excitation.function is Function.DC_VOLTAGE:
            return self.supply_point(now_s).voltage_volt
        return super().probed(excitation, now_s)


@contextlib.contextmanager
def served_bench(
    probed: Mapping[Function, float] | None = None,
    resistance_ohm: float = 150.0,
    capacitance_farad: float = 470e-6,
    kind: type[PlainBench] = PlainBench,
) -> Iterator[Served]:
    unit = kind(resistance_ohm, capacitance_farad, probed)
    fronts = (MeterFront(unit, settling_s=3e-3), SupplyFront(unit), LoadFront(unit))
    with ServedBench(fronts) as served:
        try:
            yield Served(unit, *fronts, served)
        finally:
            wait_until_left(served)


class Plain(InstrumentedSource):
    """Asks nothing of the meters themselves: a unit with one value everywhere has no shorted leads."""

    def own_checks(self) -> tuple[Check, ...]:
        return ()


def source(
    bench: Bench, hand: Hand, taking: Taking = QUICK, kind: type[InstrumentedSource] = InstrumentedSource
) -> InstrumentedSource:
    return kind(Meters(bench, SystemClock(), taking), hand)
