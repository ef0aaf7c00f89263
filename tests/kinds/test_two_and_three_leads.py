"""Where red goes on transistors and chips, and limits of parts whose figures come from one data sheet or habit."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.kinds.check import Check, Evidence
from benchcheck.kinds.ohmic import cold_resistance_ohm
from benchcheck.kinds.zener import knee_v
from benchcheck.quantity import Tolerance
from tests.kinds.boards import Around, checks_of, entry, one

BJT = {"base": "B", "collector": "C", "emitter": "E"}
CHIP = {"fb": "FB", "en": "VCC", "supply": "VCC", "ground": "GND"}


def tips(check: Check) -> tuple[str | None, str | None]:
    assert check.red is not None
    assert check.black is not None
    return check.red.net, check.black.net


@pytest.mark.parametrize(
    ("polarity", "be", "bc", "ce"),
    [("NPN", ("B", "E"), ("B", "C"), ("C", "E")), ("PNP", ("E", "B"), ("C", "B"), ("E", "C"))],
)
def test_a_pnp_is_the_mirror_of_an_npn(
    polarity: str, be: tuple[str, str], bc: tuple[str, str], ce: tuple[str, str]
) -> None:
    """Collector to emitter is read the way the working current goes: the other way a damper diode may conduct."""
    found = checks_of(entry("bjt", "Q1", BJT, polarity=polarity))
    assert (tips(found["Q1.be_drop"]), tips(found["Q1.bc_drop"]), tips(found["Q1.ce_blocking"])) == (be, bc, ce)


def test_a_clamp_conducts_from_ground_to_the_pin_and_from_the_pin_to_the_supply() -> None:
    found = checks_of(entry("ic", "U1", CHIP))
    assert tips(found["U1.pin[fb:ground]"]) == ("GND", "FB")
    assert tips(found["U1.pin[fb:supply]"]) == ("FB", "VCC")


def test_a_pin_is_not_read_against_a_rail_it_is_tied_to_nor_one_it_does_not_clamp_to() -> None:
    assert set(checks_of(entry("ic", "U1", CHIP))) == {"U1.pin[fb:ground]", "U1.pin[fb:supply]", "U1.pin[en:ground]"}
    clamps = {"fb": (), "supply": ("ground",)}
    assert set(checks_of(entry("ic", "U1", CHIP, clamps=clamps))) == {"U1.pin[en:ground]", "U1.pin[supply:ground]"}


def test_a_gate_off_the_board_must_insulate_and_on_it_may_have_its_pull_down() -> None:
    nets = {"gate": "G", "drain": "D", "source": "S"}
    lifted = one(entry("mosfet", "Q1", nets, channel="N"), "gate_insulation", Around(complete_nets=frozenset("G")))
    board = one(entry("mosfet", "Q1", nets, channel="N"), "gate_insulation")
    assert (lifted.limits.lower, lifted.evidence) == (10e6, Evidence.DIRECT)
    assert board.limits.lower is not None
    assert board.limits.lower < 10e3, "a pull-down of 10 kohm is usual (common practice, no source)"
    assert board.evidence is Evidence.LOWERED


#: rated current in ampere and nominal cold resistance in ohm: Littelfuse 452/454 data sheet.
FUSES = [(0.375, 1.2), (0.75, 0.36), (1.5, 0.093), (3.0, 0.034), (5.0, 0.0136), (12.0, 0.0061)]


@pytest.mark.parametrize(("rated", "cold"), FUSES)
def test_a_fuse_may_have_twice_its_cold_resistance(rated: float, cold: float) -> None:
    assert cold_resistance_ohm(rated) == pytest.approx(cold, rel=1e-9)
    assert one(entry("fuse", "F1", rated_current=rated), "resistance").limits.upper == pytest.approx(2 * cold)


@given(st.floats(0.375, 12.0), st.floats(0.375, 12.0))
def test_a_heavier_fuse_has_less_resistance(one_a: float, other_a: float) -> None:
    light, heavy = sorted((one_a, other_a))
    of_light, of_heavy = cold_resistance_ohm(light), cold_resistance_ohm(heavy)
    assert of_light is not None
    assert of_heavy is not None
    assert of_light >= of_heavy * (1 - 1e-12)


@pytest.mark.parametrize("rated", [None, 0.1, 20.0])
def test_a_fuse_outside_the_data_sheet_is_only_asked_to_be_whole(rated: float | None) -> None:
    assert one(entry("fuse", "F1", rated_current=rated), "resistance").limits.upper == 10.0


@pytest.mark.parametrize(
    ("hold", "highest"), [(0.10, 6.0), (0.20, 3.5), (0.25, 3.5), (0.35, 1.2), (1.1, 1.2), (0.05, 6.0), (None, 6.0)]
)
def test_a_ptc_may_reach_its_r1max(hold: float | None, highest: float) -> None:
    """FSMD 0805 series: R1max 6.0, 3.5, 1.2 ohm for 0.10, 0.20, 0.35 A; between two the weaker one counts."""
    assert one(entry("ptc", "F1", hold_current=hold), "resistance").limits.upper == highest


@pytest.mark.parametrize(
    ("kind", "keys", "measurand", "good", "bad"),
    [
        ("inductor", {}, "dc_resistance", (0.01, 1.0, 50.0), (100.0,)),  # chokes 1 to 50 ohm
        ("ferrite", {}, "resistance", (0.05, 0.9), (5.0,)),  # a bead has less than 1 ohm
        ("switch", {}, "closed_resistance", (0.1, 0.2), (0.5, 1.0)),  # 0.5 ohm is a fault
        ("connector", {}, "closed_resistance", (0.1, 0.2), (0.5, 1.0)),
        ("resistor", {"value": 1.0, "joints": True}, "joint[1]", (0.02, 0.1), (1.1, 50.0)),  # suspect above 1 ohm
        ("winding", {"value": 8.0}, "resistance", (7.3, 8.7), (7.1, 8.9)),  # service charts: 10 %
        ("winding", {}, "resistance", (0.5, 400.0), (2000.0,)),
    ],
)
def test_low_ohm_parts_are_held_to_what_the_trade_says(
    kind: str, keys: dict[str, Any], measurand: str, good: tuple[float, ...], bad: tuple[float, ...]
) -> None:
    """Common practice, no source, as the notes beside the cases say."""
    limits = one(entry(kind, "X1", ["A", "B"], **keys), measurand).limits

    def inside(ohm: float) -> bool:
        return (limits.lower or 0.0) <= ohm <= (limits.upper or math.inf)

    assert all(inside(ohm) for ohm in good)
    assert not any(inside(ohm) for ohm in bad)


def test_a_jumper_has_no_lower_limit() -> None:
    limits = one(entry("resistor", "R1", ["A", "B"], value=0.0), "resistance").limits
    assert (limits.lower, limits.upper) == (None, 0.05)


@pytest.mark.parametrize(
    ("value", "tolerance", "origin"),
    [(4700.0, 0.05, "E24"), (2490.0, 0.01, "E96"), (5000.0, 0.05, "want of a tolerance")],
)
def test_a_resistor_without_a_tolerance_takes_its_series_and_says_so(
    value: float, tolerance: float, origin: str
) -> None:
    limits = one(entry("resistor", "R1", ["A", "B"], value=value), "resistance").limits
    assert (limits.lower, limits.upper) == pytest.approx((value * (1 - tolerance), value * (1 + tolerance)))
    assert origin in limits.origin


def test_an_asymmetric_tolerance_keeps_its_sides() -> None:
    """IEC 60062 letter Z: -20/+80 %."""
    part = entry("capacitor", "C1", ["A", "B"], value=1e-7, tolerance=Tolerance(0.2, 0.8))
    limits = one(part, "capacitance").limits
    assert (limits.lower, limits.upper) == pytest.approx((80e-9, 180e-9))


@pytest.mark.parametrize(
    ("volts", "ohm"), [(3.3, 600), (4.7, 500), (5.1, 480), (5.6, 400), (6.2, 150), (6.8, 80), (12, 150)]
)
def test_the_knee_of_a_zener_follows_its_dynamic_resistance(volts: float, ohm: float) -> None:
    """BZX84C table (YJ): largest dynamic resistance at 1 mA; from 5 mA down to 1 mA it falls as 1/I."""
    assert knee_v(volts) == pytest.approx(ohm * 1e-3 * math.log(5.0), rel=1e-9)


def test_a_soft_zener_at_a_meters_current_is_no_fault() -> None:
    """A 2.4 V zener that shows 1.9 V at 1 mA is plausible (common practice, no source)."""
    limits = one(entry("zener", "D1", {"anode": "A", "cathode": "K"}, value=2.4), "zener_voltage").limits
    assert limits.lower is not None
    assert limits.lower < 1.9 < 2.4


@given(st.floats(1.8, 60.0))
def test_a_zener_in_its_tolerance_passes_and_a_short_or_a_plain_diode_never_does(volts: float) -> None:
    limits = one(entry("zener", "D1", {"anode": "A", "cathode": "K"}, value=volts), "zener_voltage").limits
    assert limits.lower is not None
    assert limits.upper is not None
    assert limits.lower <= 0.95 * volts <= 1.05 * volts <= limits.upper * (1 + 1e-12)
    assert limits.lower > 0.8


@pytest.mark.parametrize(
    ("kind", "keys"),
    [
        ("diode", {"technology": "silicon"}), ("diode", {"technology": "schottky"}),
        ("diode", {"technology": "germanium"}), ("zener", {"value": 5.1}),
        *(("led", {"colour": colour}) for colour in ("infrared", "red", "green", "true-green", "blue", "white")),
    ],
)  # fmt: skip
def test_no_window_for_a_junction_lets_a_short_pass(kind: str, keys: dict[str, Any]) -> None:
    """A meter manual calls 0.100 V and less a short; a data sheet's largest VF alone would let one pass."""
    limits = one(entry(kind, "D1", {"anode": "A", "cathode": "K"}, **keys), "forward_drop").limits
    assert limits.lower is not None
    assert limits.lower > 0.1


@pytest.mark.parametrize(
    ("nets", "asked"),
    [
        ({"base": "B", "collector": "B", "emitter": "E"}, {"be_drop"}),
        ({"base": "E", "collector": "C", "emitter": "E"}, {"bc_drop", "ce_blocking"}),
        ({"base": "B", "collector": "C", "emitter": "C"}, {"be_drop", "bc_drop", "drop_difference"}),
    ],
)
def test_a_junction_the_board_joins_is_not_asked_for(nets: dict[str, str], asked: set[str]) -> None:
    """A transistor with base and collector on one net is a diode (any textbook)."""
    found = checks_of(entry("bjt", "Q1", nets, polarity="NPN"))
    assert {name.partition(".")[2] for name in found} >= asked
    assert (
        not {"be_drop", "bc_drop", "drop_difference", "ce_blocking"}
        & {name.partition(".")[2] for name in found} - asked
    )
