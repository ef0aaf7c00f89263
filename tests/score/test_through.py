"""What a bench can decide of a part on the board, where the circuit around it is whole."""

from __future__ import annotations

import pytest

from benchcheck.metrology import Verdict
from benchcheck.readings.reading import Session
from benchcheck.score.capability import Decides, capabilities, capability_json
from benchcheck.score.judge import judge
from benchcheck.score.solver import CircuitSolver
from tests.factories import bench, reading
from tests.score.test_solver import BOARD, METER, board


def test_a_solvable_part_is_decided_and_its_window_is_what_the_board_shows() -> None:
    """4.7 k 5 % beside 22 k: 4.465 k and 4.935 k read 3.7116 k and 4.0306 k (parallel resistances)."""
    on = board()
    found = {one.check: one for one in capabilities(on.checks, METER, Session(), CircuitSolver(on, METER))}
    one = found["R1.resistance"]
    assert one.decides is Decides.YES
    assert one.window_lower == pytest.approx(4465 * 22e3 / (4465 + 22e3), rel=1e-4)
    assert one.window_upper == pytest.approx(4935 * 22e3 / (4935 + 22e3), rel=1e-4)
    assert (one.lower, one.upper) == (4465.0, 4935.0)


def test_capability_promises_what_a_reading_as_expected_then_gives() -> None:
    on = board()
    solver = CircuitSolver(on, METER)
    of = on.by_id["R1.resistance"]
    (said,) = (one for one in capabilities(on.checks, METER, Session(), solver) if one.check == of.id)
    score = judge(of, [reading(of, "3.873k")], METER, Session(), surroundings=solver)
    assert score.verdict is Verdict.PASS
    assert score.expanded_uncertainty == pytest.approx(said.expanded_uncertainty, rel=1e-2)


def test_without_complete_nets_it_stays_one_sided() -> None:
    on = board(BOARD.replace("complete = true", "complete = false"))
    found = {one.check: one for one in capabilities(on.checks, METER, Session(), CircuitSolver(on, METER))}
    assert found["R1.resistance"].decides is Decides.ONE_SIDED


def test_where_the_meter_and_not_the_parts_around_are_unsure_no_leg_needs_lifting() -> None:
    on = board(BOARD.replace('tolerance = "5 %"', 'tolerance = "2 %"'))
    found = {one.check: one for one in capabilities(on.checks, METER, Session(), CircuitSolver(on, METER))}
    one = found["R1.resistance"]
    assert one.decides in (Decides.GUARDED, Decides.BARELY)
    assert one.workaround == on.by_id["R1.resistance"].workaround


def test_neighbours_too_wide_send_to_the_iron_not_to_another_meter() -> None:
    on = board(
        BOARD.replace('value = "12k"\ntolerance = "1 %"', 'value = "1k2"\ntolerance = "20 %"').replace("10k", "1k")
    )
    found = {one.check: one for one in capabilities(on.checks, METER, Session(), CircuitSolver(on, METER))}
    one = found["R1.resistance"]
    assert one.decides is Decides.NO
    assert "lift" in one.workaround.casefold()


def test_checks_the_circuit_says_nothing_of_are_as_without_it() -> None:
    on = board()
    plain = [one for one in capabilities(on.checks, METER, Session()) if one.check != "R1.resistance"]
    with_circuit = capabilities(on.checks, METER, Session(), CircuitSolver(on, METER))
    assert plain == [one for one in with_circuit if one.check != "R1.resistance"]
    assert bench() == METER


def test_the_good_board_is_told_both_ways_with_its_parts_in_percent() -> None:
    """4.7 k beside 22 k reads 3.8727 k; its share is the slope times the value, m/R of all: 82.4 %."""
    on = board()
    found = {one.check: one for one in capabilities(on.checks, METER, Session(), CircuitSolver(on, METER))}
    seen = found["R1.resistance"].on_board
    assert seen is not None
    assert seen.value == pytest.approx(4700 * 22e3 / 26.7e3, rel=1e-6)
    assert seen.value_exchanged == pytest.approx(seen.value)
    assert {share.part: round(share.percent, 1) for share in seen.shares} == {"R1": 82.4, "R2": 9.6, "R3": 8.0}
    told = capability_json(found.values())["checks"]
    assert next(one for one in told if one["check"] == "R1.resistance")["on_board"]["display"] == seen.display


def test_a_junction_across_a_part_makes_the_two_ways_differ() -> None:
    diode = '[part.D1]\nkind = "diode"\nnets = { anode = "A", cathode = "GND" }\n'
    on = board(BOARD + diode)
    (one,) = (each for each in on.checks if each.id == "D1.forward_drop")
    seen = CircuitSolver(on, METER).both_ways(one)
    assert seen is not None
    assert seen.value is not None
    assert 0.45 < seen.value < 0.6
    assert seen.value_exchanged is None
    assert seen.display_exchanged == "OL"
