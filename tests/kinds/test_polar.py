"""Electrolytic and tantalum: which lead goes where, what a leak and an ESR may be, what bias must be."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.kinds.check import Check, Evidence, Phase
from benchcheck.kinds.electrolytic import leakage_a
from benchcheck.kinds.esr import esr_limits, usual_loss_tangent
from benchcheck.kinds.fields import Window
from benchcheck.kinds.part import Part
from tests.kinds.boards import Around, checks_of, entry, one

POSITIVE, NEGATIVE = {"plus": "VCC", "minus": "GND"}, {"plus": "GND", "minus": "VEE"}
VOLTS = {"VCC": 9.0, "VEE": -9.0}


def cap(kind: str = "electrolytic", nets: dict[str, str] | None = None, **keys: Any) -> Part:
    return entry(kind, "C1", POSITIVE if nets is None else nets, **{"value": 100e-6, "rated_voltage": 16.0, **keys})


def points(check: Check) -> tuple[str, str]:
    assert check.red is not None
    assert check.black is not None
    return check.red.point, check.black.point


@pytest.mark.parametrize(
    ("kind", "nets", "marked", "other"),
    [
        ("electrolytic", POSITIVE, ("C1 minus lead", "GND"), ("C1 plus lead", "GND")),
        ("electrolytic", NEGATIVE, ("C1 minus lead", "VEE"), ("C1 plus lead", "VEE")),
        ("tantalum", POSITIVE, ("C1 plus lead", "VCC"), ("C1 minus lead", "VCC")),
        ("tantalum", NEGATIVE, ("C1 plus lead", "GND"), ("C1 minus lead", "GND")),
    ],
)
def test_both_leads_are_tried_against_the_net_of_the_marked_one(
    kind: str, nets: dict[str, str], marked: tuple[str, str], other: tuple[str, str]
) -> None:
    found = checks_of(cap(kind, nets))
    for bracket, (lead, net) in (("marked", marked), ("other", other)):
        check = found[f"C1.polarity[{bracket}]"]
        assert check.red is not None
        assert check.black is not None
        tips = {tip.point: tip.net for tip in (check.red, check.black)}
        assert lead in tips
        assert net in [where for point, where in tips.items() if point != lead]
        assert check.phase is Phase.POLARITY


@pytest.mark.parametrize("kind", ["electrolytic", "tantalum"])
@pytest.mark.parametrize("nets", [POSITIVE, NEGATIVE])
def test_the_meters_own_volts_stay_the_right_way_round_across_the_part(kind: str, nets: dict[str, str]) -> None:
    found = checks_of(cap(kind, nets))
    for name in ("polarity[other]", "leakage_screen", "capacitance", "esr", "bias"):
        check = found[f"C1.{name}"]
        assert check.red is not None
        assert check.red.net == nets["plus"], name


def test_what_the_part_says_is_told_from_what_its_net_is() -> None:
    """A reversed 100 uF on a positive rail: marked lead open to ground, other lead 0.1 ohm (common practice)."""
    found = checks_of(cap())
    marked, other = found["C1.polarity[marked]"].limits, found["C1.polarity[other]"].limits
    assert marked.upper is not None
    assert other.lower is not None
    assert marked.upper < math.inf
    assert other.lower > 0.1, "0.1 ohm from the other lead to ground must not pass"
    assert marked.upper > 0.1, "0.1 ohm from the marked lead to ground must pass"
    assert other.lower < 34.0, "the load of a working 5 V rail, 34 ohm, is not near zero"


def test_one_key_gives_both_limits_of_polarity() -> None:
    found = checks_of(cap(polarity=Window(min=5.0, max=0.5)))
    assert (found["C1.polarity[marked]"].limits.lower, found["C1.polarity[marked]"].limits.upper) == (None, 0.5)
    assert (found["C1.polarity[other]"].limits.lower, found["C1.polarity[other]"].limits.upper) == (5.0, None)


def test_a_bipolar_part_has_no_way_round() -> None:
    assert set(checks_of(cap(bipolar=True))) == {"C1.residual_voltage", "C1.capacitance", "C1.esr"}


@pytest.mark.parametrize(
    ("value", "rated", "charged"),
    [(10e-6, 16.0, True), (9.9e-6, 16.0, False), (1e-6, 50.0, True), (1e-6, 49.0, False), (1e-6, None, False)],
)
def test_charge_is_looked_for_from_10_microfarad_or_50_volt_up(
    value: float, rated: float | None, charged: bool
) -> None:
    assert ("C1.residual_voltage" in checks_of(cap(value=value, rated_voltage=rated))) is charged


@pytest.mark.parametrize(
    ("value", "rated", "microamperes"),
    [(47e-6, 25, 11.75), (100e-6, 25, 25.0), (1000e-6, 25, 250.0), (10e-6, 16, 3.0)],
)
def test_leakage_follows_the_data_sheets(value: float, rated: float, microamperes: float) -> None:
    """Lelon RGA, Rubycon ZL, Nichicon RS: 0.01 C V or 3 uA, whichever is greater."""
    assert leakage_a(value, rated) == pytest.approx(microamperes * 1e-6, rel=1e-12)


def test_leakage_above_100_volt_has_a_formula_of_its_own() -> None:
    """0.03 C V + 15 uA for a C V of at most 1000, else 0.02 C V + 25 uA (aluminium data sheets, after 5 min)."""
    assert leakage_a(4.7e-6, 160.0) == pytest.approx((0.03 * 752 + 15) * 1e-6)
    assert leakage_a(47e-6, 400.0) == pytest.approx((0.02 * 18800 + 25) * 1e-6)


def test_a_polymer_part_may_leak_twenty_times_as_much() -> None:
    lifted = Around(complete_nets=frozenset({"VCC"}))
    polymer, wet = (one(cap(technology=word), "leakage_screen", lifted).limits.lower for word in ("polymer", ""))
    assert polymer is not None
    assert wet == pytest.approx(20.0 * polymer)


def test_no_aluminium_data_sheet_vouches_for_a_tantalum() -> None:
    found = checks_of(cap("tantalum"), Around(complete_nets=frozenset({"VCC"})))
    for name in ("capacitance", "leakage_screen", "esr"):
        assert not any(maker in found[f"C1.{name}"].limits.origin for maker in ("Lelon", "Rubycon", "Nichicon"))


def test_off_the_board_a_plateau_below_the_data_sheets_leak_rejects_and_on_it_only_a_short_does() -> None:
    """A 100 uF part whose ohms settle at 12 kohm is leaky; on the board 12 kohm may be the circuit's own."""
    lifted = one(cap(), "leakage_screen", Around(complete_nets=frozenset({"VCC"})))
    on_board = one(cap(), "leakage_screen")
    assert lifted.limits.lower == pytest.approx(16.0 / 16e-6)
    assert on_board.limits.lower is not None
    assert on_board.limits.lower < 12e3 < 1e6
    assert lifted.evidence is on_board.evidence is Evidence.SCREEN
    assert "settles above 1.0 Mohm" in on_board.workaround


#: charts pinned over benches: value in farad, rated volts, the ohms three of them give (common practice, no source).
CHARTS = [
    (10e-6, 50, (2.4, 9.3, 1.0)),
    (22e-6, 16, (3.6, 7.5)),
    (100e-6, 16, (0.7, 1.60)),
    (100e-6, 25, (0.32, 1.40, 0.2)),
    (1000e-6, 16, (0.09, 0.16, 0.05)),
]


@pytest.mark.parametrize(("value", "rated", "charts"), CHARTS)
def test_the_guide_for_an_unknown_series_lies_above_every_chart_and_says_it_is_one(
    value: float, rated: float, charts: tuple[float, ...]
) -> None:
    check = one(cap(value=value, rated_voltage=float(rated)), "esr")
    assert check.limits.upper is not None
    assert check.limits.upper > max(charts)
    assert "9x" in check.limits.origin
    assert "120 Hz" in check.limits.origin
    assert check.evidence is Evidence.SCREEN
    assert check.method


@pytest.mark.parametrize(
    ("value", "rated", "tangent", "ohm"),
    [
        (10e-6, 50, 0.10, 13.263),
        (47e-6, 25, 0.14, 3.951),
        (100e-6, 25, 0.14, 1.857),
        (220e-6, 16, 0.16, 0.9646),
        (470e-6, 16, 0.16, 0.4515),
        (1000e-6, 25, 0.14, 0.18568),
    ],
)
def test_esr_is_loss_tangent_over_two_pi_f_c(value: float, rated: float, tangent: float, ohm: float) -> None:
    """Formula of Vishay 013 RLC; tangents of Lelon RGA at 120 Hz."""
    given = esr_limits(value, tangent, "", rated, tantalum=False)
    listed = esr_limits(value, None, "general-purpose", rated, tantalum=False)
    assert given.upper == pytest.approx(ohm, rel=5e-4)
    assert listed.upper == pytest.approx(given.upper, rel=1e-12)


def test_a_part_of_a_step_above_1000_microfarad_counts_as_a_whole_one() -> None:
    """Three makers add 0.02 for every 1000 uF; 2200 uF at 16 V is 0.18, 0.184 or 0.20, and the widest is taken."""
    assert usual_loss_tangent("general-purpose", 16.0, 1000e-6)[0] == pytest.approx(0.16)
    assert usual_loss_tangent("general-purpose", 16.0, 2200e-6)[0] == pytest.approx(0.20)
    assert usual_loss_tangent("general-purpose", 16.0, 3000e-6)[0] == pytest.approx(0.20)


@given(st.floats(1e-6, 1e-2), st.floats(3.0, 500.0), st.sampled_from(["general-purpose", "low-impedance", "compact"]))
def test_a_rating_between_two_listed_ones_is_never_held_to_the_tighter(
    value: float, rated: float, series: str
) -> None:
    tangent = usual_loss_tangent(series, rated, value)[0]
    assert usual_loss_tangent(series, None, value)[0] >= tangent >= 0.08


def test_an_esr_the_spec_gives_is_a_limit_like_any_other() -> None:
    check = one(cap(esr=Window(max=0.3)), "esr", Around(complete_nets=frozenset({"VCC"})))
    assert (check.limits.upper, check.evidence, check.method) == (0.3, Evidence.DIRECT, "")
    assert one(cap(esr=Window(max=0.3)), "esr").evidence is Evidence.LOWERED


@pytest.mark.parametrize(("nets", "expected"), [(POSITIVE, 9.0), (NEGATIVE, 9.0)])
def test_bias_is_from_plus_to_minus_on_either_rail_and_a_reversed_part_fails_it(
    nets: dict[str, str], expected: float
) -> None:
    """100 uF, -4.9 V across the marked leads: reversed, stop (common practice)."""
    check = one(cap(nets=nets), "bias", Around(volts=VOLTS))
    assert check.expected == expected
    assert (check.limits.lower, check.limits.upper) == (0.0, 16.0)
    assert check.powered


def test_a_coupling_part_of_unknown_bias_may_sit_at_zero_but_not_well_below() -> None:
    """Vishay 013 RLC allows 1 V in reverse."""
    limits = one(cap(nets={"plus": "OUT", "minus": "SPK"}), "bias", Around(volts=VOLTS)).limits
    assert limits.lower is not None
    assert -1.0 <= limits.lower < -0.1
