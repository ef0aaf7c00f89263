"""The figures: found by their files, chosen by name, a peer beside each; nothing is timed here."""

from __future__ import annotations

import pathlib

import pytest

from tests.benchmarks import rows
from tests.benchmarks.registry import Benchmark, chosen, discovered
from tests.benchmarks.rows import Row, duration, row, table

FOUND = discovered()
QUICK, LONG = Benchmark("quick", "quick"), Benchmark("long", "long", 9, campaign=True)


@pytest.mark.parametrize("one", FOUND, ids=lambda one: one.name)
def test_every_benchmark_says_what_it_is_about_and_how_long_it_takes(one: Benchmark) -> None:
    assert len(one.about) > 20
    assert 0 < one.minutes <= 60


def test_a_module_with_a_main_is_found_without_being_imported(tmp_path: pathlib.Path) -> None:
    body = '"""Something measured."""\nMINUTES = 3\nraise ImportError\ndef main() -> None: ...\n'
    (tmp_path / "something.py").write_text(body, encoding="utf-8")
    (tmp_path / "helper.py").write_text("def rows() -> None: ...\n", encoding="utf-8")
    assert discovered(tmp_path) == (Benchmark("something", "Something measured.", 3.0),)


def test_campaigns_run_when_named_or_all_are_asked_for() -> None:
    assert chosen((QUICK, LONG), [], every=False) == (QUICK,)
    assert chosen((QUICK, LONG), [], every=True) == (QUICK, LONG)
    assert chosen((QUICK, LONG), ["long", "long"], every=False) == (LONG,)
    with pytest.raises(ValueError, match='"lung" is not a benchmark; did you mean "long"'):
        chosen((QUICK, LONG), ["lung"], every=False)


def test_a_row_says_whether_it_reaches_what_is_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    kept: list[Row] = []
    monkeypatch.setattr(rows, "ROWS", kept)
    assert row("help", 0.2, "argparse", 0.1, 4.0).reached
    assert not row("help", 0.5, "argparse", 0.1, 4.0).reached
    assert row("faults", 0.5, "by hand", 10.0, 10.0, faster=True).ratio == 20.0
    assert not row("faults", 0.5, "by hand", 1.0, 10.0, faster=True).reached
    assert row("rounds", 0.2, "argparse", 0.1, 4.0, ratio=1.7).ratio == 1.7
    told = capsys.readouterr().out
    assert "help: 500 ms; argparse 100 ms; ratio 5 (reach <= 4)  NOT REACHED" in told
    lines = table(kept)
    assert len(lines) == len(kept) + 1
    assert lines[2].split()[-1] == "NO"
    assert duration(0.0421) == "42.1 ms"


def test_every_row_of_the_design_that_is_measured_has_its_benchmark() -> None:
    """The table of figures: help, a further check, readings and settings of instruments, trials, records, history."""
    needed = {"command_line", "instrument_overhead", "metrology_cost", "record_cost", "record_history"}
    assert needed <= {one.name for one in FOUND if not one.campaign}
