"""Every rule of every kit catches what breaks it, and says in words what to do."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import attrs
import pytest

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Resistor
from benchcheck.conformance import DialectKit, FileSourceKit, KindKit, ReportKit, SourceKit
from benchcheck.errors import ReadingsError
from benchcheck.instruments.dialect_table import DialectTable
from benchcheck.kinds.check import Check, Formula, Limits, Phase, Probe
from benchcheck.kinds.part import Kind, Part
from benchcheck.quantity import parse_display
from benchcheck.readings.file import ReadingsFile
from benchcheck.readings.reading import Origin, Reading
from benchcheck.report.offer import About, Report
from benchcheck.session.answers import Skip, Taken
from benchcheck.session.sources import ReadingSource
from tests.conformance.running import refusal, rules_of, run_rule

# ---- kinds


@attrs.frozen(kw_only=True)
class Shunt(Part):
    """`kind = "shunt"`: nothing but its nets."""


def good_check(part: Part, measurand: str = "resistance") -> Check:
    return Check(
        f"{part.designator}.{measurand}",
        part.designator,
        measurand,
        Function.OHMS,
        "ohm",
        Phase.PARTS,
        Limits(0.9, 1.1, "common practice, no source"),
        red=Probe("lead 1", part.net("1")),
        black=Probe("lead 2", part.net("2")),
        why="A shunt that is burnt open reads high.",
    )


GOOD = Kind("shunt", Shunt, ("1", "2"), lambda part, around: (good_check(part),), "ohms across it", two_lead=True)
ENTRY = {"nets": ["OUT", "GND"]}
COUNT = itertools.count()


def giving(change: Callable[[Check], Any]) -> Kind:
    return replace(GOOD, checks=lambda part, around: (change(good_check(part)),))


def spoiling(part: Part, around: Any) -> tuple[Check, ...]:
    around.parts.pop("R1", None)
    return (good_check(part),)


BROKEN_KINDS: list[tuple[str, Kind, str]] = [
    ("test_it_has_all_a_kind_needs", replace(GOOD, pins=("1", "1")), "not all different"),
    ("test_it_has_all_a_kind_needs", replace(GOOD, summary=" "), "no summary"),
    ("test_it_gives_checks", replace(GOOD, checks=lambda part, around: ()), "no check at all"),
    ("test_it_gives_checks", giving(lambda one: replace(one, subject="R1")), 'is about "R1"'),
    ("test_it_gives_checks", giving(lambda one: replace(one, id="X1.other")), "does not begin with X1.resistance"),
    (
        "test_ids_are_different_and_can_be_typed",
        replace(GOOD, checks=lambda part, around: (good_check(part), good_check(part))),
        "comes twice",
    ),
    (
        "test_ids_are_different_and_can_be_typed",
        giving(lambda one: replace(one, id="X1.resistance[a b]")),
        "holds a sign",
    ),
    ("test_ids_follow_the_designator", giving(lambda one: replace(one, id="X1.resistance")), "not one of this part"),
    (
        "test_every_limit_says_where_it_comes_from",
        giving(lambda one: replace(one, limits=Limits(1.0, 2.0, "everybody knows"))),
        "vouches for nothing",
    ),
    (
        "test_every_limit_says_where_it_comes_from",
        giving(lambda one: replace(one, limits=Limits(2.0, 1.0))),
        "2 is above 1",
    ),
    ("test_every_check_can_be_judged", giving(lambda one: replace(one, limits=Limits())), "nothing could fail it"),
    ("test_every_check_can_be_judged", giving(lambda one: replace(one, sources=("X1.a",))), "no formula"),
    ("test_quantity_units_are_those_of_the_function", giving(lambda one: replace(one, quantity_unit="V")), "is in V"),
    ("test_it_says_where_probes_go_and_why", giving(lambda one: replace(one, why="")), "does not say why"),
    ("test_it_says_where_probes_go_and_why", giving(lambda one: replace(one, red=None)), "where red goes"),
    (
        "test_it_says_where_probes_go_and_why",
        giving(lambda one: replace(one, red=Probe("the shield", "SHIELD"))),
        "which is not at this part",
    ),
    (
        "test_sources_of_derived_checks_are_there",
        giving(lambda one: replace(one, sources=("X1.gone",), formula=Formula.DIFFERENCE)),
        "X1.gone, which the kind does not give",
    ),
    (
        "test_it_keeps_nothing_between_boards",
        giving(lambda one: replace(one, expected=float(next(COUNT)))),
        "other checks the second time",
    ),
    ("test_it_keeps_nothing_between_boards", replace(GOOD, checks=spoiling), "changed the board"),
    (
        "test_its_devices_belong_to_a_circuit",
        replace(GOOD, devices=lambda part: ("a wire",)),
        "no device of benchcheck.circuit.devices",
    ),
]  # fmt: skip


@pytest.mark.parametrize("rule", rules_of(KindKit))
def test_a_sound_kind_passes(rule: str, tmp_path: Path) -> None:
    sound = replace(GOOD, devices=lambda part: (Resistor(part.designator, "OUT", "GND", 1.0),))
    run_rule(KindKit, {"kind": sound, "entry": ENTRY}, rule, tmp_path)


@pytest.mark.parametrize(("rule", "kind", "told"), BROKEN_KINDS)
def test_a_broken_kind_is_caught(rule: str, kind: Kind, told: str, tmp_path: Path) -> None:
    assert told in refusal(KindKit, {"kind": kind, "entry": ENTRY}, rule, tmp_path)


# ---- dialects

TARN = "TARNWORKS,M40,0001,1.2"


def dialect(**tables: Any) -> DialectTable:
    return DialectTable("tarn-40", {"match": "^TARNWORKS,M40", **tables})


BROKEN_DIALECTS: list[tuple[str, DialectTable, str]] = [
    ("test_its_table_is_one", dialect(dmm={"r3w": "RES?"}), "is no key of this table"),
    ("test_it_says_what_it_is_for", dialect(link={"join": ""}), "no table dmm, psu or load"),
    ("test_it_is_chosen_by_its_identity", DialectTable("tarn-40", {"dmm": {}}), "when, and only when"),
    (
        "test_it_claims_nobody_elses_instruments",
        DialectTable("tarn-40", {"match": ".*", "dmm": {}}),
        "make it narrower",
    ),
    ("test_placeholders_are_known", dialect(psu={"set_v": "VOLT {volts}"}), "{volts}"),
    ("test_settings_carry_a_value", dialect(psu={"set_i": "CURR MAX"}), "sets nothing"),
    ("test_channels_are_told_apart", dialect(psu={"channels": 2}), "which"),
    ("test_channels_are_told_apart", dialect(psu={"channels": 2, "select": "INST {ch}"}), "never read back"),
    ("test_a_supply_can_be_set_seen_and_switched_off", dialect(psu={"off": ""}), "psu has no off"),
    ("test_a_load_can_be_set_seen_and_switched_off", dialect(load={"get_i": ""}), "load has no get_i"),
    (
        "test_a_meter_reads_something",
        dialect(
            dmm=dict.fromkeys(
                ("vdc", "vac", "idc", "r2w", "r4w", "diode", "continuity", "capacitance", "temperature"), ""
            )
        ),
        "no function",
    ),
    ("test_it_reaches_the_power_keeper", dialect(dmm={"function_words": {"r2w": {"RES"}}}), "not plain data"),
]


@pytest.mark.parametrize("rule", rules_of(DialectKit))
def test_a_sound_dialect_passes(rule: str, tmp_path: Path) -> None:
    run_rule(DialectKit, {"dialect": dialect(dmm={"r2w": "RES?"}), "identity": TARN}, rule, tmp_path)


@pytest.mark.parametrize(("rule", "table", "told"), BROKEN_DIALECTS)
def test_a_broken_dialect_is_caught(rule: str, table: DialectTable, told: str, tmp_path: Path) -> None:
    assert told in refusal(DialectKit, {"dialect": table, "identity": TARN}, rule, tmp_path)


def test_a_plugins_family_never_takes_the_place_of_a_shipped_one(tmp_path: Path) -> None:
    greedy = DialectTable("greedy", {"match": "^RIGOL TECHNOLOGIES,DP832,.{3,}", "psu": {}})
    given = {"dialect": greedy, "identity": "RIGOL TECHNOLOGIES,DP832,1,1.0"}
    assert "is taken for rigol_dp800" in refusal(DialectKit, given, "test_it_is_chosen_by_its_identity", tmp_path)


# ---- sources


class Told:
    """A source that says what it was made to say."""

    def __init__(self, answer: Callable[[Any], Any]) -> None:
        self.answer = answer


def reading(check: Check, text: str = "0.58", of: str = "", quantity_unit: str = "") -> Taken:
    display = parse_display(text, check.quantity_unit)
    return Taken((Reading(of or check.id, display, quantity_unit or check.quantity_unit, Origin.METERED),))


def source(say: Callable[..., Any]) -> ReadingSource:
    return ReadingSource("told", "what it was told", open=lambda setting: Told(say))


def sound(step: Any) -> Any:
    return Skip("no ESR meter") if step.check.function is Function.ESR else reading(step.check)


class Once:
    """A source that answers each check once."""

    def __init__(self) -> None:
        self.waiting = {"R1.resistance": sound}

    def answer(self, step: Any) -> Any:
        return self.waiting.pop(step.check.id)(step)


def greedy(step: Any) -> Any:
    object.__setattr__(step.check.limits, "upper", 1e9)
    return reading(step.check)


BROKEN_SOURCES: list[tuple[str, ReadingSource, str]] = [
    ("test_it_has_all_a_source_needs", ReadingSource("told", "nothing"), "neither open nor read"),
    ("test_it_answers_what_it_is_asked", source(lambda step: "4.7k"), "is no answer"),
    ("test_it_answers_what_it_is_asked", source(lambda step: Taken(())), "holds no readings"),
    (
        "test_it_answers_what_it_is_asked",
        source(lambda step: reading(step.check, of="C1.esr")),
        "gave a reading of",
    ),
    ("test_it_answers_what_it_is_asked", source(lambda step: reading(step.check, quantity_unit="A")), "not in A"),
    ("test_it_leaves_what_it_is_given_alone", source(greedy), "changed the step"),
    ("test_what_it_cannot_read_is_no_crash", source(lambda step: {}[step.check.id]), "raised KeyError"),
    ("test_what_it_cannot_read_is_no_crash", source(lambda step: Skip(" ")), "no reason"),
]


@pytest.mark.parametrize("rule", rules_of(SourceKit))
def test_a_sound_source_passes(rule: str, tmp_path: Path) -> None:
    run_rule(SourceKit, {"source": source(sound)}, rule, tmp_path)


@pytest.mark.parametrize(("rule", "told_source", "told"), BROKEN_SOURCES)
def test_a_broken_source_is_caught(rule: str, told_source: ReadingSource, told: str, tmp_path: Path) -> None:
    assert told in refusal(SourceKit, {"source": told_source}, rule, tmp_path)


def test_a_source_that_answers_only_once_is_caught(tmp_path: Path) -> None:
    once = ReadingSource("once", "each check once", open=lambda setting: Once())
    with pytest.raises(KeyError):
        run_rule(SourceKit, {"source": once}, "test_the_same_check_can_be_asked_again", tmp_path)


# ---- files


def pairs(setting: Any) -> ReadingsFile:
    """Reads lines of `check=reading`."""
    try:
        data = setting.path.read_bytes()
        text = data.decode()
    except (OSError, UnicodeDecodeError) as error:
        raise ReadingsError(f"{setting.path.name}: {error}") from error
    made = []
    for number, line in enumerate(text.splitlines(), 1):
        name, _, shown = line.partition("=")
        if name not in setting.checks:
            raise ReadingsError(f"{setting.path.name}:{number}: the board has no check {name}")
        unit = setting.checks[name].quantity_unit
        made.append(Reading(name, parse_display(shown, unit), unit, Origin.FILE, line=number))
    return ReadingsFile(setting.path.name, hashlib.sha256(data).hexdigest(), tuple(made))


def lossy(setting: Any) -> ReadingsFile:
    found = pairs(setting)
    return replace(found, readings=found.readings[:1])


def careless(setting: Any) -> ReadingsFile:
    setting.path.with_suffix(".seen").write_text("seen", encoding="utf-8")
    return pairs(setting)


def forgetful(setting: Any) -> ReadingsFile:
    return replace(pairs(setting), digest=f"{next(COUNT):064d}")


def lenient(setting: Any) -> ReadingsFile:
    return ReadingsFile("", "0" * 64, ())


def crashing(setting: Any) -> ReadingsFile:
    setting.path.read_text(encoding="utf-8")
    return pairs(setting)


FILE = {
    "example": b"R1.resistance=4.68k\nD1.reverse=OL\n",
    "expected": {"R1.resistance": "4.68k", "D1.reverse": "OL"},
    "unknown": b"R77.resistance=4.68k\n",
}
BROKEN_FILES: list[tuple[str, Callable[[Any], Any], str]] = [
    ("test_it_reads_what_the_file_says", lossy, "expected"),
    ("test_it_reads_what_the_file_says", lambda setting: [], "not a ReadingsFile"),
    ("test_it_reads_what_the_file_says", lambda setting: replace(pairs(setting), digest=""), "no SHA-256"),
    ("test_it_reads_the_same_twice", forgetful, "the second time"),
    ("test_it_leaves_the_folder_as_it_was", careless, "readings.seen"),
    ("test_readings_of_unknown_checks_are_refused_by_name", lenient, "was accepted"),
    ("test_what_is_no_such_file_is_refused", lenient, "was accepted"),
    ("test_what_is_no_such_file_is_refused", crashing, "not ReadingsError"),
]


def reader(read: Callable[[Any], Any]) -> ReadingSource:
    return ReadingSource("pairs", "lines of check=reading", read=read)


@pytest.mark.parametrize("rule", rules_of(FileSourceKit))
def test_a_sound_file_source_passes(rule: str, tmp_path: Path) -> None:
    run_rule(FileSourceKit, {"source": reader(pairs), **FILE}, rule, tmp_path)


@pytest.mark.parametrize(("rule", "read", "told"), BROKEN_FILES)
def test_a_broken_file_source_is_caught(rule: str, read: Callable[[Any], Any], told: str, tmp_path: Path) -> None:
    assert told in refusal(FileSourceKit, {"source": reader(read), **FILE}, rule, tmp_path)


def test_a_file_source_needs_one_way_in(tmp_path: Path) -> None:
    both = replace(reader(pairs), open=lambda setting: Told(sound))
    assert "both open and read" in refusal(
        FileSourceKit, {"source": both, **FILE}, "test_it_has_all_a_source_needs", tmp_path
    )


# ---- reports


def report(make: Callable[[Any], Any], suffix: str = ".html") -> Report:
    return Report("mine", "a line a check", About.RECORD, make, suffix)


def emptying(record: Any) -> str:
    object.__setattr__(record, "problems", ("none",))
    return "all is well\n"


BROKEN_REPORTS: list[tuple[str, Report, str]] = [
    ("test_it_has_all_a_report_needs", report(str, suffix="html"), "suffix"),
    ("test_it_makes_a_text", report(lambda record: b"bytes"), "made a bytes"),
    ("test_it_makes_a_text", report(lambda record: "no end"), "last line does not end"),
    ("test_the_same_record_gives_the_same_text", report(lambda record: f"{next(COUNT)}\n"), "another text"),
    ("test_it_leaves_the_record_alone", report(emptying), "changed what it is about"),
    (
        "test_a_visit_without_readings_is_no_crash",
        report(lambda record: "\n" * len(record.readings)),
        "makes nothing",
    ),
    ("test_strangers_texts_stay_text", report(lambda record: f"<b>{record.head.unit}</b>\n"), "<script"),
    (
        "test_strangers_texts_stay_text",
        report(lambda record: '<img src="//fennick.example/a.png">\n'),
        "fetch nothing",
    ),
]


@pytest.mark.parametrize("rule", rules_of(ReportKit))
def test_a_sound_report_passes(rule: str, tmp_path: Path) -> None:
    made = report(lambda record: f"{len(record.scores)} checks\n", ".txt")
    run_rule(ReportKit, {"report": made}, rule, tmp_path)


@pytest.mark.parametrize(("rule", "made", "told"), BROKEN_REPORTS)
def test_a_broken_report_is_caught(rule: str, made: Report, told: str, tmp_path: Path) -> None:
    assert told in refusal(ReportKit, {"report": made}, rule, tmp_path)


# ---- the kits themselves

NEGATIVE = {
    KindKit: {rule for rule, _, _ in BROKEN_KINDS},
    DialectKit: {rule for rule, _, _ in BROKEN_DIALECTS},
    SourceKit: {rule for rule, _, _ in BROKEN_SOURCES} | {"test_the_same_check_can_be_asked_again"},
    FileSourceKit: {rule for rule, _, _ in BROKEN_FILES} | {"test_it_has_all_a_source_needs"},
    ReportKit: {rule for rule, _, _ in BROKEN_REPORTS},
}
#: rules the spec room already holds for every kind, whatever its author does.
HELD_ELSEWHERE = {"test_a_neighbour_is_not_checked", "test_editors_can_complete_it"}


@pytest.mark.parametrize("kit", NEGATIVE)
def test_every_rule_is_shown_to_catch_something(kit: type[Any]) -> None:
    assert set(rules_of(kit)) - HELD_ELSEWHERE == NEGATIVE[kit]
    for rule in rules_of(kit):
        assert getattr(kit, rule).__doc__
