"""A good unit never fails, whatever its seed; a faulty one shows it somewhere."""

from __future__ import annotations

import functools

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.bench.simulated import default_bench
from benchcheck.kinds.check import Check
from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Reading, Session
from benchcheck.readings.typed import read_typed
from benchcheck.score.judge import judge, judge_derived
from benchcheck.score.solver import CircuitSolver
from benchcheck.simulation.hand import SimulatedHand
from benchcheck.simulation.population import readings_of
from benchcheck.simulation.virtual_unit import VirtualUnit
from benchcheck.simulation.world import Excitation, Sink, Source
from benchcheck.spec.board import Board
from tests.simulation.units import BARE, board, demo

BENCH = default_bench()


def powered_texts(of: Board, faults: tuple[str, ...], seed: int) -> dict[str, str]:
    """What a hand reads of the powered checks, each on its own after a second."""
    unit = VirtualUnit(of, faults, seed)
    hand, now_s, found = SimulatedHand(unit, BENCH), 100.0, {}
    supply = next(iter(of.supplies.values()))
    for check in (one for one in of.checks if one.powered and one.function.metered):
        volt = supply.voltages.get(check.input_voltage, supply.voltage)
        hand.place(check)
        unit.drive(Source(True, volt, supply.current_limit or 1.0), now_s)
        unit.supply_point(now_s := now_s + 1.0)
        unit.sink(Sink(bool(check.load_a), check.load_a or 0.0), now_s)
        unit.supply_point(now_s := now_s + 1.0)
        found[check.id] = hand.read(check)
    return found


def verdicts(of: Board, texts: dict[str, str], bench: Bench = BENCH) -> dict[str, Verdict | None]:
    readings: dict[str, tuple[Reading, ...]] = {}
    solver, found = CircuitSolver(of, bench), {}
    for name, text in texts.items():
        check = of.by_id[name]
        readings[name] = (read_typed(check, text),)
        found[name] = judge(check, readings[name], bench, Session(), surroundings=solver).verdict
    for check in of.checks:
        if check.sources and all(name in readings for name in check.sources):
            found[check.id] = judge_derived(check, readings, bench, Session(), of.by_id).verdict
    return found


@functools.cache
def unpowered_texts(faults: tuple[str, ...], seed: int) -> dict[str, str]:
    shown = readings_of(demo(), BENCH, faults, seed)
    return {name: one.text for name, one in shown.items() if name in demo().by_id}


@pytest.mark.parametrize("seed", range(5))
def test_a_good_unit_never_fails_unpowered(seed: int) -> None:
    found = verdicts(demo(), unpowered_texts((), seed))
    assert len(found) > 140
    assert {name: one for name, one in found.items() if one not in (Verdict.PASS, Verdict.UNDECIDED)} == {}


@pytest.mark.parametrize("seed", range(3))
def test_a_good_unit_never_fails_under_power(seed: int) -> None:
    found = verdicts(demo(), powered_texts(demo(), (), seed))
    assert {name: one for name, one in found.items() if one not in (Verdict.PASS, Verdict.UNDECIDED)} == {}
    assert found["VSW.voltage[120mA:end_of_life]"] is Verdict.PASS
    assert found["BATT.off_current"] is Verdict.PASS


@pytest.mark.parametrize("seed", range(2))
def test_a_good_unit_of_a_board_without_nets_never_fails(seed: int) -> None:
    bare = board(BARE)
    texts = {name: one.text for name, one in readings_of(bare, BENCH, (), seed).items() if name in bare.by_id}
    found = verdicts(bare, texts)
    assert {name: one for name, one in found.items() if one not in (Verdict.PASS, Verdict.UNDECIDED)} == {}
    assert found["C9.polarity[marked]"] is found["Q1.be_drop"] is Verdict.PASS
    shown = readings_of(bare, BENCH, (), seed)["R14.resistance"].value
    assert shown == pytest.approx(4700.0, rel=0.0105)  # alone: nothing lies beside it


#: fault -> a check that shows it, as a repairer would expect it (common practice)
SHOWN = {
    "D3 reversed": "D3.forward_drop",
    "D3 open": "D3.forward_drop",
    "D3 short": "D3.forward_drop",
    "C9 reversed": "C9.polarity[marked]",
    "C12 reversed": "C12.orientation",
    "C9 short": "VSW.to_ground[red:VSW]",
    "C21 missing-joint plus": "C21.capacitance",
    "C16 short": "V5.to_ground[red:V5]",
    "R13 open": "R13.resistance",
    "R14 decade x10": "R14.resistance",
    "R12 decade x10": "R12.resistance",
    "R11 open": "R11.resistance",
    "L1 open": "L1.dc_resistance",
    "F1 open": "F1.resistance",
    "Q2 short": "Q2.body_diode",
    "Q2 missing-joint gate": "Q2.joint[gate]",
    "Q4 open": "Q4.be_drop",
    "Q4 wrong-polarity-type": "Q4.be_drop",
    "Q4 swapped-pins collector base": "Q4.be_drop",
    "U1:fb open": "U1.pin[fb:ground]",
    "U2 short": "U2.input_to_output",
    "bridge GDR LX": "isolation.resistance[GDR:LX]",
    "bridge XI XO": "isolation.resistance[XI:XO]",
    "leads-not-nulled": "S1.closed_resistance",
    "residual-charge": "C1.residual_voltage",
    "typed-1000 R14.resistance": "R14.resistance",
}


@pytest.mark.parametrize(("fault", "check"), SHOWN.items())
def test_a_fault_fails_where_a_repairer_would_look(fault: str, check: str) -> None:
    found = verdicts(demo(), {check: unpowered_texts((fault,), 3)[check]})
    assert found[check] in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL)


@pytest.mark.parametrize(
    ("fault", "check"),
    [
        ("C20 dry", "C20.esr"),
        ("C21 dry", "C21.esr"),
        ("C20 leaky", "C20.leakage_screen"),
        ("R41 open", "V5.to_ground[red:V5]"),
        ("Q5 leaky", "Q5.gate_insulation"),
        ("D6 leaky", "R33.resistance"),
        ("D5 reversed", "D5.forward_drop"),
    ],
)
def test_a_fault_that_no_limit_catches_still_moves_a_reading(fault: str, check: str) -> None:
    good, bad = unpowered_texts((), 3)[check], unpowered_texts((fault,), 3)[check]
    assert good != bad


def test_probes_the_wrong_way_round_show_in_the_signs_of_rails() -> None:
    texts = powered_texts(demo(), ("probes-swapped",), 3)
    found = verdicts(demo(), {"VSW.voltage[0A]": texts["VSW.voltage[0A]"]})
    assert found["VSW.voltage[0A]"] is Verdict.FAIL


@pytest.mark.parametrize(("fault", "direct", "farads"), [("lead-open", None, 0.0), ("tips-joined", 0.0, None)])
def test_a_lead_that_is_no_lead_shows_the_same_everywhere(
    fault: str, direct: float | None, farads: float | None
) -> None:
    read = readings_of(demo(), BENCH, (fault,), 3)
    ohms = ("meter.leads_shorted", "R11.resistance", "R12.resistance", "S1.open_resistance", "Q4.be_drop")
    assert all(read[name].value == pytest.approx(direct, abs=0.1) for name in ohms)
    assert read["C20.capacitance"].value == pytest.approx(farads, abs=1e-10)


def test_tips_held_apart_tell_joined_ones() -> None:
    unit = VirtualUnit(demo(), ("tips-joined",))
    unit.lift()
    assert unit.probed(Excitation(Function.OHMS, 1e-4, 2.0), 0.0) < 1.0


def test_a_charged_gate_shows_where_nothing_holds_the_gate() -> None:
    loose = board(
        '[part.Q1]\nkind = "mosfet"\nchannel = "N"\nnets = { gate = "G", drain = "D", source = "S" }\n'
        '[part.R1]\nkind = "resistor"\nvalue = "10k"\nnets = ["D", "S"]\n'
    )
    good, bad = (readings_of(loose, BENCH, faults, 1)["Q1.blocking"].text for faults in ((), ("charged-gate",)))
    assert good == "OL"
    assert float(bad) < 0.1


def test_the_hand_sees_what_shows_from_outside() -> None:
    hand = SimulatedHand(VirtualUnit(demo(), ("D3 reversed",)), BENCH)
    by_id: dict[str, Check] = dict(demo().by_id)
    assert hand.look(by_id["D3.orientation"]) == "no"
    assert hand.look(by_id["C9.orientation"]) == "yes"
    assert hand.look(by_id["C9.maker"]) == "yes"
    assert hand.confirm("every cell out?")
    assert hand.questions == ["every cell out?"]


def test_a_display_nobody_can_reach_by_link_is_read_within_its_meters_specification() -> None:
    unit = VirtualUnit(demo(), (), 5)
    hand, check = SimulatedHand(unit, BENCH), demo().by_id["C20.esr"]
    meter = BENCH.meter_for(Function.ESR)
    assert meter is not None
    shown = float(hand.read(check, "esrmeter"))
    netlist_esr = unit.netlist.by_designator["C20"].series_resistance_ohm  # type: ignore[union-attr]  # a capacitor
    each = meter.range_for(Function.ESR, shown)
    assert each is not None
    assert abs(shown - netlist_esr) <= each.half_width(shown) + 0.02
