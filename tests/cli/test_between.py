"""`between` at the command line: branches of a group, odd boards, and what cannot be solved, in words."""

from __future__ import annotations

import json
import pathlib
import sys

import pytest

from tests.cli.scratch import Ran, process, run

BENCH = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "bench-5.5"\nleads = { nulled = true }\n'
HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-7"\nhazards = []\n'
COMPLETE = "".join(f"[net.{net}]\ncomplete = true\n" for net in "ABC")


def resistor(name: str, value: str, first: str, second: str) -> str:
    return f'[part.{name}]\nkind = "resistor"\nvalue = "{value}"\ntolerance = "1 %"\nnets = ["{first}", "{second}"]\n'


DELTA = resistor("R1", "10k", "A", "B") + resistor("R2", "4k7", "B", "C") + resistor("R3", "22k", "A", "C")
#: 10k, 4.7k, 22k in a delta (computed from parallel and series, any textbook)
GROUP = "red,black,reading\nA,B,7.2752k\nB,C,4.0981k\nA,C,8.8120k\n"


@pytest.fixture
def folder(tmp_path: pathlib.Path) -> pathlib.Path:
    (tmp_path / "bench.toml").write_text(BENCH, "utf-8")
    (tmp_path / "x.toml").write_text(HEAD + COMPLETE + DELTA, "utf-8")
    (tmp_path / "group.csv").write_text(GROUP, "utf-8")
    return tmp_path


def test_a_group_read_pair_by_pair_gives_each_parts_own_value_judged(folder: pathlib.Path) -> None:
    ran = run(folder, "between", "x.toml", "--branches", "group.csv", "--json", "out.json")
    assert ran.code == 0
    found = json.loads((folder / "out.json").read_text("utf-8"))["branches"]
    values = {one["part"]: one["value"] for one in found}
    assert values == {part: pytest.approx(ohm, rel=1e-3) for part, ohm in (("R1", 1e4), ("R2", 4.7e3), ("R3", 2.2e4))}
    assert {one["verdict"] for one in found} == {"pass"}
    assert "A to B: 10 kohm, u " in ran.out


def test_a_wrong_part_in_a_group_fails_and_its_neighbours_pass(folder: pathlib.Path) -> None:
    """R1 of 12k in place of 10k: 12k || 26.7k = 8.2791k, 4.7k || 34k = 4.1292k, 22k || 16.7k = 9.4935k."""
    (folder / "group.csv").write_text("red,black,reading\nA,B,8.2791k\nB,C,4.1292k\nA,C,9.4935k\n", "utf-8")
    ran = run(folder, "between", "x.toml", "--branches", "group.csv", "--json", "out.json")
    assert ran.code == 1
    found = json.loads((folder / "out.json").read_text("utf-8"))["branches"]
    assert {one["part"]: one["verdict"] for one in found} == {"R1": "fail", "R2": "pass", "R3": "pass"}


def test_a_branch_with_a_way_round_through_a_net_not_probed_is_no_part(folder: pathlib.Path) -> None:
    (folder / "x.toml").write_text(
        HEAD + COMPLETE + DELTA + resistor("R4", "1k", "A", "X") + resistor("R5", "1k", "X", "B"), "utf-8"
    )
    ran = run(folder, "between", "x.toml", "--branches", "group.csv")
    assert "R1 is in it, but a path runs through X, not probed" in " ".join(ran.out.split())
    assert "R2: pass" in ran.out


def test_nets_that_are_not_complete_judge_no_part(folder: pathlib.Path) -> None:
    (folder / "x.toml").write_text(HEAD + DELTA, "utf-8")
    ran = run(folder, "between", "x.toml", "--branches", "group.csv")
    assert ran.code == 3
    assert "neither net is complete in the spec" in ran.out
    assert "pass" not in ran.out


@pytest.mark.parametrize(
    ("group", "words"),
    [
        (GROUP + "B,A,6.1k\n", "a junction conducts"),
        ("red,black,reading\nA,B,7.2k\nB,C,4.1k\n", "were not read"),
        ("red,black,reading\nA,B,7.2k\nB,C,4.1k\nA,C,20k\n", "no resistors read so"),
        ("red,black,reading\nA,B,7.275k\nB,C,1.000k\nA,C,9.000k\n", "A and C read 9000 ohm, more than A and B (7275"),
        ("red,black,reading\nA,B,7.275k\nB,C,1k\nA,C,9k\n", "write every digit that the display shows"),
        ("red,black,reading\nA,B,-1k\nB,C,1k\nA,C,9k\n", "group.csv:2: -1k: is below zero"),
        ("red,black,reading\nA,Q,7.2k\n", "Q: no part of the spec is on this net"),
        ("red,black,reading\nA,B,OL\n", "is no number of ohms"),
        ("red,black,reading\nA,B\n", "needs a net for red"),
        ("a,b,c\nA,B,1k\n", 'the first line must be "red,black,reading"'),
        ("red,black,reading\nA,B,1 volt\n", "group.csv:2"),
    ],
)
def test_a_group_that_makes_no_branches_is_refused_in_words(folder: pathlib.Path, group: str, words: str) -> None:
    (folder / "group.csv").write_text(group, "utf-8")
    ran = run(folder, "between", "x.toml", "--branches", "group.csv")
    assert ran.code == 2
    assert words in ran.said
    assert "Traceback" not in ran.err


DIODE = '[part.D1]\nkind = "diode"\ntechnology = "silicon"\nnets = { anode = "A", cathode = "B" }\n'


def test_a_junction_read_one_way_only_is_no_resistor_until_the_other_way_is_read(folder: pathlib.Path) -> None:
    """A diode of 5.2k at this test current in place of R1: the delta's readings with A to B one way round."""
    (folder / "x.toml").write_text(HEAD + COMPLETE + DELTA.replace("10k", "1M") + DIODE, "utf-8")
    ran = run(folder, "between", "x.toml", "--branches", "group.csv")
    assert ran.code == 2
    assert "A and B were read with red on A only, and a junction of D1 lies between them" in ran.said
    (folder / "group.csv").write_text(GROUP + "B,A,20.80k\n", "utf-8")
    assert "a junction conducts" in run(folder, "between", "x.toml", "--branches", "group.csv").said


def test_a_chain_without_a_branch_across_reads_open_there_not_impossible(folder: pathlib.Path) -> None:
    """10k and 4.7k in a row are 14.7k across: the limit of the triangle inequality, passed by a digit's noise."""
    (folder / "x.toml").write_text(
        HEAD + COMPLETE + resistor("R1", "10k", "A", "B") + resistor("R2", "4k7", "B", "C"), "utf-8"
    )
    (folder / "group.csv").write_text("red,black,reading\nA,B,9.9999k\nB,C,4.6999k\nA,C,14.7002k\n", "utf-8")
    ran = run(folder, "between", "x.toml", "--branches", "group.csv")
    assert ran.code == 0
    assert "A to C: open, at least" in ran.out


def test_nets_are_named_or_the_file_is(folder: pathlib.Path) -> None:
    assert "name two nets, or give --branches FILE" in run(folder, "between", "x.toml", "A").said
    assert "name none beside it" in run(folder, "between", "x.toml", "A", "--branches", "group.csv").said


def test_a_net_with_a_single_pin_reads_open_and_says_so(folder: pathlib.Path) -> None:
    (folder / "x.toml").write_text(HEAD + DELTA + resistor("R4", "1k", "A", "LONE"), "utf-8")
    ran = run(folder, "between", "x.toml", "LONE", "B")
    assert ran.code == 0
    assert "net LONE has a single pin in the spec, R4" in " ".join(ran.out.split())


def test_a_part_with_both_pins_on_one_net_is_named(folder: pathlib.Path) -> None:
    (folder / "x.toml").write_text(HEAD + DELTA + resistor("R4", "1k", "A", "A"), "utf-8")
    ran = run(folder, "between", "x.toml", "A", "B")
    assert "R4" in ran.said + ran.out
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("value", ["0", "-4k7"])
def test_values_of_zero_and_below_are_refused_with_their_place(folder: pathlib.Path, value: str) -> None:
    (folder / "x.toml").write_text(HEAD + DELTA + resistor("R4", value, "A", "B"), "utf-8")
    ran = run(folder, "between", "x.toml", "A", "B")
    assert "R4" in ran.said + ran.out
    assert "Traceback" not in ran.err


#: no way of solving arrives, as on a circuit none of them can; the command line is otherwise as it is.
NEVER_SETTLES = """
import sys
import benchcheck.circuit.solution as solution
solution.STRATEGIES.clear()
sys.argv = ["benchcheck", *sys.argv[1:]]
from benchcheck.cli import main
main()
"""


def never_settling(folder: pathlib.Path, *arguments: str) -> Ran:
    (folder / "run.py").write_text(NEVER_SETTLES, "utf-8")
    return process(folder, [sys.executable, "run.py", *arguments])


def test_between_names_the_nets_of_a_circuit_that_does_not_settle(folder: pathlib.Path) -> None:
    ran = never_settling(folder, "between", "x.toml", "A", "B")
    assert ran.code == 2
    assert "does not settle to an operating point; the nets that disagree most are" in ran.said
    assert "Traceback" not in ran.err
    assert "ohm" not in ran.out


def test_verify_leaves_a_part_undecided_in_a_circuit_that_does_not_settle(folder: pathlib.Path) -> None:
    (folder / "read.csv").write_text("check,reading\nR1.resistance,7.2752k\n", "utf-8")
    given = ("--unit", "7", "--readings", "read.csv", "--only", "R1", "--json", "out.json")
    ran = never_settling(folder, "verify", "x.toml", *given)
    assert ran.code == 3
    (one,) = json.loads((folder / "out.json").read_text("utf-8"))["checks"]
    assert one["verdict"] == "undecided"
    assert "the nets that disagree most are" in " ".join(ran.out.split())
    assert run(folder, "verify", "x.toml", *given).code == 0


def test_capability_goes_on_where_a_circuit_does_not_settle(folder: pathlib.Path) -> None:
    ran = never_settling(folder, "capability", "x.toml", "--json", "out.json")
    assert ran.code == 0
    found = json.loads((folder / "out.json").read_text("utf-8"))["checks"]
    assert {(one["decides"], one["on_board"]) for one in found} == {("one-sided", None)}
