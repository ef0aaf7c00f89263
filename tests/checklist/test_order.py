"""The order of a visit and what must hold before each check."""

from __future__ import annotations

import pathlib
from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.builtin import load_spec, plugins
from benchcheck.checklist.interlocks import Interlocks
from benchcheck.checklist.order import draw_up, in_order, points_of, sought_anew
from benchcheck.checklist.select import select
from benchcheck.checklist.waivers import waivers_for
from benchcheck.errors import UsageError
from benchcheck.kinds.check import Check, Formula, Phase, Probe
from tests.factories import board, check, voltage

SPECS = pathlib.Path(__file__).parents[2] / "specs"
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


def test_a_part_s_own_checks_keep_their_order_and_the_nearest_part_comes_next() -> None:
    """Forward before reverse, then the part that shares a point; the other way round where the file has it so."""

    def drop(part: str, measurand: str, red: str, black: str) -> Check:
        return check(f"{part}.{measurand}", Function.DIODE, red=Probe("a lead", red), black=Probe("a lead", black))

    line = (
        drop("D1", "forward_drop", "A", "B"), drop("D1", "reverse", "B", "A"),
        drop("D2", "forward_drop", "X", "Y"), drop("D2", "reverse", "Y", "X"),
        drop("D3", "forward_drop", "A", "C"), drop("D3", "reverse", "C", "A"),
    )  # fmt: skip
    assert [one.id for one in in_order(line)] == [
        "D1.forward_drop", "D1.reverse", "D3.forward_drop", "D3.reverse", "D2.forward_drop", "D2.reverse",
    ]  # fmt: skip


@pytest.mark.parametrize("name", sorted(path.name for path in SPECS.glob("*.toml")))
def test_on_the_demo_boards_fewer_points_are_sought_than_in_the_order_of_the_file(name: str) -> None:
    board = load_spec(SPECS / name, plugins())
    places = list(Function)
    as_filed = sorted(board.checks, key=lambda one: (one.phase, places.index(one.function)))

    def sought(line: Sequence[Check]) -> int:
        probed = [one for one in line if one.function is not Function.VISUAL and points_of(one)]
        before = (frozenset[str](), *map(points_of, probed))
        return sum(sought_anew(at, one) for at, one in zip(before, probed, strict=False))

    line = in_order(board.checks)
    assert sought([one for one in line if not one.sources]) < sought([one for one in as_filed if not one.sources])
    for part in {one.subject for one in line}:
        of_part = [[one.id for one in order if one.subject == part and not one.sources] for order in (line, as_filed)]
        assert of_part[0] == of_part[1]
