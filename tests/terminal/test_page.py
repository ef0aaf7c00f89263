"""Pages in windows narrower than what stands on them: every figure of every row is read."""

from __future__ import annotations

import re

import pytest

from benchcheck.readings.reading import Session
from benchcheck.score.explain import explain
from benchcheck.score.judge import judge
from benchcheck.terminal.page import folded_page
from tests.factories import bench, check, reading

R14 = check("R14.resistance", expected=4700.0)


def explained() -> tuple[str, ...]:
    score = judge(R14, (reading(R14, "4.68k"),), bench(), Session())
    return explain(score, R14, bench().decision)


@pytest.mark.parametrize("columns", [100, 84, 80, 60, 40, 20])
def test_no_figure_of_a_budget_is_lost_in_a_narrow_window(columns: int) -> None:
    lines = explained()
    shown = [part for line in lines for part in folded_page(line, columns)]
    assert all(len(part) <= columns for part in shown), max(shown, key=len)
    told = "".join("".join(shown).split())
    rows = [line for line in lines if re.search(r"\d+% +(inf|\d+)$", line)]
    assert rows, "the budget has no rows"
    for row in rows:
        for cell in row.split():
            assert cell in told or columns < 84


@pytest.mark.parametrize("columns", [80, 40, 20])
def test_each_row_says_its_seven_figures_in_order(columns: int) -> None:
    for line in (one for one in explained() if re.search(r"\d+% +(inf|\d+)$", one)):
        told = " ".join(part.strip() for part in folded_page(line, columns))
        *name, figure, shape, by, unc, sens, share, dof = line.split()
        at = -1
        for cell in (figure, shape, by, unc, sens, share, dof):
            found = told.find(cell, at + 1)
            assert found > at, f"{cell} of {line!r} is not in {told!r}"
            at = found
        assert all(word in told for word in name)


def test_a_row_of_another_table_is_folded_and_not_cut() -> None:
    row = "    R14      open         would read OL, whatever lies beside it on the board"
    assert " ".join(" ".join(folded_page(row, 40)).split()) == " ".join(row.split())
