"""The unit as built: values within tolerance, one unit per seed, faults that change nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.circuit.devices import Capacitor, Clamp, Diode, Resistor, Switch
from benchcheck.errors import UsageError
from benchcheck.quantity import Tolerance
from benchcheck.simulation.faults import OPERATOR_FAULTS
from benchcheck.simulation.specimen import Specimen
from tests.simulation.units import BARE, board, demo, supplied

seeds = st.integers(0, 10**6)


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_every_value_lies_within_its_tolerance(seed: int) -> None:
    specimen = Specimen(demo(), seed=seed)
    for device in specimen.good({}).devices:
        part = demo().parts.get(device.designator)
        spread, nominal = getattr(part, "spread", None), getattr(part, "value", None)
        if isinstance(spread, Tolerance) and nominal and isinstance(device, Resistor | Capacitor):
            lower, upper = spread.interval(nominal)
            value = device.resistance_ohm if isinstance(device, Resistor) else device.capacitance_f
            assert lower <= value <= upper


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_junctions_spread_by_no_more_than_a_lot_does(seed: int) -> None:
    """Two standard deviations of 10 mV (common practice, no source: a lot spreads by 10 to 20 mV)."""
    for device in Specimen(demo(), seed=seed).good({}).devices:
        if isinstance(device, Diode | Clamp):
            assert abs(device.drop_shift_v) <= 0.020 + 1e-12


def test_one_seed_is_one_unit_and_another_is_another() -> None:
    assert Specimen(demo(), seed=4).good({}) == Specimen(demo(), seed=4).good({})
    assert Specimen(demo(), seed=4).good({}) != Specimen(demo(), seed=5).good({})


def test_a_fault_changes_nothing_else() -> None:
    good, bad = (Specimen(demo(), faults, 4).netlist({}).by_designator for faults in ((), ("R14 decade x10",)))
    changed = {name for name in good if good[name] != bad[name]}
    assert changed == {"R14"}


def test_faults_add_up() -> None:
    netlist = Specimen(demo(), ("D3 reversed", "bridge GDR LX", "U2 short"), 4).netlist({})
    diode = netlist.by_designator["D3"]
    assert isinstance(diode, Diode)
    assert (diode.anode, diode.cathode) == ("VSW", "LX")
    assert {"bridge:GDR:LX", "U2:short"} <= netlist.by_designator.keys()


def test_switches_are_where_they_are_put_and_at_rest_otherwise() -> None:
    specimen = Specimen(supplied())
    for positions, closed in (({}, True), ({"S1": "open"}, False)):
        switch = specimen.netlist(positions).by_designator["S1"]
        assert isinstance(switch, Switch)
        assert switch.closed is closed


def test_a_board_without_nets_is_a_bag_of_single_parts() -> None:
    specimen = Specimen(board(BARE))
    assert len(specimen.good({}).devices) == 4
    assert "R14 lead 1" in specimen.own_nets
    assert len({net for device in specimen.good({}).devices for net in device.PINS}) > 3


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("D3 reversd", 'did you mean "reversed"'),
        ("R99 open", 'there is no part "R99"; this fault can be on F1, .* and 26 more'),
        ("D33 open", 'there is no part "D33"; did you mean "D3"'),
        ("U1 missing-joint fb", 'of its pins, U1:drive, U1:fb; write "U1:fb missing-joint pin" or "U1:fb missing'),
        ("U1 short", 'write "U1:drive short" or "U1:fb short"'),
        ("U1 dry", "no pin of U1 can have this fault; this fault can be on C1, "),
        ("U2 dry", "U2 has no circuit model, so it can be open or short and nothing else; this fault can be on C1, "),
        ("D3 missing-joint gate", "name one pin of D3: anode, cathode$"),
        ("R14 wrong-polarity-type", "it can be .*; this fault can be on Q2, Q4, Q5$"),
        ("D3 bridge", "a bridge joins two different nets; name both"),
        ("bridge GDR NOWHERE", "NOWHERE: no part touches this net"),
        ("R14 reversed", "R14 cannot have this fault"),
        ("F1 decade x10", "F1 cannot have this fault; it can be missing-joint, open, short; this fault can be on"),
        ("C13 dry", "C13 cannot have this fault; it can be decade, leaky, missing-joint, open, short"),
        ("L1 decade x0.1", "L1 cannot have this fault; it can be missing-joint, open, short"),
        ("probes-swaped", 'did you mean "probes-swapped"'),
    ],
)
def test_a_fault_that_cannot_be_says_what_can(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        Specimen(demo(), (text,))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("typed-1000 R99.resistance", "no such check"),
        ("probes-swapped nosuch", "write probes-swapped alone"),
        ("probes-swaped", 'did you mean "probes-swapped"'),
        ("Q4 swapped-pins base base", "name two different pins"),
        ("R14 decade x100 x10", '"x10"; leave it out'),
    ],
)
def test_words_that_would_be_passed_over_are_refused(text: str, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        Specimen(demo(), (text,))
    assert said in str(caught.value)


def test_a_board_without_a_gate_has_no_gate_to_charge() -> None:
    text = '[part.R1]\nkind = "resistor"\nvalue = "1k"\ntolerance = "5 %"\nnets = ["A", "B"]\n'
    with pytest.raises(UsageError, match="has a gate"):
        Specimen(board(BARE + text), ("charged-gate",))


def test_all_wrong_faults_are_named_at_once() -> None:
    with pytest.raises(UsageError) as caught:
        Specimen(demo(), ("R99 open", "R98 open"))
    assert len(caught.value.faults) == 2


def test_operator_faults_are_known_by_their_fixed_codes() -> None:
    """The codes of the design's section 6, and two for leads that are none."""
    assert set(OPERATOR_FAULTS) == {
        "probes-swapped", "leads-not-nulled", "lead-open", "tips-joined", "charged-gate", "residual-charge",
        "typed-1000",
    }  # fmt: skip
    faults = Specimen(demo(), ("typed-1000 R14.resistance", "D3 open")).faults
    assert faults.argument("typed-1000") == "R14.resistance"
    assert faults.in_words() == "D3 open, typed-1000 R14.resistance"
