"""What a diagnosis says: true of several faults, of slips, of too little read, of boards without nets."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.diagnose import Diagnosis, diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.shots import ALTERNATING, Shot
from benchcheck.diagnosis.wording import diagnosis_json, diagnosis_lines, short_lines
from benchcheck.spec.board import Board

from . import boards

NO_NETS = """\
benchcheck = 1
[board]
model = "Ellwick T-5 metronome"
revision = "A"
hazards = []
[part.R1]
kind = "resistor"
value = "4k7"
[part.D1]
kind = "diode"
[part.C1]
kind = "electrolytic"
value = "100 uF"
"""
TURNED = {"D1.forward_drop": "OL", "D1.reverse": "0.61"}


def said(found: Diagnosis) -> str:
    return "\n".join(diagnosis_lines(found))


def read(board: Board, readings: dict[str, str]) -> Diagnosis:
    typed = [boards.typed(name, text, board.by_id[name].quantity_unit) for name, text in readings.items()]
    return diagnose(board, boards.bench(), typed)


def test_readings_that_tell_two_pairs_of_faults_apart_are_asked_for(engine: Engine) -> None:
    found = read(
        engine.board, TURNED | {"R1.resistance": "46.2k", "R9.resistance": "10.05k", "R2.resistance": "9.98k"}
    )
    pairs = [group[0].hypothesis for group, _ in found.groups()[:2]]
    assert all(one.also for one in pairs)
    first = next(one for one in found.suggestions if len(one.if_cause) > 1)
    displays = {str(cause.hypothesis): cause.display for cause in first.if_cause}
    assert displays[str(pairs[0])] != displays[str(pairs[1])]
    assert f"if it is {pairs[0]}" in first.words


def test_a_slip_is_asked_to_be_read_again(engine: Engine) -> None:
    found = read(engine.board, {"R9.resistance": "1.01"})  # a resistor of 1k
    assert found.ranked[0].hypothesis.code == "typed-1000"
    again = next(one for one in found.suggestions if one.check == "R9.resistance")
    assert again.words == "read R9.resistance again, red on V5, black on GND: it was noted as 1.01 ohm"


def test_charge_that_was_noted_is_taken_off_before_anything_is_made_of_the_readings(engine: Engine) -> None:
    residual = next(c for c in engine.board.checks if c.measurand == "residual_voltage")
    assert residual.red is not None
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "good", {residual.id: "5.7"}))
    assert found.suggestions[0].words.startswith(
        "every cell and the supply out, take the charge off through a resistor"
    )
    assert str(residual.red.net) in found.suggestions[0].words
    assert any(remark.startswith("charge was noted at") for remark in found.remarks)


def test_a_part_seen_the_right_way_round_is_looked_at_again_before_it_is_turned(engine: Engine) -> None:
    readings = boards.readings(engine, "D1 reversed", {"D1.orientation": "yes"})
    found = diagnose(engine.board, engine.bench, readings)
    assert str(found.ranked[0].hypothesis) == "D1 reversed"
    assert any("D1 was seen the right way round: look at its mark again" in one for one in found.remarks)


def test_a_reading_that_only_climbed_is_named_as_of_no_part_in_the_answer(engine: Engine) -> None:
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "good", {"R1.resistance": "climbs"}))
    assert any("without a number" in one and "R1.resistance" in one for one in found.remarks)


def test_a_reading_of_more_than_a_display_shows_is_named_with_what_is_allowed(engine: Engine) -> None:
    far = {"D1.forward_drop": "300", "between.diode[VCC:GND]": "400"}
    taken = [one for one in boards.readings(engine, "good") if one.check not in far]
    taken += [boards.typed(name, text, "V") for name, text in far.items()]
    found = diagnose(engine.board, engine.bench, taken)
    (told,) = (one for one in found.remarks if one.startswith("more than any meter of this bench shows"))
    assert "D1.forward_drop as 300 V (diode ends at " in told
    assert "between.diode[VCC:GND] as 400 V" in told
    assert told in diagnosis_json(found)["remarks"]
    assert any(told in line for line in diagnosis_lines(found))


def test_what_a_display_may_show_and_what_overloads_is_not_remarked_on(engine: Engine) -> None:
    taken = boards.readings(engine, "D1 open")
    assert not any("more than any meter" in one for one in diagnose(engine.board, engine.bench, taken).remarks)


@pytest.mark.parametrize(("beyond", "named"), [(1.04, False), (1.06, True)])
def test_a_display_may_count_a_little_beyond_the_end_of_its_range(engine: Engine, beyond: float, named: bool) -> None:
    meter = engine.bench.meter_for(Function.DIODE)
    assert meter is not None
    end = max(one.ceiling for one in meter.ranges_of(Function.DIODE))
    taken = [one for one in boards.readings(engine, "good") if one.check != "D1.forward_drop"]
    taken.append(boards.typed("D1.forward_drop", f"{beyond * end:.3f}", "V"))
    remarks = diagnose(engine.board, engine.bench, taken).remarks
    assert any("more than any meter" in one for one in remarks) is named


def test_between_capacitors_pins_no_exchanged_reading_is_asked_for_again(engine: Engine) -> None:
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "C1 dry"))
    taken = {engine.shot_of(check) for check in engine.board.checks}
    for one in found.suggestions:
        if one.function in ALTERNATING:
            assert Shot(one.black, one.red, one.function) not in taken


def test_a_good_board_needs_nothing_more(engine: Engine) -> None:
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "good"))
    assert "next: nothing; no reading so far speaks for a fault" in said(found)


def test_after_power_the_way_to_the_next_reading_is_off(engine: Engine) -> None:
    found = read(engine.board, {"BATT.idle_current": "0.15"})
    assert any("switch off and see the charge gone" in remark for remark in found.remarks)


def test_causes_are_clauses(engine: Engine) -> None:
    words = " ".join(one.words for one in read(engine.board, {"R9.resistance": "1.0k"}).suggestions)
    assert "if the board is good" in words
    assert "R1 is of the wrong decade (x10)" in words
    assert " it is," not in words


def test_without_nets_several_parts_that_read_wrong_stand_each_for_itself() -> None:
    found = read(boards.board(NO_NETS), TURNED | {"R1.resistance": "47k"})
    assert "no single fault explains R1 and D1 together" in said(found)
    assert {one.words for one in found.suggestions} == {
        "lift one leg of R1 and read the part alone",
        "lift one leg of D1 and read the part alone",
    }


def test_without_nets_and_readings_nothing_is_certain_and_what_to_read_is_said() -> None:
    found = read(boards.board(NO_NETS), {})
    assert found.leading[1] < 0.99
    assert "no reading says anything of R1, D1 and C1" in said(found)
    assert found.suggestions[0].words == (
        "read R1.resistance, red on R1 lead 1, black on R1 lead 2: 4.465 kohm to 4.935 kohm if it is right"
    )
    some = read(boards.board(NO_NETS), {"R1.resistance": "4.7k", "D1.forward_drop": "0.58", "D1.reverse": "OL"})
    assert found.leading[1] < some.leading[1] < 1.0
    assert "no reading says anything of C1" in said(some)


def test_without_nets_charge_comes_before_any_other_reading() -> None:
    found = read(boards.board(NO_NETS), {"C1.residual_voltage": "12", "R1.resistance": "4.7k"})
    assert found.suggestions[0].words.startswith("every cell and the supply out, take the charge off")
    assert "charge was noted at C1" in said(found)


@pytest.mark.parametrize(("text", "words"), [("-450", "below nothing"), ("4.7", "a thousand times off")])
def test_without_nets_what_no_part_alone_reads_is_read_again(text: str, words: str) -> None:
    found = read(boards.board(NO_NETS), {"R1.resistance": text})
    assert found.suggestions[0].words.startswith("read R1.resistance again: ")
    assert words in said(found)


def test_where_the_good_board_suits_best_no_fault_is_called_likely(engine: Engine) -> None:
    found = diagnose(engine.board, engine.bench, boards.readings(engine, "good"))
    assert next(short_lines(found)).startswith("likely cause: none found; a good board suits the readings best")


def test_where_faults_are_listed_the_origin_of_their_odds_is_too(engine: Engine) -> None:
    found = read(engine.board, {})
    assert found.leading[0][0].hypothesis.code == "good"
    assert "chance before any reading: " in said(found)


def test_paths_the_spec_does_not_name_are_called_no_fault(engine: Engine) -> None:
    found = read(engine.board, {"R9.resistance": "312"})
    leading = found.groups()[0][0][0].hypothesis
    assert leading.code == "paths"
    assert "no fault shown: paths the spec does not name" in said(found)
    assert "next: " in said(found)
    assert next(short_lines(found)).startswith("likely cause: no fault shown: paths")


def test_a_bridge_is_looked_for_before_a_leg_is_lifted(engine: Engine) -> None:
    diagnosis = diagnose(engine.board, engine.bench, boards.readings(engine, "bridge VCC GND"))
    assert "look with a glass" in diagnosis.suggestions[0].words
    assert "lift one leg of " in diagnosis.suggestions[0].words


def test_a_joint_that_is_likely_missing_is_looked_for_at_its_lead(engine: Engine) -> None:
    more = [boards.typed(f"between.diode[{net}:BASE]", "OL", "V") for net in ("GND", "OUT")]
    taken = [*boards.readings(engine, "Q1 missing-joint base"), *more]
    diagnosis = diagnose(engine.board, engine.bench, taken)
    assert any("lead of Q1, above the solder" in one.words for one in diagnosis.suggestions)


def test_two_slips_on_one_reading_ask_for_it_once(engine: Engine) -> None:
    diagnosis = diagnose(engine.board, engine.bench, boards.readings(engine, "good", {"D1.forward_drop": "OL"}))
    words = [one.words for one in diagnosis.suggestions]
    assert len(words) == len(set(words))
