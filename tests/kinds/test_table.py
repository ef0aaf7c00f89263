"""Every kind gives the checks the format promises: exact ids, functions, places, origins, reasons."""

from __future__ import annotations

import pytest

from benchcheck.bench.functions import Function
from benchcheck.document import parse_document
from benchcheck.kinds.check import Check, Evidence, Phase
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board

HEAD = """\
benchcheck = 1
[board]
model = "Ellwick T-2"
hazards = []
[supply.BATT]
nets = { plus = "VIN", minus = "GND" }
voltage = "12 V"
voltages = { fresh = "12.8 V", end_of_life = "9 V" }
current_limit = "500 mA"
input_capacitance = "100 uF"
idle_current = { max = "45 mA" }
off_current = { max = "60 uA" }
[part.RX1]
kind = "resistor"
value = "10k"
nets = ["VIN", "A"]
neighbour = true
[part.RX2]
kind = "resistor"
value = "10k"
nets = ["A", "B"]
neighbour = true
[part.RX3]
kind = "resistor"
value = "10k"
nets = ["B", "C"]
neighbour = true
[part.RX4]
kind = "resistor"
value = "10k"
nets = ["C", "GND"]
neighbour = true
"""
TWO, DIODE, POLAR = (
    'nets = ["A", "B"]',
    'nets = { anode = "A", cathode = "B" }',
    'nets = { plus = "A", minus = "GND" }',
)
BJT = 'nets = { base = "A", collector = "B", emitter = "GND" }'
MOSFET = 'nets = { gate = "A", drain = "B", source = "GND" }'


def board(text: str) -> Board:
    return load_board(parse_document(HEAD + text, "x.toml"))


def of(subject: str, text: str) -> dict[str, Check]:
    return {check.id.partition(".")[2]: check for check in board(text).checks if check.subject == subject}


def part(kind: str, keys: str) -> dict[str, Check]:
    return of("X1", f'[part.X1]\nkind = "{kind}"\n{keys}\n')


TABLE = [
    ("resistor", f'value = "4k7"\n{TWO}', {"resistance"}),
    ("fuse", f'rated_current = "1 A"\n{TWO}', {"resistance"}),
    ("ptc", f'hold_current = "350 mA"\n{TWO}', {"resistance"}),
    ("ferrite", TWO, {"resistance"}),
    ("winding", f'value = "8 ohm"\n{TWO}', {"resistance"}),
    ("capacitor", f'value = "100 nF"\ntechnology = "ceramic"\n{TWO}', {"insulation", "capacitance"}),
    ("capacitor", f'value = "100 nF"\ntechnology = "film"\n{TWO}', {"insulation", "capacitance"}),
    (
        "electrolytic",
        f'value = "100 uF"\nrated_voltage = "25 V"\n{POLAR}\n[rail.VA]\n{POLAR}\nvoltage = "9 V"',
        {"residual_voltage", "polarity[marked]", "polarity[other]", "leakage_screen", "capacitance", "esr", "bias"},
    ),
    (
        "electrolytic",
        f'value = "4u7"\nrated_voltage = "25 V"\n{POLAR}',
        {"polarity[marked]", "polarity[other]", "leakage_screen", "capacitance", "esr", "bias"},
    ),
    (
        "tantalum",
        f'value = "10 uF"\nrated_voltage = "16 V"\n{POLAR}',
        {"residual_voltage", "polarity[marked]", "polarity[other]", "leakage_screen", "capacitance", "esr", "bias"},
    ),
    ("inductor", f'dc_resistance = {{ max = "0.4 ohm" }}\n{TWO}', {"dc_resistance"}),
    ("inductor", f'value = "22 uH"\n{TWO}', {"dc_resistance", "inductance"}),
    ("diode", f'technology = "silicon"\n{DIODE}', {"forward_drop", "reverse"}),
    ("diode", f'technology = "schottky"\n{DIODE}', {"forward_drop", "reverse"}),
    ("diode", f'technology = "germanium"\n{DIODE}', {"forward_drop", "reverse"}),
    ("led", f'colour = "red"\n{DIODE}', {"forward_drop", "reverse"}),
    ("zener", f'value = "5V6"\n{DIODE}', {"forward_drop", "zener_voltage"}),
    ("bjt", f'polarity = "NPN"\n{BJT}', {"be_drop", "bc_drop", "drop_difference", "ce_blocking"}),
    (
        "bjt",
        f'polarity = "PNP"\nhfe = {{ min = 100 }}\n{BJT}',
        {"be_drop", "bc_drop", "drop_difference", "ce_blocking", "hfe"},
    ),
    ("mosfet", f'channel = "N"\n{MOSFET}', {"body_diode", "blocking", "gate_insulation"}),
    ("switch", TWO, {"closed_resistance", "open_resistance"}),
    ("connector", TWO, {"closed_resistance", "open_resistance"}),
    ("crystal", TWO, {"insulation"}),
    (
        "ic",
        'nets = { fb = "A", supply = "VIN", ground = "GND" }\nclamps = { fb = ["ground"] }',
        {"pin[fb:ground]"},
    ),
    (
        "battery",
        f'cell = "alkaline"\ncells = 4\n{POLAR}',
        {"residual_voltage", "open_voltage", "loaded_voltage", "internal_resistance"},
    ),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "keys", "expected"), TABLE)
def test_a_kind_gives_its_checks(kind: str, keys: str, expected: set[str]) -> None:
    assert set(part(kind, keys)) == expected


@pytest.mark.parametrize(("kind", "keys", "expected"), TABLE)
def test_every_check_says_where_why_and_by_whose_word(kind: str, keys: str, expected: set[str]) -> None:
    for name, check in part(kind, keys).items():
        assert check.why, name
        assert check.limits.origin, name
        assert check.limits.lower is not None or check.limits.upper is not None, name
        assert check.quantity_unit == check.function.quantity_unit or check.sources, name
        if check.function.metered:
            assert check.red is not None, name
            assert check.red.point, name


def test_a_regulator_is_checked_across_and_under_power() -> None:
    regulator = 'nets = { input = "VIN", output = "A", ground = "GND" }\nvoltage = "5 V"'
    assert set(part("regulator", regulator)) == {"input_to_output", "output_voltage"}
    assert "dropout" in part("regulator", regulator + '\ndropout = { max = "2 V" }')


def test_a_mosfet_with_on_resistance_is_checked_at_two_currents_under_power() -> None:
    keys = f'channel = "N"\n{MOSFET}\n'
    keys += 'on_resistance = { max = "60 mohm", gate_drive = "4.5 V", currents = ["200 mA", "500 mA"] }'
    found = part("mosfet", keys)
    assert found["on_resistance"].powered


def test_a_rail_is_checked_for_charge_to_ground_per_load_and_for_regulation_and_ripple() -> None:
    rail = (
        f'[rail.VA]\n{POLAR}\nvoltage = "9.0 V"\ntolerance = "4 %"\nloads = ["0 A", "60 mA", "120 mA"]\n'
        'load_regulation = { max = "2 %" }\nripple = { max = "60 mV", as = "peak-to-peak", bandwidth = "20 MHz" }\n'
    )
    found = of("VA", rail)
    loads = {f"voltage[{load}{at}]" for load in ("0A", "60mA", "120mA") for at in ("", ":fresh", ":end_of_life")}
    assert set(found) == {
        "residual_voltage", "to_ground[red:A]", "to_ground[red:GND]", "load_regulation", "ripple", *loads,
    }  # fmt: skip
    assert found["voltage[120mA]"].limits.lower == pytest.approx(8.64)
    assert found["voltage[120mA]"].limits.upper == pytest.approx(9.36)
    assert found["load_regulation"].sources == ("VA.voltage[0A]", "VA.voltage[120mA]")
    assert found["ripple"].method


def test_a_supply_is_checked_for_charge_to_ground_currents_and_inrush() -> None:
    found = of("BATT", "")
    assert set(found) == {
        "residual_voltage", "to_ground[red:VIN]", "to_ground[red:GND]", "idle_current", "off_current", "inrush_time",
    }  # fmt: skip


def test_an_isolation_pair_sorts_its_nets() -> None:
    found = of("isolation", '[[isolation]]\nnets = ["C", "A"]\nmin = "10 kohm"\n')
    assert set(found) == {"resistance[A:C]"}
    assert found["resistance[A:C]"].limits.lower == pytest.approx(10e3)
    assert found["resistance[A:C]"].phase is Phase.ISOLATION


def test_joints_go_to_the_next_part_and_fitted_parts_are_looked_at() -> None:
    keys = f'value = "4k7"\n{TWO}\njoints = true\nfitted = {{ maker = "Arlen", series = "KF", lot = "L-7" }}'
    found = part("resistor", keys)
    assert {"joint[1]", "joint[2]", "orientation", "maker", "series", "lot"} - set(found) <= {"orientation"}
    assert {"joint[1]", "joint[2]", "maker", "series", "lot"} <= set(found)
    black = found["joint[1]"].black
    assert black is not None
    assert black.point.startswith("RX1 "), "not to its own pad: pressing a cold joint closes it"
    assert found["maker"].function is Function.VISUAL


def test_a_fitted_electrolytic_is_looked_at_for_orientation_and_rating_against_its_rail() -> None:
    keys = f'value = "100 uF"\nrated_voltage = "10 V"\n{POLAR}\nfitted = {{ maker = "Arlen" }}'
    keys += f'\n[rail.VA]\n{POLAR}\nvoltage = "9 V"'
    found = part("electrolytic", keys)
    assert {"orientation", "rating", "maker"} <= set(found)
    assert found["orientation"].answers[0] == "yes"


def test_a_neighbour_is_not_itself_checked() -> None:
    assert not of("RX1", "")


def red_black(check: Check) -> tuple[str | None, str | None]:
    assert check.red is not None
    assert check.black is not None
    return check.red.net, check.black.net


@pytest.mark.parametrize(
    ("kind", "keys", "measurand", "nets"),
    [
        ("diode", DIODE, "forward_drop", ("A", "B")),
        ("diode", DIODE, "reverse", ("B", "A")),
        ("led", f'colour = "red"\n{DIODE}', "forward_drop", ("A", "B")),
        ("zener", f'value = "5V6"\n{DIODE}', "forward_drop", ("A", "B")),
        ("zener", f'value = "5V6"\n{DIODE}', "zener_voltage", ("B", "A")),
        ("bjt", f'polarity = "NPN"\n{BJT}', "be_drop", ("A", "GND")),
        ("bjt", f'polarity = "NPN"\n{BJT}', "bc_drop", ("A", "B")),
        ("bjt", f'polarity = "PNP"\n{BJT}', "be_drop", ("GND", "A")),
        ("bjt", f'polarity = "PNP"\n{BJT}', "bc_drop", ("B", "A")),
        ("mosfet", f'channel = "N"\n{MOSFET}', "body_diode", ("GND", "B")),
        ("mosfet", f'channel = "N"\n{MOSFET}', "blocking", ("B", "GND")),
        ("mosfet", f'channel = "P"\n{MOSFET}', "body_diode", ("B", "GND")),
        ("mosfet", f'channel = "P"\n{MOSFET}', "blocking", ("GND", "B")),
    ],
)
def test_red_goes_where_the_junction_conducts_or_blocks(
    kind: str, keys: str, measurand: str, nets: tuple[str, str]
) -> None:
    """Digital meters drive red positive in diode mode (common practice, no source)."""
    assert red_black(part(kind, keys)[measurand]) == nets


@pytest.mark.parametrize(
    ("kind", "nets", "marked"),
    [
        ("electrolytic", '{ plus = "A", minus = "GND" }', "GND"),
        ("tantalum", '{ plus = "A", minus = "GND" }', "A"),
        ("electrolytic", '{ plus = "GND", minus = "B" }', "B"),
    ],
    ids=["aluminium: the minus is marked", "tantalum: the plus is marked", "a negative rail: plus goes to ground"],
)
def test_the_marked_lead_is_the_one_that_must_be_on_its_net(kind: str, nets: str, marked: str) -> None:
    found = part(kind, f'value = "47 uF"\nrated_voltage = "25 V"\nnets = {nets}')
    assert marked in red_black(found["polarity[marked]"])
    assert found["polarity[marked]"].limits.upper is not None
    assert found["polarity[other]"].limits.lower is not None


def test_on_a_board_other_paths_lower_a_resistance_and_raise_a_capacitance() -> None:
    assert part("resistor", f'value = "4k7"\n{TWO}')["resistance"].evidence is Evidence.LOWERED
    assert part("capacitor", f'value = "10 nF"\n{TWO}')["capacitance"].evidence is Evidence.RAISED
    leak = part("electrolytic", f'value = "47 uF"\nrated_voltage = "25 V"\n{POLAR}')["leakage_screen"]
    assert leak.evidence is Evidence.SCREEN


def test_a_zener_beside_other_junctions_is_not_convicted_by_reading_low() -> None:
    assert part("zener", f'value = "5V6"\n{DIODE}')["zener_voltage"].evidence is Evidence.LOWERED


def test_a_lead_that_stands_alone_on_its_net_leaves_the_part_alone() -> None:
    keys = 'value = "4k7"\nnets = ["A", "NC"]\n[net.NC]\ncomplete = true'
    assert part("resistor", keys)["resistance"].evidence is Evidence.DIRECT


def test_a_limit_of_the_spec_comes_before_the_kinds_own() -> None:
    keys = f'{DIODE}\nforward_drop = {{ min = "0.15 V", max = "0.45 V", reason = "data sheet" }}'
    limits = part("diode", keys)["forward_drop"].limits
    assert (limits.lower, limits.upper, limits.reason) == (0.15, 0.45, "data sheet")
    assert limits.origin.startswith("the spec")
