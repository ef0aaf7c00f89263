"""Names of readings between two nets: what of a wrong one is wrong."""

from __future__ import annotations

import pytest

from benchcheck.kinds.between import between_named, between_refused, is_between

NETS = ("BSW", "LX", "VSW")


def test_what_is_well_named_is_not_refused_in_any_case() -> None:
    assert between_refused("between.ohms[BSW:LX]", NETS) == ""
    assert between_refused("BETWEEN.Ohms[bsw:lx]", NETS) == ""


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("between.ohms[BSW:NOPE]", 'no part of the spec is on a net "NOPE"; its nets are BSW, LX, VSW'),
        ("between.ohms[OH:NOPE]", 'no part of the spec is on a net "OH" or "NOPE"; its nets are BSW, LX, VSW'),
        ("between.ohms[BSX:LX]", 'no part of the spec is on a net "BSX"; did you mean "BSW"?'),
        ("between.ohms[LX:lx]", 'has both probes on one net, "LX"; name two different nets'),
        ("between.ohms", "does not name two nets; write between.ohms[RED:BLACK], the net of red first"),
        ("between.smell[BSW:LX]", '"smell" is no function that is read between two nets here; there are ohms, diode'),
    ],
)
def test_what_is_wrong_is_named(name: str, wrong: str) -> None:
    assert between_refused(name, NETS, ("ohms", "diode")) == wrong


def test_a_spec_without_nets_is_said_to_be_one() -> None:
    assert between_refused("between.ohms[BSW:LX]", ()).startswith("the spec gives its parts no nets")


def test_of_many_nets_some_are_told() -> None:
    many = [f"N{number:03}" for number in range(50)]
    assert between_refused("between.ohms[BSW:LX]", many).endswith("N038, N039 and 10 more")


def test_a_name_is_known_as_meant_so_where_it_makes_no_check() -> None:
    assert is_between("between.ohms[A")
    assert between_named("between.ohms[A") is None
    assert not is_between("R14.resistance")
