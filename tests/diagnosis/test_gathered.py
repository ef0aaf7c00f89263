"""Hypotheses gathered: a fault is one answer, whether or not unnamed paths lie beside it."""

from __future__ import annotations

from dataclasses import replace

from benchcheck.diagnosis.gathered import Gathered
from benchcheck.diagnosis.hypotheses import GOOD, UNNAMED, Hypothesis
from benchcheck.diagnosis.result import each_once

SHORT, OPEN = Hypothesis("Q2", "short", 0.002), Hypothesis("R1", "open", 0.002)


def gathered() -> Gathered:
    return Gathered([GOOD, SHORT, OPEN], [0.0, 3.0, 2.0], [0, 1, 2])


def test_a_fault_beside_paths_is_in_that_faults_group() -> None:
    every = gathered()
    every.add(UNNAMED, 1.0)
    every.add(replace(SHORT, also=(UNNAMED,)), 9.0)
    assert every.group == [0, 1, 2, 3, 1]
    assert every.first.without_paths == SHORT
    leading = every.ranked()[0], every.ranked()[1]
    assert [one.group for one in leading] == [1, 1]


def test_paths_alone_are_no_good_board_and_several_faults_are_no_single_one() -> None:
    every = gathered()
    every.add(UNNAMED, 1.0)
    every.add(replace(SHORT, odds=4e-6, also=(OPEN,)), 1.0)
    every.add(replace(SHORT, odds=4e-6, also=(OPEN, UNNAMED)), 2.0)
    assert every.group == [0, 1, 2, 3, 4, 4]


def test_what_comes_up_twice_is_told_once_with_the_better_odds() -> None:
    every = gathered()
    every.add(replace(SHORT, odds=0.1), 5.0)
    every.add(SHORT, 4.0)
    assert every.hypotheses == [GOOD, SHORT, OPEN]
    assert every.odds == [0.0, 5.0, 2.0]


def test_a_group_tells_what_is_wrong_once_the_likelier_way() -> None:
    every = gathered()
    every.add(replace(SHORT, also=(UNNAMED,)), 9.0)
    told = each_once([one for one in every.ranked() if one.group == 1])
    assert [str(one.hypothesis) for one in told] == ["Q2 short and paths the spec does not name"]
