"""The hand moved by lines: every line has an answer, and a wrong one says what was meant."""

from __future__ import annotations

import pytest

from benchcheck.bench.simulated import default_bench
from benchcheck.simulation.hand import SimulatedHand
from benchcheck.simulation.hand_lines import HELP, HandLines
from benchcheck.simulation.virtual_unit import VirtualUnit
from tests.simulation.units import demo


@pytest.fixture
def lines() -> HandLines:
    return HandLines(SimulatedHand(VirtualUnit(demo(), ("D3 reversed",), 4), default_bench()))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("C9.capacitance", "red on C9 plus lead, black on C9 minus lead"),
        ("VSW GND", "red on VSW, black on GND"),
        ("lift", "probes lifted"),
        ("discharge", "discharged through a resistor"),
        ("switch S1 open", "S1 open"),
        ("switch S1 ajar", "write a switch (S1) and open or closed"),
        ("load VSW", "load on VSW"),
        ("load VSV", 'there is no rail "VSV"; did you mean "VSW"?'),
        ("dummy VSW 47R", "47 ohm across VSW: 191 mA at 9 V"),
        ("dummy VSW off", "no resistor across VSW"),
        ("dummy VSV 47", 'there is no rail "VSV"; did you mean "VSW"?'),
        ("dummy VSW 0", "0 is no resistor; write ohms above 0, or off"),
        ("faults", "D3 reversed"),
        ("help", HELP),
        ("C9.capacitence", 'there is no check "C9.capacitence"; did you mean "C9.capacitance"?'),
        ("VSW GNDD", 'there is no net "GNDD"; did you mean "GND"?'),
        ("read C99.esr", 'there is no check "C99.esr"; did you mean "C9.esr"?'),
        ("look", '"look" is no line for the hand; write help'),
        ("a b c d", '"a b c d" is no line for the hand; write help'),
        ("swap", "the probes are not on two nets"),
        ("", ""),
    ],
)
def test_every_line_is_answered(lines: HandLines, line: str, said: str) -> None:
    assert lines.obey(line) == said


def test_probes_are_exchanged_where_they_are(lines: HandLines) -> None:
    lines.obey("VSW GND")
    assert lines.obey("swap") == "red on GND, black on VSW"
    assert lines.hand.unit.probes == ("GND", "VSW")


def test_eyes_and_displays_are_read(lines: HandLines) -> None:
    assert lines.obey("look D3.orientation").endswith("face VSW? no")
    assert lines.obey("D3.orientation").endswith("no")
    assert 0.0 < float(lines.obey("read C9.esr")) < 1.0
    assert 0.0 < float(lines.obey("read between.esr[VSW:GND]")) < 1.0  # as diagnose names what it asks for
    assert 0.0 < float(lines.obey("read Between.ESR[vsw:gnd]")) < 1.0


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("between.esr[VSW:GND2]", 'no part of the spec is on a net "GND2"; did you mean "GND"?'),
        ("between.esr[VSW:VSW]", 'has both probes on one net, "VSW"; name two different nets'),
        ("between.esr[VSW]", "does not name two nets; write between.esr[RED:BLACK], the net of red first"),
        ("between.esrr[VSW:GND]", '"esrr" is no function that is read between two nets here; did you mean "esr"?'),
    ],
)
def test_a_reading_between_two_nets_that_cannot_be_says_why(lines: HandLines, name: str, wrong: str) -> None:
    assert lines.obey(f"read {name}") == lines.obey(name) == f"{name}: {wrong}"


def test_switches_go_back_to_rest_with_the_next_check(lines: HandLines) -> None:
    lines.obey("S1.open_resistance")
    assert lines.hand.unit.positions == {"S1": "open"}
    lines.obey("S1.closed_resistance")
    assert lines.hand.unit.positions == {"S1": "closed"}


def test_quit_ends_it(lines: HandLines) -> None:
    assert not lines.done
    assert lines.obey("quit") == ""
    assert lines.done


def test_help_is_no_wider_than_eighty_columns() -> None:
    assert max(map(len, HELP.splitlines())) <= 80
