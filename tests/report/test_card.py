"""The probe card: room to write for every check that is read, on paper eighty columns wide or in a browser."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.kinds.check import Check, Formula, Limits
from benchcheck.readings.reading import Session
from benchcheck.report.card import WIDTH, probe_card, probe_card_html
from benchcheck.score.capability import Capability, capabilities
from tests.factories import bench, check

ROOM = "_" * 14


def found(*checks: Check, **leads: Any) -> tuple[Capability, ...]:
    return capabilities(checks, bench(), Session(**leads))


RESISTOR = check("R14.resistance", limits=Limits(4653.0, 4747.0), first_step="null the leads")
BLOCKS = check("D3.reverse", Function.DIODE, limits=Limits(1.0, None))
SEEN = check("C1.orientation", Function.VISUAL, limits=Limits(), answers=("yes", "no"), why="Does it face GND?")
COMPUTED = check(
    "Q1.drop_difference", Function.DERIVED, limits=Limits(0.0, 0.03), quantity_unit="V",
    sources=("D3.reverse", "D3.reverse"), formula=Formula.DIFFERENCE,
)  # fmt: skip


def entries(lines: tuple[str, ...]) -> list[str]:
    return [line for line in lines if re.match(r" *\d+  ", line)]


def test_every_check_that_is_read_has_a_number_its_name_and_room_to_write() -> None:
    listed = entries(probe_card("Ellwick T-1", found(RESISTOR, COMPUTED, BLOCKS, SEEN)))
    assert [line.split()[:2] for line in listed] == [
        ["1", "R14.resistance"], ["2", "D3.reverse"], ["3", "C1.orientation"],
    ]  # fmt: skip
    assert all(ROOM in line for line in listed)


def test_the_card_says_what_this_meter_should_show() -> None:
    resistor, blocks, seen = entries(probe_card("Ellwick T-1", found(RESISTOR, BLOCKS, SEEN)))
    assert resistor.endswith("4.65 kohm .. 4.75 kohm")
    assert blocks.endswith(">= 1.00 V or OL")
    assert seen.endswith("yes / no")


def test_red_and_black_and_what_to_do_first_stand_under_the_check() -> None:
    lines = probe_card("Ellwick T-1", found(RESISTOR))
    assert "red R14 lead 1, black R14 lead 2; null the leads" in " ".join(" ".join(lines).split())


@given(st.text(max_size=120), st.text(max_size=200))
def test_every_line_fits_the_page_in_ascii_whatever_the_words(title: str, first_step: str) -> None:
    one = check("R14.resistance", first_step=first_step)
    for line in probe_card(title[:60], found(one)):
        assert len(line) <= WIDTH
        assert line.isascii()


class Texts(HTMLParser):
    """The words of a page, and the tags they stand in."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def page_of(title: str, *checks: Check) -> Texts:
    texts = Texts()
    texts.feed(probe_card_html(title, found(*checks)))
    return texts


def test_the_page_holds_the_same_checks_with_room_to_write() -> None:
    page = page_of("Ellwick T-1", RESISTOR, COMPUTED, BLOCKS, SEEN)
    words = " ".join("".join(page.words).split())
    for word in ("R14.resistance", "D3.reverse", "C1.orientation", "4.65 kohm .. 4.75 kohm", "Does it face GND?"):
        assert word in words
    assert "drop_difference" not in words


def test_the_page_needs_no_other_file_and_runs_nothing() -> None:
    text = probe_card_html("Ellwick T-1", found(RESISTOR))
    assert not re.search(r"<script|src=|href=|url\(|@import", text)


@given(st.text(max_size=40))
def test_words_on_the_page_are_words_and_never_tags(text: str) -> None:
    plain = page_of("Ellwick T-1", check("R14.resistance", first_step="x")).tags
    assert page_of(text, check("R14.resistance", first_step=f"x{text}")).tags == plain
    assert page_of("<script>", check("R14.resistance", first_step="<b>x")).tags == plain
