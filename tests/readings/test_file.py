"""Files of readings: what is accepted, and what every bad line is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.errors import ReadingsError
from benchcheck.kinds.check import Limits, Phase
from benchcheck.quantity import DisplayState
from benchcheck.readings.file import COLUMNS, ReadingsFile, parse_readings, read_readings
from tests.factories import bench, check, voltage

R14 = check("R14.resistance", expected=4700.0)
RED_VSW = check("VSW.to_ground[red:VSW]", phase=Phase.TO_GROUND, limits=Limits(150.0, None))
RED_GND = check("VSW.to_ground[red:GND]", phase=Phase.TO_GROUND, limits=Limits(150.0, None))
FULL = voltage("VSW.voltage[120mA]", Phase.RAILS, 8.64, 9.36, expected=9.0)
IDLE = voltage("VSW.voltage[0A]", Phase.RAILS, 8.64, 9.36, expected=9.0)
SEEN = check("C9.orientation", Function.VISUAL, Phase.VISUAL, answers=("yes", "no"), limits=Limits())
CHECKS = {one.id: one for one in (R14, RED_VSW, RED_GND, FULL, IDLE, SEEN)}
BENCH = bench()


def read(text: str) -> ReadingsFile:
    return parse_readings(text, "card.csv", CHECKS, BENCH)


def faults(text: str) -> list[str]:
    with pytest.raises(ReadingsError) as caught:
        read(text)
    return [str(fault) for fault in caught.value.faults]


def test_check_and_reading_are_enough() -> None:
    (reading,) = read("check,reading\nR14.resistance,4.68k\n").readings
    assert (reading.check, reading.display.value, reading.display.resolution) == ("R14.resistance", 4680.0, 10.0)
    assert reading.line == 2


def test_semicolons_go_with_decimal_commas() -> None:
    (reading,) = read("check;reading\nR14.resistance;4,68k\n").readings
    assert reading.display.value == 4680.0


def test_overload_is_a_reading() -> None:
    (reading,) = read("check,reading\nVSW.to_ground[red:VSW],OL\n").readings
    assert reading.display.state is DisplayState.OVERLOAD


def test_the_quantity_unit_may_stand_in_its_own_column() -> None:
    (reading,) = read("check,reading,quantity_unit\nR14.resistance,4.68,kohm\n").readings
    assert reading.display.value == 4680.0


def test_polarity_and_load_stand_in_for_a_bracket() -> None:
    text = "check,reading,polarity,load\nVSW.to_ground,1.2k,red:GND,\nVSW.voltage,8.97,,120 mA\nVSW.voltage,9.01,,0\n"
    assert [one.check for one in read(text).readings] == [RED_GND.id, FULL.id, IDLE.id]


def test_a_bracket_that_disagrees_with_its_column_is_refused() -> None:
    text = "check,reading,polarity,load\nVSW.to_ground[red:VSW],1.2k,red:GND,\nVSW.voltage[0A],9,,120mA\n"
    polarity, load = faults(text)
    assert polarity.startswith("card.csv:2:")
    assert "keep one" in polarity
    assert load.startswith("card.csv:3:")
    assert "keep one" in load


def test_swapped_leads_are_kept_with_the_reading() -> None:
    text = "check,reading,polarity,repeat\nR14.resistance,4.68k,swapped,1\nR14.resistance,4.68k,red:FB,2\n"
    assert [one.polarity for one in read(text).readings] == ["swapped", ""]


def test_repeats_are_kept_apart_by_their_number() -> None:
    text = "check,reading,repeat\nR14.resistance,4.68k,1\nR14.resistance,4.69k,2\n"
    assert [one.repeat for one in read(text).readings] == [1, 2]


def test_the_same_reading_twice_counts_once() -> None:
    assert len(read("check,reading\nR14.resistance,4.68k\nR14.resistance,4.68k\n").readings) == 1


def test_two_different_readings_of_one_check_are_refused_with_both_lines() -> None:
    (fault,) = faults("check,reading\nR14.resistance,4.68k\nR14.resistance,4.71k\n")
    assert fault.startswith("card.csv:3: R14.resistance:")
    assert '"4.68k" in line 2' in fault
    assert '"4.71k" here' in fault


def test_a_blank_reading_is_not_a_reading_and_comments_are_passed_over() -> None:
    file = read(
        '# the card of unit 7; taken twice, "wet"\ncheck,reading\n\nR14.resistance,\n# later\nC9.orientation,yes\n'
    )
    assert file.blanks == ("R14.resistance",)
    assert [one.check for one in file.readings] == ["C9.orientation"]


def test_ids_are_found_in_any_case() -> None:
    assert read("check,reading\nr14.Resistance,4.68k\n").readings[0].check == "R14.resistance"


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("R41.resistance,4.68k", 'no such check; did you mean "R14.resistance"?'),
        ("VSW.to_ground,1.2k", "write VSW.to_ground[red:VSW] or VSW.to_ground[red:GND]"),
        ("R14.resistance,4.68", "4.68 kohm meant?"),
        ("R14.resistance,4.68M", "4.68 kohm meant?"),
        ("R14.resistance,five", '"five"'),
        ("R14.resistance,NaN", '"NaN"'),
        ("R14.resistance,4.68 V", '"4.68 V"'),
        ("R14.resistance,yes", '"yes" is not what a meter shows'),
        ("VSW.voltage[0A],beep", "says nothing about a quantity in V"),
        ("C9.orientation,perhaps", 'write "yes" or "no"'),
        ("R14.resistance,4.68k,and,more", "4 cells under 2 columns"),
    ],
)
def test_every_bad_line_is_told_what_is_wrong_and_what_to_write(line: str, told: str) -> None:
    (fault,) = faults(f"check,reading\n{line}\n")
    assert fault.startswith("card.csv:2:")
    assert told in fault


def test_the_readings_of_another_board_are_one_fault_that_says_so() -> None:
    lines = "".join(f"U{at}.pin[a:ground],0.6\n" for at in range(10))
    (fault,) = faults(f"check,reading\nR14.resistance,4.68k\n{lines}")
    assert fault.startswith("card.csv: 10 of its checks are none of this board's")
    assert "lines 3 to 12" in fault
    assert "another board?" in fault
    assert len(faults("check,reading\n" + lines.replace("U9.pin[a:ground],0.6\n", ""))) == 9


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("check,readng", 'did you mean "reading"?'),
        ("reading", "must name the columns"),
        ("check,reading,reading", "stands twice"),
    ],
)
def test_a_bad_first_line_is_told_which_columns_there_are(header: str, told: str) -> None:
    assert any(told in fault for fault in faults(f"{header}\nR14.resistance,4.68k\n"))


@pytest.mark.parametrize("repeat", ["0", "-1", "two", "1.5", "²"])
def test_a_repeat_is_a_count(repeat: str) -> None:
    (fault,) = faults(f"check,reading,repeat\nR14.resistance,4.68k,{repeat}\n")
    assert "is not a count" in fault


def test_a_meter_the_bench_does_not_have_is_named_with_a_close_match() -> None:
    (fault,) = faults("check,reading,meter\nR14.resistance,4.68k,dm\n")
    assert 'did you mean "dmm"?' in fault


def test_all_bad_lines_come_at_once() -> None:
    assert len(faults("check,reading\nR1.x,1\nR14.resistance,x\nC9.orientation,hm\n")) == 3


def test_a_powered_reading_of_a_board_that_must_not_be_powered_is_refused() -> None:
    with pytest.raises(ReadingsError, match="must not be powered"):
        parse_readings("check,reading\nV5.voltage[0A],5.0\n", "c.csv", CHECKS, BENCH, withheld={"V5.voltage[0A]"})


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "empty"),
        (b"\x00\x01\x02" * 50, ""),
        (b"check,reading\nR14.resistance,4.68k\xff\n", "UTF-8"),
        (b"x" * 9_000_000, "MB"),
    ],
    ids=["empty", "binary", "not UTF-8", "too large"],
)
def test_a_file_that_is_no_text_is_refused_in_words(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "card.csv"
    path.write_bytes(content)
    with pytest.raises(ReadingsError) as caught:
        read_readings(path, CHECKS, BENCH)
    assert "card.csv" in str(caught.value)
    assert told in str(caught.value)


def test_a_byte_order_mark_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "card.csv"
    path.write_bytes(b"\xef\xbb\xbfcheck,reading\r\nR14.resistance,4.68k\r\n")
    assert len(read_readings(path, CHECKS, BENCH).readings) == 1


CELLS = st.text(max_size=12) | st.sampled_from([*CHECKS, *COLUMNS, "4.68k", "OL", "1", "red:GND", "swapped", ","])


@given(st.lists(st.lists(CELLS, min_size=1, max_size=9), max_size=6), st.sampled_from(",;\t"))
def test_no_text_raises_anything_but_a_readings_error(rows: list[list[str]], delimiter: str) -> None:
    text = "\n".join(delimiter.join(row) for row in [list(COLUMNS[:2]), *rows])
    try:
        read(text)
    except ReadingsError as error:
        assert all(fault.where.startswith("card.csv") for fault in error.faults)  # noqa: PT017


def test_a_reading_between_two_nets_says_what_of_its_name_is_wrong() -> None:
    with pytest.raises(ReadingsError) as caught:
        parse_readings(
            "check,reading\nbetween.ohms[FB:NOPE],1k\n", "c.csv", CHECKS, BENCH, between=lambda name: f"is no {name}"
        )
    assert str(caught.value) == "c.csv:2: between.ohms[FB:NOPE]: is no between.ohms[FB:NOPE]"


def test_a_visit_sends_readings_between_two_nets_to_the_diagnosis() -> None:
    (told,) = faults("check,reading\nbetween.ohms[FB:GND],1k\n")
    assert told.startswith("card.csv:2: between.ohms[FB:GND]: is a reading for benchcheck diagnose")
