"""The order of a visit and what must hold before each check."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.checklist.interlocks import Interlocks
from benchcheck.checklist.order import draw_up, in_order
from benchcheck.checklist.select import select
from benchcheck.checklist.waivers import waivers_for
from benchcheck.errors import UsageError
from benchcheck.kinds.check import Formula, Phase
from tests.factories import board, check, voltage

RESIDUAL = voltage("VSW.residual_voltage", Phase.RESIDUAL_VOLTAGE, None, 0.2)
POLARITY = check("C9.polarity[marked]", phase=Phase.POLARITY)
DIODE = check("D3.forward_drop", Function.DIODE)
RESISTOR = check("R14.resistance")
ISOLATION = check("isolation.resistance[GDR:LX]", phase=Phase.ISOLATION)
TO_GROUND = check("VSW.to_ground[red:VSW]", phase=Phase.TO_GROUND)
RAIL = voltage("VSW.voltage[120mA]", Phase.RAILS, 8.64, 9.36)
RAIL_IDLE = voltage("VSW.voltage[0A]", Phase.RAILS, 8.64, 9.36)
REGULATION = check(
    "VSW.load_regulation",
    Function.DERIVED,
    Phase.RAILS,
    sources=(RAIL_IDLE.id, RAIL.id),
    formula=Formula.LOAD_REGULATION,
)
ALL = (REGULATION, RAIL, RAIL_IDLE, TO_GROUND, ISOLATION, RESISTOR, DIODE, POLARITY, RESIDUAL)
BOARD = board(*ALL)
ALL_BUT_RAILS = {one.id for one in ALL if not one.powered}


def test_charge_comes_first_then_polarity_parts_shorts_and_power_last() -> None:
    order = [one.id for one in in_order(ALL)]
    assert order == [
        RESIDUAL.id, POLARITY.id, RESISTOR.id, DIODE.id, ISOLATION.id, TO_GROUND.id,
        RAIL.id, RAIL_IDLE.id, REGULATION.id,
    ]  # fmt: skip


@given(st.permutations(ALL))
def test_a_derived_check_follows_its_sources_whatever_order_the_spec_has(checks: list[object]) -> None:
    order = [one.id for one in in_order(checks)]  # type: ignore[arg-type]
    assert order.index(REGULATION.id) > max(order.index(RAIL.id), order.index(RAIL_IDLE.id))
    assert sorted(order) == sorted(one.id for one in ALL)


def test_a_powered_check_pulls_in_what_must_be_in_order_before_power() -> None:
    plan = draw_up(BOARD, [RAIL.id])
    assert plan.pulled_in == {POLARITY.id, DIODE.id, ISOLATION.id, TO_GROUND.id, RESIDUAL.id}
    assert RESISTOR.id not in {one.id for one in plan.checks}


def test_a_derived_check_pulls_in_its_sources_even_where_everything_is_on_file() -> None:
    plan = draw_up(BOARD, [REGULATION.id], at_the_bench=False)
    assert {RAIL.id, RAIL_IDLE.id, TO_GROUND.id} <= plan.pulled_in
    assert RESIDUAL.id not in plan.pulled_in


def test_ohms_at_the_bench_wait_for_the_proof_that_charge_is_gone() -> None:
    assert Interlocks.of(BOARD).prerequisites(RESISTOR) == (RESIDUAL.id,)
    assert Interlocks.of(BOARD).in_the_way(RESISTOR, set(), ()) != ()
    assert Interlocks.of(BOARD).in_the_way(RESISTOR, {RESIDUAL.id}, ()) == ()
    assert draw_up(BOARD, [RESISTOR.id]).pulled_in == {RESIDUAL.id}
    assert draw_up(BOARD, [RESISTOR.id], at_the_bench=False).pulled_in == frozenset()


@pytest.mark.parametrize("missing", [POLARITY, DIODE, ISOLATION, TO_GROUND], ids=lambda one: one.id)
def test_power_waits_for_polarity_junctions_isolation_and_rails_to_ground(missing: object) -> None:
    name = missing.id  # type: ignore[attr-defined]
    good = ALL_BUT_RAILS - {name}
    assert Interlocks.of(BOARD).in_the_way(RAIL, good, ()) == (f"not in order: {name}",)
    waivers = waivers_for(BOARD, [(name, "measured with another meter yesterday")])
    assert Interlocks.of(BOARD).in_the_way(RAIL, good, waivers) == ()


def test_many_things_in_the_way_are_told_in_one_line() -> None:
    (told,) = Interlocks.of(BOARD).in_the_way(RAIL, set())
    assert told.startswith("not in order: ")
    (charge,) = Interlocks.of(BOARD).in_the_way(RESISTOR, set())
    assert charge.startswith("charge is not proven gone at VSW.residual_voltage")


def test_power_does_not_wait_for_a_resistor() -> None:
    assert Interlocks.of(BOARD).in_the_way(RAIL, ALL_BUT_RAILS - {RESISTOR.id}, ()) == ()


def test_the_boards_own_refusals_cannot_be_waived() -> None:
    refused = board(*ALL, power_refusals=("hazards are not written down",))
    waivers = waivers_for(refused, [(RAIL.id, "I know what I am doing")])
    assert Interlocks.of(refused).in_the_way(RAIL, ALL_BUT_RAILS, waivers) == ("hazards are not written down",)


def test_residual_charge_cannot_be_waived() -> None:
    waivers = waivers_for(BOARD, [(RESIDUAL.id, "it is surely gone by now")])
    assert Interlocks.of(BOARD).in_the_way(RESISTOR, set(), waivers) != ()


def test_a_waiver_needs_a_known_check_a_reason_and_stands_once() -> None:
    given_pairs = [("C9.polarty[marked]", "a good reason"), (DIODE.id, "because"), *[(RAIL.id, "two words")] * 2]
    with pytest.raises(UsageError) as caught:
        waivers_for(BOARD, given_pairs)
    unknown, thin, twice = map(str, caught.value.faults)
    assert 'did you mean "C9.polarity[marked]"?' in unknown
    assert '"because" is not a reason' in thin
    assert "waived twice" in twice


@pytest.mark.parametrize(
    ("wanted", "chosen"),
    [
        ("R14", [RESISTOR.id]),
        ("r14.RESISTANCE", [RESISTOR.id]),
        ("VSW.voltage", [RAIL.id, RAIL_IDLE.id]),
        ("VSW.voltage[120mA]", [RAIL.id]),
        ("isolation, D3", [ISOLATION.id, DIODE.id]),
    ],
)
def test_checks_are_selected_by_part_by_id_or_without_the_bracket(wanted: str, chosen: list[str]) -> None:
    assert list(select(BOARD, wanted)) == chosen


@pytest.mark.parametrize(
    ("wanted", "told"), [("R41", 'did you mean "R14"?'), ("", "names nothing"), ("zz9", "there are VSW, isolation")]
)
def test_a_selection_that_fits_nothing_is_named(wanted: str, told: str) -> None:
    with pytest.raises(UsageError, match=told.replace("?", r"\?")):
        select(BOARD, wanted)


def test_a_powered_check_of_a_board_that_gets_no_power_is_refused_with_the_reason() -> None:
    why = 'hazard "mains" allows unpowered checks only'
    kept = tuple(one for one in ALL if not one.powered)
    withheld = frozenset(one.id for one in ALL if one.powered)
    refused = replace(board(*kept), power_refusals=(why,), withheld=withheld)
    for word in ("VSW.voltage", "vsw.voltage[120mA]"):
        with pytest.raises(UsageError, match=f"needs power, and this board gets none: {why}"):
            select(refused, word)
