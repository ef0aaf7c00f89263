from __future__ import annotations

import math

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.diagnosis.diagnose import Diagnosis, diagnose
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.foreseen import beforehand
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED
from benchcheck.diagnosis.next_measurement import candidates, cost_s, information
from benchcheck.diagnosis.powered import feeding
from benchcheck.diagnosis.predictions import read_under
from benchcheck.diagnosis.shots import Shot
from benchcheck.diagnosis.wording import diagnosis_json, diagnosis_lines, short_lines

from . import boards


def never_touched(engine: Engine, ohms: str, volts: str, farads: str) -> dict[str, str]:
    """Return what a meter reads that never has the board between its tips."""
    shows = {
        Function.OHMS: ohms, Function.LOW_POWER_OHMS: ohms, Function.DIODE: volts, Function.CAPACITANCE: farads
    }  # fmt: skip
    return {c.id: shows[c.function] for c in engine.board.checks if c.function in shows}


def found(engine: Engine, fault: str, changed: dict[str, str] | None = None) -> Diagnosis:
    return diagnose(engine.board, engine.bench, boards.readings(engine, fault, changed))


def names(diagnosis: Diagnosis) -> list[str]:
    return [str(one.hypothesis) for one in diagnosis.leading[0]]


@pytest.mark.parametrize(
    "fault",
    ["good", "D1 reversed", "D1 short", "R1 decade x10", "C1 reversed", "bridge BASE OUT"],
)
def test_a_fault_comes_first_after_the_readings_of_the_spec(engine: Engine, fault: str) -> None:
    assert fault in names(found(engine, fault))


@pytest.mark.parametrize(
    ("changed", "slip"),
    [
        ({"R2.resistance": "10.01"}, "typed-1000 R2.resistance"),
        ({"D1.forward_drop": "OL"}, "probes-swapped D1.forward_drop"),
    ],
)
def test_slips_of_the_hand_are_thought_of(engine: Engine, changed: dict[str, str], slip: str) -> None:
    ranked = [str(one.hypothesis) for one in found(engine, "good", changed).ranked[:4]]
    assert slip in ranked


@pytest.mark.parametrize(
    ("check", "text"),
    [
        ("R9.resistance", "1.000M"), ("R9.resistance", "1.00"), ("R1.resistance", "4.7"),
        ("D1.forward_drop", "590"), ("M1.body_diode", "0.00062"), ("C1.capacitance", "100n"),
    ],
)  # fmt: skip
def test_a_reading_a_thousand_off_is_named_first_and_asked_for_again(engine: Engine, check: str, text: str) -> None:
    diagnosis = found(engine, "good", {check: text})
    assert names(diagnosis) == [f"typed-1000 {check}"]
    assert not any("no single fault explains" in remark for remark in diagnosis.remarks)
    assert any(f"read {check} again" in one.words for one in diagnosis.suggestions)


def test_a_reading_below_nothing_is_charge(engine: Engine) -> None:
    assert names(found(engine, "good", {"R9.resistance": "-450"})) == ["residual-charge R9.resistance"]


def test_charge_that_was_seen_makes_a_wild_reading_of_it(engine: Engine) -> None:
    changed = {"VCC.residual_voltage": "1.9", "VCC.to_ground[red:VCC]": "-310"}
    ranked = [one.hypothesis.code for one in found(engine, "good", changed).ranked[:5]]
    assert "residual-charge" in ranked


def test_leads_that_are_not_taken_off_show_in_every_low_reading(engine: Engine) -> None:
    changed = {"meter.leads_shorted": "0.0"}
    low = {c.id: "0.5" for c in engine.board.checks if "polarity[marked]" in c.id}
    codes = [one.hypothesis.code for one in found(engine, "good", changed | low).ranked]
    assert "leads-not-nulled" in codes[:3]


def test_leads_that_were_read_and_taken_off_are_no_slip(engine: Engine) -> None:
    # the tips together read 0.2 ohm here; only a meter nulled for that leaves something over
    low = {c.id: "0.5" for c in engine.board.checks if "polarity[marked]" in c.id}
    assert "leads-not-nulled" not in [one.hypothesis.code for one in found(engine, "good", low).ranked]


@pytest.mark.parametrize(("shows", "slip"), [("OL", "lead-open"), ("0.2", "tips-joined")])
def test_a_meter_that_never_had_the_board_between_its_tips(engine: Engine, shows: str, slip: str) -> None:
    every = never_touched(engine, shows, *(("OL", "0.00n") if shows == "OL" else ("0.000", "OL")))
    diagnosis = found(engine, "good", every)
    assert diagnosis.ranked[0].hypothesis.code == slip
    assert "tips" in diagnosis.suggestions[0].words
    assert "charge" in diagnosis.suggestions[0].words


def test_tips_that_read_overload_together_are_asked_for_first(engine: Engine) -> None:
    every = never_touched(engine, "OL", "OL", "0.00n")
    diagnosis = found(engine, "good", every | {"meter.leads_shorted": "OL"})
    assert diagnosis.ranked[0].hypothesis.code == "lead-open"
    assert "change the lead" in diagnosis.suggestions[0].words
    assert any("the shorted tips read OL" in remark for remark in diagnosis.remarks)


def test_a_capacitance_that_was_read_shows_that_leads_are_whole(engine: Engine) -> None:
    texts = {"R9.resistance": ("OL", "ohm"), "R2.resistance": ("OL", "ohm"), "C1.capacitance": ("101u", "F")}
    diagnosis = diagnose(engine.board, engine.bench, [boards.typed(name, *what) for name, what in texts.items()])
    assert "lead-open" not in [one.hypothesis.code for one in diagnosis.ranked]


def test_leads_of_an_ohm_and_a_half_are_leads_when_the_tips_touch(engine: Engine) -> None:
    changed = never_touched(engine, "1.5", "0.000", "OL") | {"meter.leads_shorted": "1.5"}
    assert found(engine, "good", changed).ranked[0].hypothesis.code == "tips-joined"


def test_a_slip_that_may_be_in_every_reading_is_asked_about_first(engine: Engine) -> None:
    low = {"VCC.to_ground[red:VCC]": "0.2", "VCC.to_ground[red:GND]": "0.2", "meter.leads_shorted": "0.2"}
    diagnosis = diagnose(engine.board, engine.bench, [boards.typed(name, text, "ohm") for name, text in low.items()])
    assert 0.01 < next(each for each in diagnosis.ranked if each.hypothesis.code == "tips-joined").probability < 0.95
    assert "hold the tips apart" in diagnosis.suggestions[0].words
    assert not any("if the board is good" in one.words for one in diagnosis.suggestions)


@pytest.mark.parametrize(("shows", "slip"), [("OL", "lead-open"), ("0.2", "tips-joined")])
def test_one_reading_through_the_board_shows_that_leads_are_whole(engine: Engine, shows: str, slip: str) -> None:
    every = never_touched(engine, shows, *(("OL", "0.00n") if shows == "OL" else ("0.000", "OL")))
    diagnosis = found(engine, "good", every | {"R1.resistance": "4.71k"})
    assert slip not in [one.hypothesis.code for one in diagnosis.ranked]


def test_tips_that_read_what_no_leads_do_are_taken_off_nothing(engine: Engine) -> None:
    diagnosis = found(engine, "good", {"meter.leads_shorted": "25"})
    assert diagnosis.ranked[0].hypothesis is GOOD
    assert any("the shorted tips read 25 ohm" in remark for remark in diagnosis.remarks)


def test_a_charged_gate_is_told_from_a_shorted_part(engine: Engine) -> None:
    changed = {"M1.blocking": "0.002", "M1.body_diode": "0.002"}
    codes = [one.hypothesis.code for one in found(engine, "good", changed).ranked]
    assert "charged-gate" in codes


TRIANGLE = """\
benchcheck = 1
[board]
model = "Ellwick T-0 triangle"
revision = "A"
hazards = []
[net.A]
complete = true
[net.B]
complete = true
[net.C]
complete = true
""" + "".join(
    f'[part.{name}]\nkind = "resistor"\nvalue = "{ohm}"\ntolerance = "5 %"\nnets = ["{a}", "{b}"]\n'
    for name, ohm, a, b in (("R1", "10k", "A", "B"), ("R2", "1k", "B", "C"), ("R3", "22k", "A", "C"))
)


def triangle(**texts: str) -> Diagnosis:
    """Return what three resistors in a triangle are said to have, readings by part."""
    readings = [boards.typed(f"{name}.resistance", text, "ohm") for name, text in texts.items()]
    return diagnose(boards.board(TRIANGLE), boards.bench(), readings)


def test_an_exchange_of_probes_that_changes_nothing_is_no_slip() -> None:
    # Ohm's law: 10k beside 1k + 22k are 6.97k, either way round
    diagnosis = triangle(R1="4.6k", R2="970", R3="7.33k")
    assert "probes-swapped" not in [one.hypothesis.code for one in diagnosis.ranked]
    assert any(one.check == "R1.resistance" for one in diagnosis.suggestions)
    assert not any("no reading so far speaks" in line for line in diagnosis_lines(diagnosis))


@pytest.mark.parametrize("off", ["", "R2.resistance"])
def test_probes_exchanged_in_all_readings_are_told_from_faults(engine: Engine, off: str) -> None:
    turned = [shot.reversed for shot in engine.checks]
    row = read_under(engine.board, engine.bench, engine.netlist, [GOOD], turned)[0]
    texts = {"meter.leads_shorted": ("0.2", "ohm")}
    for check in engine.board.checks:
        if (shot := engine.shot_of(check)) is not None:
            value = float(row[engine.checks.index(shot)]) * (1.4 if check.id == off else 1.0)
            texts[check.id] = boards.shown(shot, value), check.quantity_unit
    diagnosis = diagnose(engine.board, engine.bench, [boards.typed(name, *what) for name, what in texts.items()])
    assert names(diagnosis) == ["probes-swapped"]


def test_both_readings_of_a_part_exchanged_are_one_slip(engine: Engine) -> None:
    good = {one.check: one.display.text for one in boards.readings(engine, "good")}
    turned = {"D1.forward_drop": good["D1.reverse"], "D1.reverse": good["D1.forward_drop"]}
    diagnosis = diagnose(
        engine.board, engine.bench, boards.readings(engine, "good", {**turned, "D1.orientation": "yes"})
    )
    slip = diagnosis.ranked[0].hypothesis
    assert slip.code == "probes-swapped"
    assert {slip.check, *(one.check for one in slip.also if one is not UNNAMED)} == set(turned)
    assert diagnosis.unexplained == ()


def test_what_a_pair_of_faults_leaves_is_named_too() -> None:
    # with two of the three open the third reads its own value, nothing near a thousandth of it
    diagnosis = triangle(R1="OL", R2="OL", R3="47")
    assert diagnosis.leading[0][0].hypothesis.also
    assert len(diagnosis.unexplained) == 1


def test_a_reading_between_nets_that_no_part_joins_is_weighed_and_not_lost(engine: Engine) -> None:
    diagnosis = found(engine, "good", {"between.ohms[BASE:V5]": "3"})
    assert "between.ohms[BASE:V5]" in " ".join(diagnosis_lines(diagnosis))
    assert engine.also_reading(engine.shots) is engine


def test_readings_no_single_fault_explains_are_named(engine: Engine) -> None:
    changed = {"R1.resistance": "47k", "D1.forward_drop": "OL", "D1.reverse": "0.61", "R9.resistance": "9.9k"}
    diagnosis = found(engine, "good", changed)
    assert any("no single fault explains" in remark for remark in diagnosis.remarks)
    assert any(one.hypothesis.also for one in diagnosis.ranked)


def test_two_readings_that_cannot_be_together_are_named_and_asked_for_again(engine: Engine) -> None:
    changed = {"R1.resistance": "900k", "R9.resistance": "22k"}
    diagnosis = found(engine, "good", changed)
    assert diagnosis.remarks[0].startswith("no single fault explains R1.resistance and R9.resistance")
    assert diagnosis.unexplained == ("R1.resistance", "R9.resistance")
    assert any("read R1.resistance again" in one.words for one in diagnosis.suggestions)
    assert any("not explained by that: " in line for line in diagnosis_lines(diagnosis))


def test_too_few_readings_say_what_is_missing(engine: Engine) -> None:
    assert "no reading between nets yet" in diagnose(engine.board, engine.bench, []).remarks[0]
    one = [boards.typed("R9.resistance", "1.0k", "ohm")]
    assert "checks between nets have no reading" in diagnose(engine.board, engine.bench, one).remarks[0]


def test_a_board_without_nets_is_judged_by_the_signatures_of_its_kinds() -> None:
    kept = [line for line in boards.SPEC.splitlines() if not line.startswith(("nets", "[net.", "complete"))]
    text = "\n".join(kept).partition("[supply.BATT]")[0] + "\n" + "\n".join(
        ['[part.R1]', 'kind = "resistor"', 'value = "4k7"', '[part.D1]', 'kind = "diode"', '[part.C1]',
         'kind = "electrolytic"', 'value = "100 uF"', '[part.R2]', 'kind = "resistor"', 'value = "10k"']
    )  # fmt: skip
    board = boards.board(text)
    read = {"D1.forward_drop": ("OL", "V"), "D1.reverse": ("0.58", "V"), "R1.resistance": ("47k", "ohm"),
            "C1.leakage_screen": ("0.1", "ohm"), "C1.capacitance": ("9u", "F"), "C1.esr": ("40", "ohm"),
            "R2.resistance": ("OL", "ohm")}  # fmt: skip
    diagnosis = diagnose(board, boards.bench(), [boards.typed(name, *what) for name, what in read.items()])
    ranked = {str(one.hypothesis) for one in diagnosis.ranked}
    assert {"D1 reversed", "R1 decade x10", "C1 short", "C1 dry", "R2 open"} <= ranked
    assert "no nets in the spec" in diagnosis.remarks[0]
    first = diagnose(board, boards.bench(), [boards.typed("D1.reverse", "OL", "V")]).suggestions[0]
    assert first.words == (
        "read R1.resistance, red on R1 lead 1, black on R1 lead 2: 4.465 kohm to 4.935 kohm if it is right"
    )
    assert diagnose(board, boards.bench(), []).leading[0][0].hypothesis.code == "good"


@pytest.mark.parametrize(
    ("read", "first"),
    [
        ({"C1.polarity[marked]": "2k ohm", "C1.polarity[other]": "0.1 ohm"}, "C1 reversed"),
        ({"C1.polarity[marked]": "0.1 ohm", "C1.polarity[other]": "2k ohm"}, "good"),
        ({"C1.capacitance": "22u F"}, "C1 decade x0.1"),
        ({"C1.capacitance": "2200u F"}, "C1 decade x10"),
        ({"Q1.be_drop": "0.65 V", "Q1.bc_drop": "OL V"}, "Q1 open"),
    ],
)
def test_without_nets_every_lead_and_every_junction_of_a_part_is_looked_at(read: dict[str, str], first: str) -> None:
    text = boards.SPEC.partition("[net.")[0].partition("[part.")[0].partition("[supply.")[0]
    parts = '[part.C1]\nkind = "electrolytic"\nvalue = "220 uF"\n[part.Q1]\nkind = "bjt"\npolarity = "NPN"\n'
    readings = [boards.typed(name, *what.split()) for name, what in read.items()]
    found = diagnose(boards.board(f"{text}\n{parts}"), boards.bench(), readings)
    assert str(found.ranked[0].hypothesis) == first


def test_without_nets_the_specs_own_chances_and_parts_fitted_on_the_visit_count_as_well() -> None:
    def shares(keys: str) -> dict[str, float]:
        text = boards.SPEC.partition("[net.")[0].partition("[part.")[0].partition("[supply.")[0]
        part = f'[part.R2]\nkind = "resistor"\nvalue = "10k"\n{keys}\n'
        board = boards.board(f"{text}\n{part}")
        found = diagnose(board, boards.bench(), [boards.typed("R2.resistance", "OL", "ohm")])
        return {str(one.hypothesis): one.probability for one in found.ranked} | {
            one.hypothesis.origin: one.probability for one in found.ranked
        }

    usual, stated, fitted = shares(""), shares("priors = { missing-joint = 0.2 }"), shares("fitted = true")
    assert usual["R2 open"] > usual["R2 missing-joint"]
    assert stated["R2 missing-joint"] > 20.0 * stated["R2 open"]
    by_visit, by_kind = (each["R2 missing-joint"] / each["R2 open"] for each in (fitted, usual))
    assert by_visit == pytest.approx(2.0 * by_kind)
    assert any("from the spec" in origin for origin in stated)
    assert any("fitted on this visit" in origin for origin in fitted)


@pytest.mark.parametrize(
    ("check", "text", "words"),
    [
        ("BATT.idle_current", "0.15", "above its limit"),
        ("BATT.idle_current", "0.0001", "next to nothing"),
        ("VCC.voltage[0A]", "0.05", "shorted, or not fed"),
        ("VCC.voltage[0A]", "11.9", "too high"),
        ("VCC.voltage[0A]", "7.2", "too low"),
        ("VCC.voltage[0A]", "8.4", "within its limits"),
        ("VCC.voltage[0A]", "-8.4", "has the wrong sign"),
    ],
)
def test_readings_under_power_take_part(engine: Engine, check: str, text: str, words: str) -> None:
    reading = [boards.typed(check, text, engine.board.by_id[check].quantity_unit)]
    diagnosis = diagnose(engine.board, engine.bench, reading)
    assert any(words in remark for remark in diagnosis.remarks)


def test_too_much_current_is_no_slip_of_the_hand(engine: Engine) -> None:
    diagnosis = diagnose(engine.board, engine.bench, [boards.typed("BATT.idle_current", "0.15", "A")])
    assert diagnosis.ranked[0].hypothesis.code in ("good", "short", "bridge", "reversed")


def test_nobody_is_sent_to_read_ohms_before_charge_was_looked_for(engine: Engine) -> None:
    few = [boards.typed("R1.resistance", "4.7k", "ohm")]
    looked = [
        boards.typed(one.id, "0.001", "V") for one in engine.board.checks if one.measurand == "residual_voltage"
    ]
    assert looked
    assert any("nobody looked for charge" in one for one in diagnose(engine.board, engine.bench, few).remarks)
    found = diagnose(engine.board, engine.bench, [*few, *looked])
    assert not any("nobody looked for charge" in one for one in found.remarks)


@pytest.mark.parametrize("idle", ["0.0004", "0.15"])
def test_a_dead_rail_convicts_a_unit_that_reads_good_without_power(engine: Engine, idle: str) -> None:
    powered = {"BATT.idle_current": (idle, "A"), "VCC.voltage[0A]": ("0.003", "V")}
    taken = boards.readings(engine, "good") + [boards.typed(name, *what) for name, what in powered.items()]
    diagnosis = diagnose(engine.board, engine.bench, taken)
    good = next(one for one in diagnosis.ranked if one.hypothesis.code == "good")
    assert good.probability < 0.05, names(diagnosis)
    assert diagnosis.leading[0][0].hypothesis.part_faults == ()
    assert any("VCC" in one.words or "ohms to ground" in one.words for one in diagnosis.suggestions)


def test_a_dead_rail_alone_names_what_feeds_it_or_what_loads_it(engine: Engine) -> None:
    dead = [boards.typed("VCC.voltage[0A]", "0.003", "V")]
    fed = diagnose(engine.board, engine.bench, [*dead, boards.typed("BATT.idle_current", "0.0004", "A")])
    assert {one.hypothesis.designator for one in fed.leading[0]} == {"D1"}
    loaded = diagnose(engine.board, engine.bench, [*dead, boards.typed("BATT.idle_current", "0.15", "A")])
    likeliest = {one.hypothesis.code for group, _ in loaded.groups()[:2] for one in group}
    assert likeliest <= {"short", "bridge", "leaky", "reversed"}
    for diagnosis in (fed, loaded):
        assert diagnosis.suggestions[0].words.startswith("red on")
        assert sum(one.probability for one in diagnosis.ranked if one.hypothesis.code == "good") < 0.05


def test_the_way_to_a_rail_is_through_what_passes_direct_current(engine: Engine) -> None:
    assert feeding(engine.board, "VCC") == (("BATT", "VCC"), frozenset({"D1"}))


def test_the_next_measurement_is_said_in_words(engine: Engine) -> None:
    readings = [
        one for one in boards.readings(engine, "D1 open") if one.check in ("D1.forward_drop", "R1.resistance")
    ]
    diagnosis = diagnose(engine.board, engine.bench, readings)
    first = diagnosis.suggestions[0]
    assert first.words.startswith("red on ")
    assert ", black on " in first.words
    assert " if " in first.words
    assert first.information_bits > 0.0
    assert any("next: " in line for line in diagnosis_lines(diagnosis))
    assert next(short_lines(diagnosis)).startswith("likely cause: ")


def test_a_group_is_told_apart_by_the_very_leads(engine: Engine) -> None:
    diagnosis = found(engine, "R2 open")
    assert any("above the solder" in one.words for one in diagnosis.suggestions)


def test_information_is_a_bit_for_two_that_are_far_apart(engine: Engine) -> None:
    # information theory: two equally likely, certainly told apart, are one bit
    rows = [0, next(at for at, one in enumerate(engine.hypotheses) if str(one) == "D1 short")]
    bits = information(beforehand(engine.predictions, engine.errors).of(rows), np.array([0.5, 0.5]))
    at = next(
        at
        for at, shot in enumerate(engine.predictions.shots)
        if (shot.red, shot.black, shot.function) == ("BATT", "VCC", Function.DIODE)
    )
    assert bits[at] == pytest.approx(1.0, abs=1e-3)
    assert bits.min() > -1e-9
    assert bits.max() <= 1.0 + 1e-9


def test_what_was_taken_is_not_asked_for_again(engine: Engine) -> None:
    rows = [0, next(at for at, one in enumerate(engine.hypotheses) if str(one) == "D1 short")]
    foreseen = beforehand(engine.predictions, engine.errors).of(rows)
    first = candidates(foreseen, np.array([0.5, 0.5]), ())[0]
    again = candidates(foreseen, np.array([0.5, 0.5]), (first.shot,), first.shot)
    assert first.shot not in [one.shot for one in again]


def test_exchanging_the_leads_costs_three_seconds() -> None:
    last = Shot("A", "B", Function.OHMS)
    assert cost_s(last.reversed, last) == 3.0 + 1.0
    assert cost_s(Shot("A", "C", Function.OHMS), last) < cost_s(Shot("A", "C", Function.CAPACITANCE), last)


def test_the_result_for_programs_has_the_documented_keys(engine: Engine) -> None:
    result = diagnosis_json(found(engine, "D1 open"))
    assert {"designator", "fault", "probability", "group"} <= result["hypotheses"][0].keys()
    assert math.isclose(sum(one["probability"] for one in result["hypotheses"]), 1.0, rel_tol=1e-9)
    for one in result["next"]:
        assert {"red", "black", "function", "information_bits", "cost_s", "if_cause"} <= one.keys()
