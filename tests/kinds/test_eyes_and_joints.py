"""What the eyes must see of a fitted part, what its joints go to, and the checks that carry a session."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.bench.functions import Function
from benchcheck.kinds.catalogue import KINDS
from benchcheck.kinds.check import Phase
from benchcheck.kinds.fields import Volts
from benchcheck.kinds.fitted import required_rating_v
from benchcheck.kinds.part import Fitted
from benchcheck.kinds.session_checks import session_checks
from tests.kinds.boards import KIND_OF, Around, checks_of, entry, one

NINE = Around(volts={"VCC": 9.0, "VEE": -9.0})


@pytest.mark.parametrize(
    ("kind", "nets", "keys", "words"),
    [
        ("electrolytic", {"plus": "VCC", "minus": "GND"}, {"value": 1e-4}, ("minus stripe", "face GND")),
        ("electrolytic", {"plus": "GND", "minus": "VEE"}, {"value": 1e-4}, ("minus stripe", "face VEE")),
        ("tantalum", {"plus": "VCC", "minus": "GND"}, {"value": 1e-5}, ("plus bar", "face VCC")),
        ("diode", {"anode": "LX", "cathode": "VCC"}, {}, ("cathode mark", "face VCC")),
        ("led", {"anode": "A", "cathode": "GND"}, {"colour": "red"}, ("cathode mark", "face GND")),
        ("zener", {"anode": "GND", "cathode": "A"}, {"value": 5.1}, ("cathode mark", "face A")),
        ("bjt", {"base": "B", "collector": "C", "emitter": "E"}, {"polarity": "PNP"}, ("pin order", "emitter to E")),
        ("mosfet", {"gate": "G", "drain": "D", "source": "S"}, {"channel": "N"}, ("pin order", "gate to G")),
        ("resistor", ["A", "B"], {"value": 4700.0}, ("own pads", "4.7 kΩ")),
        ("capacitor", ["A", "B"], {"value": 1e-7}, ("own pads", "100 nF")),
        ("electrolytic", {"plus": "A", "minus": "B"}, {"value": 1e-5, "bipolar": True}, ("own pads", "10 µF")),
        ("fuse", ["A", "B"], {}, ("own pads", "parts list")),
    ],
)
def test_orientation_names_the_mark_and_the_net_it_faces(
    kind: str, nets: Any, keys: dict[str, Any], words: tuple[str, ...]
) -> None:
    check = one(entry(kind, "X1", nets, fitted=Fitted(), **keys), "orientation")
    assert all(word in check.why for word in words), check.why
    assert (check.function, check.phase, check.answers) == (Function.VISUAL, Phase.VISUAL, ("yes", "no"))


@pytest.mark.parametrize(
    ("kind", "rated", "nets", "least"),
    [
        ("electrolytic", 25.0, ("VCC", "GND"), 10.8),  # a fifth above the rail: common practice, no source
        ("electrolytic", 25.0, ("GND", "VEE"), 10.8),  # the same on a negative rail
        ("electrolytic", 25.0, ("VCC", "VEE"), 21.6),  # across both
        ("electrolytic", 10.0, ("VCC", "GND"), 10.0),  # the maker of the board chose less margin
        ("electrolytic", 6.3, ("VCC", "GND"), 10.8),  # less than the rail is no choice
        ("tantalum", 25.0, ("VCC", "GND"), 18.0),  # twice the rail: common practice, no source
        ("tantalum", 16.0, ("VCC", "GND"), 16.0),
        ("electrolytic", 16.0, ("X", "GND"), 16.0),  # nothing is known of X: the plan's own rating
    ],
)
def test_a_rating_must_clear_its_rail(kind: str, rated: float, nets: tuple[str, str], least: float) -> None:
    part = entry(kind, "C1", dict(zip(("plus", "minus"), nets, strict=True)), value=1e-4, rated_voltage=rated)
    found = required_rating_v(part, NINE)
    assert found is not None
    assert found[0] == pytest.approx(least)


@given(st.floats(0.1, 60.0), st.floats(0.1, 100.0), st.sampled_from(["electrolytic", "tantalum", "capacitor"]))
def test_a_rating_asked_for_is_never_below_what_stands_across_the_part(volts: float, rated: float, kind: str) -> None:
    nets: Any = ["V", "GND"] if kind == "capacitor" else {"plus": "V", "minus": "GND"}
    part = entry(kind, "C1", nets, value=1e-6, rated_voltage=rated)
    found = required_rating_v(part, Around(volts={"V": volts}))
    assert found is not None
    assert found[0] >= volts


def test_a_part_fitted_with_too_low_a_rating_is_said_to_be() -> None:
    nets = {"plus": "VCC", "minus": "GND"}
    low = entry("electrolytic", "C1", nets, value=1e-4, fitted=Fitted(rated_voltage=Volts(6.3)))
    good = entry("electrolytic", "C1", nets, value=1e-4, fitted=Fitted(rated_voltage=Volts(16.0)))
    assert "too little" in one(low, "rating", Around(volts={"VCC": 9.0})).why
    assert "too little" not in one(good, "rating", Around(volts={"VCC": 9.0})).why


def test_no_meter_shows_the_rating_of_a_fuse_so_the_eyes_do() -> None:
    check = one(entry("fuse", "F1", ["A", "B"], rated_current=0.5, fitted=Fitted()), "rating")
    assert "500 mA" in check.why


def test_only_what_is_named_is_asked_for() -> None:
    named = checks_of(entry("resistor", "R1", ["A", "B"], value=1e3, fitted=Fitted(lot="L-7")))
    assert "R1.lot" in named
    assert not {"R1.maker", "R1.series", "R1.rating"} & set(named)
    carried = checks_of(entry("resistor", "R1", ["A", "B"], value=1e3, lot="L-8", fitted=Fitted()))
    assert "L-8" in carried["R1.lot"].why


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_has_a_joint_for_every_pin_with_a_net(kind: Any) -> None:
    needed: dict[str, dict[str, Any]] = {
        "resistor": {"value": 1e3}, "capacitor": {"value": 1e-7}, "electrolytic": {"value": 1e-5},
        "tantalum": {"value": 1e-5}, "zener": {"value": 5.1}, "led": {"colour": "red"}, "bjt": {"polarity": "NPN"},
        "mosfet": {"channel": "N"}, "regulator": {"voltage": 5.0}, "battery": {"cell": "nimh"},
    }  # fmt: skip
    keys = needed.get(kind.name, {})
    part = entry(kind.name, "X1", {pin: f"N{pin}" for pin in kind.pins}, joints=True, fitted=Fitted(), **keys)
    found = checks_of(part)
    assert {f"X1.joint[{pin}]" for pin in kind.pins} <= set(found)
    for check in found.values():
        assert check.why.strip(), check.id
        assert check.workaround.strip(), check.id
        assert check.limits.origin, check.id
        assert not check.first_step.endswith("."), check.id
        assert not set("=,~@ ") & set(check.id), check.id
        assert check.sources or check.red is not None, check.id


def test_a_neighbour_gives_nothing_whatever_it_says() -> None:
    part = entry("resistor", "R1", ["A", "B"], value=1e3, neighbour=True, joints=True, fitted=Fitted(maker="Arlen"))
    assert checks_of(part) == {}
    assert set(KIND_OF) == {kind.name for kind in KINDS}


def test_the_session_opens_with_the_reserved_checks() -> None:
    found = {check.id: check for check in session_checks()}
    assert list(found) == ["meter.leads_shorted", "meter.reference_resistor", "meter.diode", "meter.cell", "ambient"]
    assert all(check.phase is Phase.SESSION for check in found.values())
    assert found["ambient"].quantity_unit == "degC"


@pytest.mark.parametrize(("ohm", "good"), [(0.2, True), (0.5, True), (1.2, False)])
def test_leads_above_an_ohm_are_changed(ohm: float, good: bool) -> None:
    """Meter makers: 0.1 to 0.5 ohm a pair, change them above 1 ohm."""
    upper = session_checks()[0].limits.upper
    assert upper is not None
    assert (ohm <= upper) is good
