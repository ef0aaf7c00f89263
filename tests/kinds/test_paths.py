"""A part is alone only where complete nets show that nothing can run around it."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from benchcheck.kinds.check import Evidence
from benchcheck.kinds.part import Part
from benchcheck.kinds.paths import alone, pad, reference, voltage_across
from tests.kinds.boards import Around, entry, one

LEADS = ("1", "2")


def resistor(name: str, first: str, second: str) -> Part:
    return entry("resistor", name, [first, second], value=1e3)


def around(*parts: Part, complete: str = "") -> Around:
    return Around({part.designator: part for part in parts}, frozenset(complete))


def test_a_lone_pin_on_a_net_that_is_not_complete_proves_nothing() -> None:
    part = resistor("R1", "A", "B")
    assert not alone(part, LEADS, around(part))
    assert alone(part, LEADS, around(part, complete="B"))


def test_a_path_over_several_parts_is_found_and_a_dead_end_is_not_one() -> None:
    part, other, third = resistor("R1", "A", "B"), resistor("R2", "B", "C"), resistor("R3", "C", "A")
    assert not alone(part, LEADS, around(part, other, third, complete="ABC"))
    dead_end = resistor("R3", "C", "D")
    assert alone(part, LEADS, around(part, other, dead_end, complete="BCD"))
    assert not alone(part, LEADS, around(part, other, dead_end, complete="BC")), "something unnamed may sit on D"


def test_a_path_that_comes_back_to_a_third_pin_is_a_path() -> None:
    part = entry("bjt", "Q1", {"base": "B", "collector": "C", "emitter": "E"}, polarity="NPN")
    assert alone(part, ("collector", "emitter"), around(part, complete="C"))
    assert not alone(part, ("collector", "emitter"), around(part, resistor("R1", "B", "C"), complete="BC"))


def test_without_nets_nobody_knows_what_lies_around() -> None:
    part = entry("resistor", "R1", value=1e3)
    assert one(part, "resistance").evidence is Evidence.LOWERED


def test_the_drop_of_a_junction_on_a_board_may_be_lowered_by_what_lies_beside_it() -> None:
    part = entry("diode", "D1", {"anode": "A", "cathode": "K"}, technology="silicon")
    assert one(part, "forward_drop").evidence is Evidence.SHUNTED
    assert one(part, "forward_drop", around(part, complete="A")).evidence is Evidence.DIRECT
    beside = around(part, resistor("R1", "A", "K"), complete="AK")
    assert one(part, "forward_drop", beside).evidence is Evidence.SHUNTED


@given(
    st.lists(st.tuples(st.sampled_from("ABCDE"), st.sampled_from("ABCDE")), max_size=6),
    st.sets(st.sampled_from("ABCDE")),
    st.tuples(st.sampled_from("ABCDE"), st.sampled_from("ABCDE")),
)
def test_one_more_part_never_makes_a_part_alone_and_one_more_complete_net_never_keeps_it_from_being(
    wires: list[tuple[str, str]], complete: set[str], more: tuple[str, str]
) -> None:
    part = resistor("R0", "A", "B")
    others = [resistor(f"R{at}", *nets) for at, nets in enumerate(wires, 1)]
    before = alone(part, LEADS, around(part, *others, complete="".join(complete)))
    crowded = alone(part, LEADS, around(part, *others, resistor("RX", *more), complete="".join(complete)))
    assert before or not crowded
    assert alone(part, LEADS, around(part, *others, complete="".join(complete | {more[0]}))) or not before


@given(st.lists(st.tuples(st.sampled_from("ABCDE"), st.sampled_from("ABCDE")), max_size=8))
def test_with_every_net_complete_alone_means_no_connection_but_through_the_part(wires: list[tuple[str, str]]) -> None:
    """Against a union of the wires, which is another way to ask the same."""
    part = resistor("R0", "A", "B")
    others = [resistor(f"R{at}", *nets) for at, nets in enumerate(wires, 1)]
    group = {net: net for net in "ABCDE"}
    for first, second in wires:
        old, new = group[first], group[second]
        group = {net: new if root == old else root for net, root in group.items()}
    assert alone(part, LEADS, around(part, *others, complete="ABCDE")) is (group["A"] != group["B"])


def test_a_reference_is_never_the_parts_own_lead() -> None:
    part, other = resistor("R1", "A", "B"), resistor("R2", "A", "GND")
    board = around(part, other)
    assert reference(part, "A", board).point == "R2 lead 1, the next part on A"
    assert reference(part, "B", board).point == "a pad of B away from R1"
    assert reference(other, "GND", board).point == "a ground point away from R2"
    assert reference(part, None, board).net is None


def test_a_net_is_touched_where_it_is_easiest_to_find() -> None:
    """A resistor's leads look alike, and a rail is read where it is used."""
    cap = entry("electrolytic", "C1", {"plus": "A", "minus": "GND"}, value=1e-5)
    chip = entry("ic", "U1", {"supply": "A", "ground": "GND"})
    leads = resistor("R1", "A", "GND")
    assert pad("A", around(leads, cap)).point == "A, for example at C1 plus lead"
    assert pad("A", around(leads, cap, chip)).point == "A, for example at U1 supply pin"
    assert pad("Z", around(leads)).point == "a pad of Z"


def test_the_voltage_across_a_part_needs_both_nets() -> None:
    part = resistor("R1", "A", "GND")
    assert voltage_across(part, LEADS, Around(volts={"A": 5.0})) == 5.0
    assert voltage_across(part, LEADS, Around(volts={"A": 5.0}, ground_net=None)) is None
    assert voltage_across(part, ("2", "1"), Around(volts={"A": 5.0, "GND": 1.0})) == -4.0
