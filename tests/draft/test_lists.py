"""Parts lists as people export them, markings as makers print them, and netlists of either form."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchcheck.document import parse_document
from benchcheck.draft import Draft, draft_spec
from benchcheck.errors import DocumentError
from benchcheck.spec.load import load_board

EXAMPLES = Path(__file__).parents[2] / "examples" / "draft"


def drafted(folder: Path, parts: str | bytes, nets: str | None = None) -> Draft:
    listed = folder / "parts.csv"
    listed.write_bytes(parts if isinstance(parts, bytes) else parts.encode())
    if nets is None:
        return draft_spec(listed)
    wired = folder / "board.net"
    wired.write_text(nets, "utf-8")
    return draft_spec(listed, wired)


def parts_of(draft: Draft) -> dict[str, Any]:
    return dict(load_board(parse_document(draft.text, "draft.toml")).parts)


def only(folder: Path, reference: str, value: str, more: str = "") -> Any:
    made = drafted(folder, f"Reference\tValue\tDescription\n{reference}\t{value}\t{more}\n")
    return parts_of(made)[reference]


@pytest.mark.parametrize(
    ("reference", "value", "more", "kind"),
    [  # class letters: IEEE 315 clause 22, from memory, and common practice beside it
        ("R1", "4k7", "", "resistor"),
        ("C1", "100n", "", "capacitor"),
        ("C1", "220u 16V", "", "electrolytic"),
        ("C1", "10u", "tantalum 16 V", "tantalum"),
        ("L1", "22uH", "", "inductor"),
        ("FB1", "600R@100MHz", "", "ferrite"),
        ("L1", "", "ferrite bead", "ferrite"),
        ("CR1", "1N4148", "", "diode"),
        ("D1", "red", "LED 3 mm", "led"),
        ("D1", "BZX55C12", "", "zener"),
        ("Q1", "2SC1815", "", "bjt"),
        ("Q1", "BSS138", "", "mosfet"),
        ("U1", "LM7805", "", "regulator"),
        ("U1", "LM358", "", "ic"),
        ("Y1", "16 MHz", "", "crystal"),
        ("F1", "500 mA", "", "fuse"),
        ("F1", "500 mA", "resettable", "ptc"),
        ("SW1", "", "slide switch", "switch"),
        ("K1", "5V", "relay", "winding"),
        ("LS1", "8 ohm", "", "winding"),
        ("BT1", "CR2032", "", "battery"),
    ],
)
def test_kinds_follow_letters_and_words(tmp_path: Path, reference: str, value: str, more: str, kind: str) -> None:
    assert only(tmp_path, reference, value, more).kind == kind


@pytest.mark.parametrize(
    ("reference", "value", "number", "tolerance"),
    [
        ("R1", "4k7", 4700.0, None),  # IEC 60062 letter at the point
        ("R1", "4K7J", 4700.0, 0.05),  # IEC 60062 with its tolerance letter
        ("R1", "R47", 0.47, None),
        ("R1", "0R", 0.0, None),
        ("R1", "4,7 k 1%", 4700.0, 0.01),
        ("R1", "10k/0.25W/±5%", 10e3, 0.05),
        ("R1", "103", 10e3, None),  # three digits: a chip code, for 103 ohm is in no series of IEC 60063
        ("R1", "470", 470.0, None),  # and 470 ohm is
        ("R1", "39D", 249e3, 0.01),  # EIA-96: place 39 of E96 is 249
        ("R1", "100k 0603", 100e3, None),
        ("C1", "104K", 100e-9, 0.10),  # two figures, exponent, letter
        ("C1", "1H473J", 47e-9, 0.05),  # EIA and JIS: 1H is 50 V (from memory)
        ("C1", "4n7", 4.7e-9, None),
        ("C1", "100nF 50V X7R 10%", 100e-9, 0.10),
        ("C1", "0.1", 100e-9, None),
        ("C1", "10 MFD", 10e-6, None),
        ("C1", "47 MMFD", 47e-12, None),
        ("L1", "101K", 100e-6, 0.10),  # two figures, exponent, in microhenries
        ("D1", "BZX84-C5V1", 5.1, 0.05),  # Pro Electron: C is 5 %
        ("D1", "1N4733A", 5.1, 0.05),  # JEDEC registration, from memory
        ("D1", "1N4742", 12.0, 0.10),
    ],
)
def test_values_and_tolerances_are_read_from_markings(
    tmp_path: Path, reference: str, value: str, number: float, tolerance: float | None
) -> None:
    part = only(tmp_path, reference, value)
    assert part.value == pytest.approx(number, rel=1e-12)
    assert (part.tolerance.plus if part.tolerance else None) == tolerance


def test_a_rated_voltage_is_found_in_its_column_the_value_or_the_code(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Ref,Value,Voltage\nC1,10u,16\nC2,10u/25V,\nC3,2A104J,\nC4,47u,6.3 V\n")
    rated = {name: part.rated_voltage for name, part in parts_of(made).items()}
    assert rated == {"C1": 16.0, "C2": 25.0, "C3": 100.0, "C4": 6.3}


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_separators_and_encodings(tmp_path: Path, separator: str, encoding: str) -> None:
    ohm = "" if encoding == "cp1252" else "Ω"  # the one sign of these rows Windows-1252 lacks
    rows = [["REF. DES.", "Qty", "PART VALUE"], ["R1, R2", "2", f"4,7 k{ohm}"], ["C1", "1", "10 µF 16 V"]]
    text = "\r\n".join(separator.join(f'"{cell}"' for cell in row) for row in rows)
    parts = parts_of(drafted(tmp_path, text.encode(encoding)))
    assert {name: part.value for name, part in parts.items()} == {"R1": 4700.0, "R2": 4700.0, "C1": 10e-6}


def test_a_list_without_headings_is_taken_as_reference_and_value(tmp_path: Path) -> None:
    made = drafted(tmp_path, "R1,4k7\nC1,100n,X7R\n")
    assert set(parts_of(made)) == {"R1", "C1"}
    assert "no row names the columns" in made.text


def test_a_table_of_something_else_is_refused_in_words(tmp_path: Path) -> None:
    with pytest.raises(DocumentError, match="has no column of references; head it with one of reference"):
        drafted(tmp_path, "date,price\nmonday,4 dollars\n")


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("=HYPERLINK(1)", "begins like a formula"),
        ("@R1", "begins like a formula"),
        ('R"1', "holds a quote"),
        ("R\x071", "holds a sign that cannot be seen"),
        ("../../R1", "looks like a path"),
        ("C:\\R1", "looks like a path"),
        ("Meter", "is a word benchcheck keeps to itself"),
        ("ISOLATION", "is a word benchcheck keeps to itself"),
        ("ambient", "is a word benchcheck keeps to itself"),
        ("R4-R1", "runs backwards"),
        ("R1-C4", "runs from R to C"),
        ("R1-R99999", "names 99999 parts at once"),
        ("R" * 41, "is longer than the 40 signs"),
        ("RΩ1", "holds other signs than letters"),
        ("12", "does not begin with a letter"),
    ],
)
def test_a_hostile_reference_is_named_and_harmless(tmp_path: Path, cell: str, reason: str) -> None:
    quoted = cell.replace('"', '""')
    made = drafted(tmp_path, f'Reference,Value\nR7,1k\n"{quoted}",4k7\n')
    assert set(parts_of(made)) == {"R7"}
    assert reason in made.text
    assert made.left_out >= 1


def test_doubles_in_any_case_are_named_with_the_first_line(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Value\nR1,1k\nr1,2k\nR1,3k\n")
    assert parts_of(made)["R1"].value == 1000.0
    assert "r1 (r1 | 2k): is in line 2 already, there written R1" in made.text
    assert "R1 (R1 | 3k): is in line 2 already; one of the two is wrong" in made.text


def test_counts_that_disagree_are_said(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Qty,Value\nR1-R4,5,1k\n")
    assert "line 2 says 5 and names 4: R1-R4" in made.text


def test_parts_not_fitted_are_left_out_by_name(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Value,DNP\nR1,1k,\nR2,1k,x\nR3,DNP,\n")
    assert set(parts_of(made)) == {"R1"}
    assert made.text.count("is not fitted, the list says") == 2


def test_every_cell_of_a_row_stands_beside_its_part(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Value,Supplier,Bin\nR1,1k,Corner shop,A-17\n")
    assert "# R1, line 2: 1k | Supplier: Corner shop | Bin: A-17" in made.text


def test_what_a_list_leaves_open_is_asked(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Value\nQ1,T7\nD1,A7\nC1,100\nC2,10u\n")
    assert set(parts_of(made)) == {"D1", "C2"}
    for question in (
        "bipolar or MOSFET",
        "silicon? or schottky",
        "a bare number could be a code",
        "an electrolytic, by",
    ):
        assert f"# ? {question}" in made.text or question in made.text
    assert made.questions >= 4


SPICE = """\
* a small board
R1 VCC fb 4k7
R2 fb 0
+ 1k
D1 in vcc SCHOTTKY
C1 vcc 0 10u
Q1 out fb gnd NPN
M1 out g 0 0 NMOS ; the lamp
XU1 in 0 vcc LDO
V1 in 0 DC 9
R9 out 0 10k
.tran 1m
.end
"""


def test_a_spice_netlist_gives_nets_by_its_node_order(tmp_path: Path) -> None:
    rows = "R1,4k7\nR2,1k\nD1,1N5819\nC1,10u electrolytic 16V\nQ1,BC547\nM1,BSS138 mosfet\nU1,LM7805\n"
    made = drafted(tmp_path, f"Reference,Value\n{rows}", SPICE)
    parts = parts_of(made)
    assert dict(parts["R1"].pins) == {"1": "VCC", "2": "fb"}
    assert dict(parts["R2"].pins) == {"1": "fb", "2": "GND"}
    assert dict(parts["D1"].pins) == {"anode": "in", "cathode": "VCC"}
    assert dict(parts["C1"].pins) == {"plus": "VCC", "minus": "GND"}
    assert dict(parts["Q1"].pins) == {"base": "fb", "collector": "out", "emitter": "GND"}
    assert parts["R9"].value == 10e3
    assert "R9, line 11: 10k | not in the parts list; from line 11 of the nets" in made.text
    assert "V1 in 0 DC 9: is a source of a simulator" in made.text
    assert "which way round? the netlist's first node as plus" in made.text
    assert 'which way round? nets = { input = "in", output = "GND", ground = "VCC" }' in made.text


@pytest.mark.parametrize(
    "nets",
    [
        "Net,Pins\nVCC,R1.1 D1.A\nGND,R1.2 D1.K\n",
        "pin;net\nR1-1;VCC\nD1-A;VCC\nR1-2;GND\nD1-K;GND\n",
        "R1:1,VCC\nD1:A,VCC\nR1:2,GND\nD1:K,GND\n",
        "VCC R1.1 D1.A\nGND R1.2 D1.K\n",
        "Part,Pin,Net\nR1,1,VCC\nD1,A,VCC\nR1,2,GND\nD1,K,GND\n",
        "R1,1,VCC\nD1,A,VCC\nR1,2,GND\nD1,K,GND\n",
        "VCC\tR1\t1\nVCC\tD1\tA\nGND\tR1\t2\nGND\tD1\tK\n",
    ],
)
def test_a_list_of_nets_is_read_either_way_round(tmp_path: Path, nets: str) -> None:
    parts = parts_of(drafted(tmp_path, "Reference,Value\nR1,4k7\nD1,1N4148\n", nets))
    assert dict(parts["R1"].pins) == {"1": "VCC", "2": "GND"}
    assert dict(parts["D1"].pins) == {"anode": "VCC", "cathode": "GND"}


def test_numbered_pins_of_a_polar_part_are_asked_about(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Value\nD1,1N4148\n", "Net,Pins\nVCC,D1.1\nGND,D1.2\n")
    assert dict(parts_of(made)["D1"].pins) == {}
    assert '# ? which way round? nets = { anode = "VCC", cathode = "GND" }' in made.text


def test_odd_net_names_become_names_of_a_spec(tmp_path: Path) -> None:
    nets = "Net,Pins\nNet-(R1-Pad1),R1.1\nNet-(R1-Pad2),R1.2\nnet-[R1-Pad1],R2.1\n,R2.2\n"
    made = drafted(tmp_path, "Reference,Value\nR1,4k7\nR2,1k\n", nets)
    assert dict(parts_of(made)["R1"].pins) == {"1": "Net-_R1-Pad1_", "2": "Net-_R1-Pad2_"}
    assert "net Net-(R1-Pad1) is called Net-_R1-Pad1_ here" in made.text
    assert "net net-[R1-Pad1] is called net-_R1-Pad1__2 here" in made.text
    assert "names no net with a pin" in made.text


def test_a_pin_on_two_nets_and_a_part_across_one_are_named(tmp_path: Path) -> None:
    nets = "Net,Pins\nA,R1.1\nB,R1.1\nC,R1.2\nD,R2.1 R2.2\nE,R9.1\n"
    made = drafted(tmp_path, "Reference,Value\nR1,4k7\nR2,1k\n", nets)
    assert dict(parts_of(made)["R1"].pins) == {"1": "A", "2": "C"}
    assert "R1.1 on net B: is on net A already; a pin is on one net" in made.text
    assert "every pin is on net D; look at the list of nets" in made.text
    assert "R9.1 on net E: is a pin of no part in the list" in made.text


def test_the_example_of_readme_drafts(tmp_path: Path) -> None:
    made = draft_spec(EXAMPLES / "parts.csv", EXAMPLES / "board.cir")
    parts = parts_of(made)
    assert len(parts) == made.parts == 16
    assert made.left_out == 4


DISTRIBUTOR = """\
Bill of materials,,,,
Item,Qty,Reference(s),Description,Mfr. Part Number,Tol
1,3,"R1, R2",RES 10K OHM 1% 1/10W 0603,RC0603-10K,
,,R3,,,
2,1,C1,CAP CER 0.1UF 50V X7R 0603,,
3,1,C2,CAP ALUM 220UF 20% 16V RADIAL,,
4,1,L1,FIXED IND 22UH 1.2A 100 MOHM SMD,,
5,1,D1,DIODE SCHOTTKY 40V 1A SOD-123,,
6,1,Q1,TRANS NPN 45V 0.1A SOT23,BC847B,
7,1,U1,IC REG LINEAR 5V 1A TO220,,
8,1,F1,FUSE BOARD MOUNT 500MA 63VAC,,
9,1,R9,47E,,5
10,1,R10,2k2,,5
"""


def test_the_capitals_of_distributors_are_read(tmp_path: Path) -> None:
    parts = parts_of(drafted(tmp_path, DISTRIBUTOR))
    assert [parts[name].value for name in ("R1", "R2", "R3", "C1", "C2", "L1")] == [
        1e4,
        1e4,
        1e4,
        1e-7,
        220e-6,
        22e-6,
    ]
    assert parts["C2"].kind == "electrolytic"
    assert (parts["F1"].rated_current, parts["U1"].voltage, parts["R10"].tolerance.plus) == (0.5, 5.0, 0.05)


def test_a_row_of_references_alone_goes_on_with_the_one_above(tmp_path: Path) -> None:
    made = drafted(tmp_path, DISTRIBUTOR)
    assert "line 4 was taken to go on with the row above it: R3" in made.text


def test_a_value_that_could_be_five_decades_off_is_asked_for(tmp_path: Path) -> None:
    """47E is 47 ohm in many lists and 3.01 Mohm as an EIA-96 code."""
    made = drafted(tmp_path, DISTRIBUTOR)
    assert "R9" not in parts_of(made)
    assert "# ? which value?" in made.text


def test_values_only_a_netlist_has_are_read_as_simulators_read_them(tmp_path: Path) -> None:
    made = drafted(tmp_path, "Reference,Value\nR1,1k\n", "* x\nR1 a b 1k\nR2 a b 4.7MEG\nR3 a b 1M\n.end\n")
    assert parts_of(made)["R2"].value == 4.7e6
    assert "R3" not in parts_of(made)
    assert "m and M are both milli to SPICE" in made.text


def test_titles_and_models_of_a_netlist_are_no_parts(tmp_path: Path) -> None:
    nets = "Demo of the amplifier\nR1 a b 1k\n.subckt AMP 1 2\nR9 1 2 1k\n.ends\nD7 a b 1N4148\n.end\n"
    made = drafted(tmp_path, "Reference,Value\nR1,1k\n", nets)
    assert set(parts_of(made)) == {"R1", "D7"}
    assert "Demo of the amplifier: is the title of a netlist" in made.text
    assert "R9 1 2 1k: belongs to the model of a subcircuit" in made.text


def test_a_value_is_no_tolerance(tmp_path: Path) -> None:
    """100 nF would be a tolerance of 100 nF either way, were it read in the wrong column."""
    made = drafted(tmp_path, "Reference,Value,Tolerance\nC1,100nF,\nC2,4.7pF,0.25pF\nL1,4.7uH,\nR1,10k,J\n")
    parts = parts_of(made)
    assert parts["C1"].tolerance is None
    assert parts["L1"].tolerance is None
    assert parts["C2"].tolerance.plus == pytest.approx(0.25e-12)
    assert parts["R1"].tolerance.plus == 0.05


@pytest.mark.parametrize(
    ("reference", "value", "more", "key", "expected"),
    [
        ("U1", "AMS1117-3.3", "LDO", "voltage", 3.3),
        ("D1", "C3V3", "zener", "value", 3.3),
        ("Q1", "AO3400A", "N-MOSFET", "channel", "N"),
        ("Q1", "2SJ103", "", "channel", "P"),
        ("D1", "1N60", "", "technology", "germanium"),
        ("BT1", "LR6", "alkaline", "cell", "alkaline"),
    ],
)
def test_type_numbers_say_what_they_can(
    tmp_path: Path, reference: str, value: str, more: str, key: str, expected: object
) -> None:
    assert getattr(only(tmp_path, reference, value, more), key) == expected
