"""What a meter should read between two nets: both ways round, by which parts, and with which faults."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.document import parse_document
from benchcheck.errors import UsageError
from benchcheck.score.between import between, between_json
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from benchcheck.terminal.listing import between_lines
from tests.factories import bench

TRIANGLE = """\
benchcheck = 1
[board]
model = "Ellwick T-6"
hazards = []
[part.R1]
kind = "resistor"
value = "10k"
tolerance = "1 %"
nets = ["A", "B"]
[part.R2]
kind = "resistor"
value = "4k7"
tolerance = "1 %"
nets = ["B", "C"]
[part.R3]
kind = "resistor"
value = "22k"
tolerance = "1 %"
nets = ["A", "C"]
[part.D1]
kind = "diode"
technology = "schottky"
nets = { anode = "D", cathode = "A" }
"""
METER = bench("bench-5.5")


def board() -> Board:
    return load_board(parse_document(TRIANGLE, "x.toml"))


@pytest.mark.parametrize(("nets", "ohm"), [(("A", "B"), 7275.0), (("B", "C"), 4098.0), (("A", "C"), 8812.0)])
def test_a_triangle_reads_as_its_parallel_paths_say(nets: tuple[str, str], ohm: float) -> None:
    """10k, 4.7k, 22k in a triangle read 7.275k, 4.098k, 8.812k (computed; any textbook)."""
    found = between(board(), METER, *nets)
    for one in found.readings:
        assert one.value == pytest.approx(ohm, rel=1e-3)
        assert sum(share.percent for share in one.shares) == pytest.approx(100.0, abs=0.1)
        assert one.standard_uncertainty is not None
        assert 0.0 < one.standard_uncertainty < 0.01 * ohm


def test_each_part_open_short_or_a_decade_off_is_told() -> None:
    (first, _) = between(board(), METER, "A", "B").readings
    told = {(each.designator, each.fault): each.display for each in first.if_faulty}
    assert told["R1", "open"] == "26.7 kohm"
    assert told["R1", "short"].endswith("mohm")
    assert {"decade x10", "decade x0.1"} <= {fault for name, fault in told if name == "R1"}


def test_a_diode_reads_one_way_only_and_its_reversal_shows() -> None:
    forward, backward = between(board(), METER, "D", "A", Function.DIODE).readings
    assert forward.value is not None
    assert 0.15 < forward.value < 0.40
    assert (backward.display, backward.value) == ("OL", None)
    assert ("D1", "reversed", forward.display) in {(e.designator, e.fault, e.display) for e in backward.if_faulty}


def test_what_the_spec_leaves_open_is_said() -> None:
    assert any("not complete" in remark for remark in between(board(), METER, "A", "B").remarks)


def test_nets_that_are_not_there_are_named_with_a_close_match() -> None:
    with pytest.raises(UsageError) as caught:
        between(board(), METER, "a", "Q")
    assert [fault.key for fault in caught.value.faults] == ["a", "Q"]
    assert 'did you mean "A"?' in str(caught.value)
    with pytest.raises(UsageError, match="one net"):
        between(board(), METER, "A", "A")


def test_results_for_programs_have_the_documented_keys_and_lines_fit() -> None:
    found = between(board(), METER, "A", "B")
    (first, _) = between_json(found)["readings"]
    assert {"red", "black", "display", "value", "quantity_unit", "standard_uncertainty"} <= set(first)
    assert set(first["shares"][0]) == {"part", "percent"}
    assert set(first["if_faulty"][0]) == {"designator", "fault", "display"}
    assert all(len(line) <= 80 for line in between_lines(found))


def test_another_meters_test_current_shows_another_drop() -> None:
    """0.35 mA instead of 1 mA: N VT ln(1 / 0.35) less, 46 mV for N = 1.752, and 0.37 mV less across 0.568 ohm."""
    text = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-8"\nhazards = []\nambient = "27 degC"\n'
    diode = '[part.D1]\nkind = "diode"\nnets = { anode = "A", cathode = "K" }\n'
    other = """[meter.other]
class = "handheld-6000"
[[meter.other.range]]
function = "diode"
full_scale = "3 V"
resolution = "1 mV"
accuracy = "1 % + 2"
coverage = "limits"
test_current = "350 uA"
compliance = "2.7 V"
"""
    two = load_bench(
        parse_document('benchcheck_bench = 1\n[meter.first]\nclass = "handheld-6000"\n' + other, "b.toml")
    )
    found = between(load_board(parse_document(text + diode, "x.toml")), two, "A", "K", Function.DIODE)
    (told,) = (remark for remark in found.remarks if remark.startswith("on other"))
    assert found.readings[0].value == pytest.approx(0.584, abs=2e-3)
    assert told == "on other, 350 uA: 537 mV, exchanged OL"


def test_low_power_ohms_leave_junctions_off_and_stand_below_ohms() -> None:
    """10k beside a silicon junction: at 100 uA the junction takes current, below 0.2 V it takes next to none.

    A quarter of a volt in a silicon junction of nanoamperes is a megohm and more (Shockley 1949).
    """
    text = (
        'benchcheck = 1\n[board]\nmodel = "Ellwick T-8"\nhazards = []\n'
        '[part.R1]\nkind = "resistor"\nvalue = "10k"\ntolerance = "1 %"\nnets = ["A", "K"]\n'
        '[part.D1]\nkind = "diode"\nnets = { anode = "A", cathode = "K" }\n'
    )
    spec = load_board(parse_document(text, "x.toml"))
    usual = between(spec, METER, "A", "K")
    low = between(spec, METER, "A", "K", Function.LOW_POWER_OHMS)
    assert usual.readings[0].value is not None
    assert usual.readings[0].value < 6e3
    assert low.readings[0].value == pytest.approx(10e3, rel=5e-3)
    assert low.readings[1].display == "10 kohm"
    assert f"on dmm low-power ohms: {low.readings[0].display}, exchanged 10 kohm" in usual.remarks
    assert not any("low-power" in remark for remark in low.remarks)
    with pytest.raises(UsageError, match="low_power_ohms: cannot be modelled on this bench: no meter has it"):
        between(spec, bench("handheld-6000"), "A", "K", Function.LOW_POWER_OHMS)


def test_a_body_diode_makes_a_reading_and_leaves_it_as_unsure_as_junctions_are() -> None:
    """Backwards through a MOSFET the body diode is read, not the resistor beside it (common practice)."""
    text = (
        TRIANGLE
        + """\
[part.Q1]
kind = "mosfet"
channel = "N"
nets = { gate = "B", drain = "C", source = "B" }
"""
    )
    found = between(load_board(parse_document(text, "x.toml")), METER, "B", "C", Function.DIODE).readings[0]
    assert found.shares[0].part == "Q1"
    assert found.standard_uncertainty is not None
    assert found.standard_uncertainty > 0.02


@pytest.mark.parametrize("function", [Function.OHMS, Function.DIODE])
def test_a_part_that_is_the_only_one_on_a_net_reads_overload_when_it_is_open(function: Function) -> None:
    found = between(board(), METER, "D", "A", function).readings[0]
    told = {(each.designator, each.fault): each.display for each in found.if_faulty}
    assert told["D1", "open"] == "OL"


def test_nothing_between_the_tips_is_no_capacitance_and_a_pure_capacitor_has_no_series_resistance() -> None:
    """Open tips read 0 F on a capacitance range, and overload in series resistance (common practice, no source)."""
    text = TRIANGLE + '[part.C1]\nkind = "capacitor"\nvalue = "100 nF"\ntolerance = "10 %"\nnets = ["A", "P"]\n'
    spec = load_board(parse_document(text, "x.toml"))
    found = between(spec, METER, "A", "P", Function.CAPACITANCE).readings[0]
    assert found.value == pytest.approx(100e-9, rel=1e-3)
    assert {each.fault: each.display for each in found.if_faulty}["open"] == "0 F"
    meter = bench("esr-meter")
    esr = between(spec, meter, "A", "P", Function.ESR).readings[0]
    assert esr.display in ("0 ohm", "OL")


def test_a_net_that_only_a_part_without_a_model_is_on_is_told_from_one_nobody_is_on() -> None:
    text = TRIANGLE + '[part.BT1]\nkind = "battery"\ncell = "alkaline"\nnets = { plus = "P", minus = "A" }\n'
    spec = load_board(parse_document(text, "x.toml"))
    with pytest.raises(UsageError, match="on this net BT1 alone, of which there is no model"):
        between(spec, METER, "P", "A")
    with pytest.raises(UsageError, match="no part of the spec is on this net"):
        between(spec, METER, "Q", "A")


def flip_flop(first: str, second: str) -> Board:
    def resistor(name: str, value: str, *nets: str) -> str:
        pair = ", ".join(f'"{net}"' for net in nets)
        return f'[part.{name}]\nkind = "resistor"\nvalue = "{value}"\ntolerance = "5 %"\nnets = [{pair}]\n'

    def transistor(name: str, base: str, collector: str) -> str:
        nets = f'base = "{base}", collector = "{collector}", emitter = "G"'
        return f'[part.{name}]\nkind = "bjt"\npolarity = "NPN"\nnets = {{ {nets} }}\n'

    loads = resistor("R1", first, "V", "C1") + resistor("R2", second, "V", "C2")
    across = resistor("R3", "22k", "C2", "B1") + resistor("R4", "22k", "C1", "B2")
    pair = transistor("Q1", "B1", "C1") + transistor("Q2", "B2", "C2")
    head = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-11"\nhazards = []\n'
    return load_board(parse_document(head + loads + across + pair, "x.toml"))


def test_a_symmetric_flip_flop_is_read_in_either_state_alike() -> None:
    (first, other) = between(flip_flop("2k2", "2k2"), METER, "V", "G").readings
    assert first.value is not None
    assert 6.0e3 < first.value < 6.3e3  # a silicon drop of 0.60 to 0.63 V at 100 uA (common practice, no source)
    assert other.display == "OL"


def test_a_reading_that_goes_with_the_state_has_no_value_and_tells_each() -> None:
    found = between(flip_flop("4k7", "1k"), METER, "V", "G").readings[0]
    assert (found.value, found.standard_uncertainty, found.shares) == (None, None, ())
    assert found.display.endswith("undecided: it latches, and which state it is in decides")
    assert found.display.count(" kohm") == 2
    assert all(len(line) <= 120 for line in between_lines(between(flip_flop("4k7", "1k"), METER, "V", "G")))


GATE = """benchcheck = 1
[board]
model = "Ellwick T-13"
hazards = []
[part.Q1]
kind = "mosfet"
channel = "N"
nets = { gate = "G", drain = "D", source = "S" }
"""
LEAK = '[part.D1]\nkind = "diode"\ntechnology = "silicon"\nnets = { anode = "D", cathode = "G" }\n'
PULL_UP = '[part.R1]\nkind = "resistor"\nvalue = "100k"\ntolerance = "5 %"\nnets = ["D", "G"]\n'


@pytest.mark.parametrize("function", [Function.OHMS, Function.DIODE])
def test_a_gate_held_by_leakage_only_floats_and_its_transistor_has_no_reading(function: Function) -> None:
    """What a blocking diode leaks decides then, and nobody knows that (common practice: join gate and source)."""
    found = between(load_board(parse_document(GATE + LEAK, "x.toml")), METER, "D", "S", function).readings
    assert found[0].value is None
    assert found[0].display.startswith("floats: the gate of Q1 is held by leakage only")
    assert found[1].value is not None  # the body diode conducts, whatever the gate does


def test_a_gate_that_a_resistor_holds_is_read() -> None:
    found = between(load_board(parse_document(GATE + LEAK + PULL_UP, "x.toml")), METER, "D", "S", Function.DIODE)
    assert found.readings[0].value is not None
