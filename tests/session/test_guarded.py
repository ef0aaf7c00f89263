"""Computed guarding in a visit: a group of which every pair was read is judged by its branches, nothing lifted.

10k, 4.7k and 22k in a delta read 7.2752k, 4.0981k and 8.8120k between its nets (parallel and series, any textbook).
"""

from __future__ import annotations

import json
import pathlib

import pytest

from tests.cli.scratch import Ran, run

BENCH = 'benchcheck_bench = 1\n[meter.dmm]\nclass = "bench-5.5"\nleads = { nulled = true }\n'
HEAD = 'benchcheck = 1\n[board]\nmodel = "Ellwick T-15"\nhazards = []\n'
COMPLETE = "".join(f"[net.{net}]\ncomplete = true\n" for net in "ABC")


def resistor(name: str, value: str, nets: str, tolerance: str = "1 %", more: str = "") -> str:
    pair = ", ".join(f'"{net}"' for net in nets)
    return f'[part.{name}]\nkind = "resistor"\nvalue = "{value}"\ntolerance = "{tolerance}"\nnets = [{pair}]\n{more}'


#: neighbours of 20 % around a part of 1 %: one reading cannot tell which of them is off.
LOOSE = resistor("R1", "10k", "AB") + resistor("R2", "4k7", "BC", "20 %") + resistor("R3", "22k", "AC", "20 %")


def verify(folder: pathlib.Path, spec: str, ab: str, bc: str, ac: str) -> tuple[Ran, dict[str, dict[str, object]]]:
    (folder / "bench.toml").write_text(BENCH, "utf-8")
    (folder / "x.toml").write_text(spec, "utf-8")
    readings = f"check,reading\nR1.resistance,{ab}\nR2.resistance,{bc}\nR3.resistance,{ac}\n"
    (folder / "read.csv").write_text(readings, "utf-8")
    ran = run(folder, "verify", "x.toml", "--unit", "7", "--readings", "read.csv", "--json", "out.json")
    found = json.loads((folder / "out.json").read_text("utf-8"))["checks"]
    return ran, {one["check"].removesuffix(".resistance"): one for one in found}


def test_a_part_that_its_neighbours_hid_passes_by_its_branch(tmp_path: pathlib.Path) -> None:
    ran, found = verify(tmp_path, HEAD + COMPLETE + LOOSE, "7.2752k", "4.0981k", "8.8120k")
    assert {name: one["verdict"] for name, one in found.items()} == {"R1": "pass", "R2": "pass", "R3": "pass"}
    assert ran.code == 0
    assert found["R1"]["value"] == pytest.approx(10e3, rel=1e-3)
    (tmp_path / "one.csv").write_text("check,reading\nR1.resistance,7.2752k\n", "utf-8")
    alone = run(tmp_path, "verify", "x.toml", "--unit", "8", "--readings", "one.csv", "--json", "one.json")
    assert alone.code == 3
    (one, *_) = json.loads((tmp_path / "one.json").read_text("utf-8"))["checks"]
    assert (one["check"], one["verdict"]) == ("R1.resistance", "undecided")


def test_the_wrong_part_of_a_group_fails_and_no_other(tmp_path: pathlib.Path) -> None:
    """R1 of 12k: 12k || 26.7k = 8.2791k, 4.7k || 34k = 4.1292k, 22k || 16.7k = 9.4935k."""
    ran, found = verify(tmp_path, HEAD + COMPLETE + LOOSE, "8.2791k", "4.1292k", "9.4935k")
    assert {name: one["verdict"] for name, one in found.items()} == {"R1": "fail", "R2": "pass", "R3": "pass"}
    assert ran.code == 1
    assert found["R1"]["value"] == pytest.approx(12e3, rel=1e-3)


def test_a_group_that_is_not_complete_is_told_and_judges_nobody(tmp_path: pathlib.Path) -> None:
    _, found = verify(tmp_path, HEAD + LOOSE, "7.2752k", "4.0981k", "8.8120k")
    assert {one["verdict"] for one in found.values()} == {"undecided"}


def test_a_path_through_a_net_that_was_not_probed_judges_nobody_beside_it(tmp_path: pathlib.Path) -> None:
    beside = resistor("R4", "1k", "AX", "5 %", "neighbour = true\n") + resistor(
        "R5", "1k", "XB", "5 %", "neighbour = true\n"
    )
    nets = COMPLETE + "[net.X]\ncomplete = true\n"
    # 2k across R1: 10k || 2k || 26.7k = 1.5686k; 4.7k || 23.667k = 3.9213k; 22k || 6.3667k = 4.9377k
    _, found = verify(tmp_path, HEAD + nets + LOOSE + beside, "1.5686k", "3.9213k", "4.9377k")
    assert "by all readings" not in str(found["R1"]["reason"]) or found["R1"]["verdict"] == "undecided"
    assert (found["R2"]["verdict"], found["R3"]["verdict"]) == ("pass", "pass")


def test_readings_that_no_resistors_give_change_nothing(tmp_path: pathlib.Path) -> None:
    _, found = verify(tmp_path, HEAD + COMPLETE + LOOSE, "7.2752k", "1.0000k", "9.5000k")
    assert all("by all readings" not in str(one["reason"]) for one in found.values())
