"""Bench files: the documented example loads; every fault of a bad one is named at once, with its line."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from benchcheck.bench.accuracy import Coverage
from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.bench.meter import Link
from benchcheck.bench.model import Bench
from benchcheck.bench.simulated import default_bench
from benchcheck.document import parse_document
from benchcheck.errors import BenchError

EXAMPLE = """\
benchcheck_bench = 1
[decision]
rule = "ILAC-G8:09/2019 4.2.3"
guard_band = "1 U"
coverage = "95.45 %"
[meter.dmm]
class = "handheld-6000"
leads = { resistance = "0.2 ohm", limits = "0.1 ohm" }
calibration_due = 2027-01-31
[[meter.dmm.range]]
function = "ohms"
full_scale = "6 kohm"
resolution = "1 ohm"
accuracy = "0.5 % + 2"
coverage = "k=2"
test_current = "120 uA"
compliance = "2.5 V"
temperature = { window = ["20 degC", "26 degC"], coefficient = "0.2 spec/K" }
[meter.dmm.link]
resource = "TCPIP0::127.0.0.1::5025::SOCKET"
dialect = "generic"
timeout = "2 s"
[supply.psu]
link = { resource = "TCPIP0::127.0.0.1::5026::SOCKET", dialect = "generic" }
channel = 1
ceiling = { voltage = "12 V", current = "1 A" }
[load.eload]
link = { resource = "TCPIP0::127.0.0.1::5027::SOCKET", dialect = "generic" }
[meter.esrmeter]
class = "esr-meter"
[use]
esr = "esrmeter"
dc_current = "psu"
"""


def bench_of(text: str) -> Bench:
    return load_bench(parse_document(text, "bench.toml"))


def faults_of(text: str) -> list[str]:
    with pytest.raises(BenchError) as caught:
        bench_of(text)
    return [str(fault) for fault in caught.value.faults]


def test_the_documented_example_loads_whole(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    bench = load_bench(path)
    dmm = bench.meters["dmm"]
    assert dmm.link == Link("TCPIP0::127.0.0.1::5025::SOCKET", "generic", {"timeout_s": 2.0})
    assert bench.supplies["psu"].ceiling.voltage_v == 12.0
    assert bench.source == EXAMPLE
    assert len(bench.digest) == 64
    assert (dmm.leads.resistance_ohm, dmm.leads.limits_ohm, dmm.leads.nulled) == (0.2, 0.1, False)


def test_a_range_overrides_the_line_of_its_class_with_the_same_full_scale() -> None:
    dmm = bench_of(EXAMPLE).meters["dmm"]
    line = dmm.range_for(Function.OHMS, 4700.0)
    assert line is not None
    assert (line.accuracy.of_reading, line.accuracy.counts, line.coverage) == (0.005, 2.0, Coverage.K2)
    assert (line.test_current_a, line.compliance_v, line.temperature.upper_c) == (120e-6, 2.5, 26.0)
    assert len(dmm.ranges_of(Function.OHMS)) == 6


def test_what_a_line_leaves_out_stays_as_the_class_has_it() -> None:
    text = EXAMPLE.replace('resolution = "1 ohm"\naccuracy = "0.5 % + 2"\n', "")
    line = bench_of(text).meters["dmm"].range_for(Function.OHMS, 4700.0)
    assert line is not None
    assert (line.resolution, line.accuracy.of_reading, line.accuracy.counts) == (1.0, 0.008, 3.0)


def test_a_range_of_another_full_scale_is_added_in_its_place() -> None:
    more = '[[meter.esrmeter.range]]\nfunction = "ohms"\nfull_scale = "50 ohm"\nresolution = "1 mohm"\n'
    more += 'accuracy = "1 % + 2"\n'
    esr = bench_of(EXAMPLE + more).meters["esrmeter"]
    assert [line.name for line in esr.ranges_of(Function.OHMS)] == ["50"]


def test_use_decides_which_instrument_serves_a_function_and_supplies_read_themselves_back() -> None:
    bench = bench_of(EXAMPLE)
    served = {function: bench.meter_for(function) for function in (Function.ESR, Function.DC_CURRENT, Function.OHMS)}
    assert [meter.name if meter else None for meter in served.values()] == ["esrmeter", "psu", "dmm"]
    assert bench.meter_for(Function.INDUCTANCE) is None
    assert bench.meter_for(Function.ESR, "dmm") is None


def test_the_smallest_range_that_holds_a_value_is_the_one_it_was_read_on() -> None:
    dmm = bench_of(EXAMPLE).meters["dmm"]
    chosen = [dmm.range_for(Function.OHMS, value) for value in (0.0, 600.0, 600.1, -5.0, 6.1e7)]
    assert [line.name if line else None for line in chosen] == ["600", "600", "6k", "600", None]


def test_a_calibration_past_due_is_a_caution_not_an_error() -> None:
    bench = bench_of(EXAMPLE)
    assert bench.cautions(date(2027, 1, 31)) == ()
    assert bench.cautions(date(2027, 2, 1))[0].startswith("dmm: calibration was due 2027-01-31")


def test_linked_gives_instruments_other_links_and_changes_nothing_else() -> None:
    bench, link = default_bench(), Link("TCPIP0::127.0.0.1::6000::SOCKET")
    linked = bench.linked({"dmm": link, "psu": link})
    assert (linked.meters["dmm"].link, linked.supplies["psu"].link) == (link, link)
    assert linked.meters["esrmeter"].link is None
    assert linked.meters["dmm"].ranges == bench.meters["dmm"].ranges


BAD = """\
benchcheck_bench = 1
colour = "red"
[decision]
guard_band = "2 W"
coverage = "120 %"
[meter.dmm]
class = "handheld-600"
leads = { resistence = "0.2 ohm", limits = "-0.1 ohm" }
calibration_due = "2027-01-31"
[[meter.dmm.range]]
function = "ohm"
full_scale = "6 kohm"
[[meter.dmm.range]]
function = "ohms"
full_scale = "5 V"
accuracy = "0.8 percent + 3"
coverage = "k=3"
temperature = { window = ["28 degC", "18 degC"], coefficient = "0.1 spec/K" }
[meter.m2]
class = "handheld-6000"
[[meter.m2.range]]
function = "ohms"
full_scale = "7 kohm"
[[meter.m2.range]]
function = "dc_voltage"
full_scale = "6 V"
resolution = "10 V"
beeps = ["1 ohm", "2 ohm"]
[meter.m2.link]
resorce = "x"
[supply.M2]
channel = "1"
[use]
ohms = "m3"
volts = "m2"
"""
#: (line, key path, words of the message)
BAD_FAULTS = [
    (2, "colour", "is not a key here"),
    (4, "decision.guard_band", '"1 U", { specific_risk'),
    (5, "decision.coverage", '"0 %" to "100 %"'),
    (7, "meter.dmm.class", 'did you mean "handheld-6000"?'),
    (8, "meter.dmm.leads.limits", "must be 0 or more"),
    (8, "meter.dmm.leads.resistence", 'did you mean "resistance"?'),
    (9, "meter.dmm.calibration_due", "write it without quotes"),
    (11, "meter.dmm.range[0].function", 'did you mean "ohms"?'),
    (15, "meter.dmm.range[1].full_scale", "is in volts, and a resistance is wanted"),
    (16, "meter.dmm.range[1].accuracy", '"0.8 % + 3"'),
    (17, "meter.dmm.range[1].coverage", "allowed are limits, k=2, 95 %"),
    (18, "meter.dmm.range[1].temperature", "window 28 to 18 degC is empty"),
    (21, "meter.m2.range[0]", 'the key "resolution" is missing'),
    (21, "meter.m2.range[0]", 'the key "accuracy" is missing'),
    (24, "meter.m2.range[1].accuracy", "wider than the range itself"),
    (27, "meter.m2.range[1].resolution", "not finer than full scale"),
    (28, "meter.m2.range[1].beeps", 'function "continuity" only'),
    (29, "meter.m2.link", 'the key "resource" is missing'),
    (30, "meter.m2.link.resorce", 'did you mean "resource"?'),
    (31, "supply.M2", "is the name of meter.m2 already"),
    (31, "supply.M2", 'the key "ceiling" is missing'),
    (32, "supply.M2.channel", "is not a whole number"),
    (34, "use.ohms", "there are dmm, m2"),
    (35, "use.volts", "is not a function a meter has"),
]


def test_every_fault_of_a_bench_file_is_named_at_once_in_file_order() -> None:
    found = faults_of(BAD)
    assert len(found) == len(BAD_FAULTS)
    for text, (line, key, words) in zip(found, BAD_FAULTS, strict=True):
        assert text.startswith(f"bench.toml:{line}: {key}: ")
        assert words in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", 'the key "benchcheck_bench" is missing'),
        ("benchcheck_bench = 2", "2 is not a format read here; write 1"),
        ("benchcheck_bench = true", "True is not a format read here"),
        ("benchcheck_bench = 1\nmeter = 3", "write [meter.NAME]"),
        ("benchcheck_bench = 1\n[meter.dmm]\n", 'has neither "class" nor a range'),
        ('benchcheck_bench = 1\n[meter.dmm]\nclass = 6000\n', "6000 is not a text"),
        ("benchcheck_bench = 1\n[meter]\ndmm = 3\n", "3 is not a table"),
        ('benchcheck_bench = 1\n[meter."a b"]\nclass = "esr-meter"\n', "is not a name"),
        ('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\nrange = 4\n', "write [[meter.m.range]]"),
        ('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\nreadings = 0\n', "0 is not a number of readings"),
        ("benchcheck_bench = 1\nuse = 3", "write [use]"),
        ('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\n[use]\nohms = "m"', "does not measure ohms; it"),
        ('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\nleads = { resistance = 0.2 }', "0.2 is not a text"),
        ("benchcheck_bench = 1\n[decision]\nguard_band = {}", "is not a guard band"),
        ('benchcheck_bench = 1\n[decision]\nguard_band = "-1 U"', "is not a guard band"),
        ('benchcheck_bench = 1\n[supply.s]\nceiling = { voltage = "nan V", current = "1 A" }', "not a finite number"),
    ],
)  # fmt: skip
def test_a_bench_file_that_cannot_be_used_says_what_to_write(text: str, words: str) -> None:
    assert any(words in fault for fault in faults_of(text))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('temperature = { window = ["18 degC"] }', "1 temperatures are no window"),
        ('temperature = { coefficient = "0.1" }', "is not a temperature coefficient"),
        ('beeps = ["10 ohm"]', 'write ["10 ohm", "35 ohm"]'),
        ('beeps = ["35 ohm", "10 ohm"]', "upside down"),
        ('test_current = "0 A"', "must be greater than 0"),
        ('over_range = "-20 %"', '"0 %" to "100 %"'),
        ("coverage = 2", "2 is not a text"),
        ('settle = "soon"', '"soon" is not a time'),
    ],
)
def test_a_range_that_cannot_be_used_says_what_to_write(line: str, words: str) -> None:
    head = 'benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\n[[meter.m.range]]\nfunction = "esr"\n'
    found = faults_of(f'{head}full_scale = "1 ohm"\n{line}\n')
    assert [fault for fault in found if words in fault and "bench.toml:6" not in fault]


def test_a_switch_that_is_neither_true_nor_false_is_refused() -> None:
    found = faults_of('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\nleads = { nulled = "yes" }\n')
    assert [fault for fault in found if "'yes' is not true or false" in fault]


def test_an_instrument_at_fault_is_not_blamed_a_second_time_where_it_is_used() -> None:
    found = faults_of('benchcheck_bench = 1\n[meter.m]\nclass = "esr"\n[use]\nesr = "m"\n')
    assert len(found) == 1


def test_a_range_given_twice_is_refused() -> None:
    line = '[[meter.m.range]]\nfunction = "esr"\nfull_scale = "1 ohm"\naccuracy = "3 % + 3"\n'
    found = faults_of('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\n' + line + line)
    assert [fault for fault in found if "a second time" in fault]


@pytest.mark.parametrize("promise", ['"0 %"', '"0 % + 0"'])
def test_an_accuracy_of_zero_is_refused(promise: str) -> None:
    line = f'[[meter.m.range]]\nfunction = "esr"\nfull_scale = "1 ohm"\naccuracy = {promise}\n'
    found = faults_of('benchcheck_bench = 1\n[meter.m]\nclass = "esr-meter"\n' + line)
    assert [fault for fault in found if "no meter does" in fault]


def test_a_link_that_names_no_dialect_has_none_so_that_an_unknown_supply_stays_read_only() -> None:
    text = """
benchcheck_bench = 1
[meter.dmm]
class = "handheld-6000"
[supply.psu]
ceiling = { voltage = "12 V", current = "1 A" }
link = { resource = "TCPIP0::127.0.0.1::5026::SOCKET" }
"""
    link = load_bench(parse_document(text, "bench.toml")).supplies["psu"].link
    assert link is not None
    assert link.dialect == ""
