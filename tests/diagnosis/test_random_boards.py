"""Boards drawn from a seed are specs the loader takes, of the sizes they should have, and the same every time."""

from __future__ import annotations

import pytest

from tests.diagnosis import boards
from tests.diagnosis.random_boards import random_spec


@pytest.mark.parametrize("seed", range(12))
def test_a_board_drawn_is_a_spec_of_15_to_60_parts(seed: int) -> None:
    board = boards.board(random_spec(seed))
    assert 15 <= len(board.parts) <= 60
    assert board.digest == boards.board(random_spec(seed)).digest
    assert len(board.checks) > len(board.parts)


def test_boards_differ_and_hold_every_kind_between_them() -> None:
    drawn = [boards.board(random_spec(seed)) for seed in range(12)]
    assert len({board.digest for board in drawn}) == len(drawn)
    kinds = {part.kind for board in drawn for part in board.parts.values()}
    assert kinds >= {"resistor", "capacitor", "electrolytic", "diode", "zener", "led", "bjt", "mosfet", "regulator"}
    assert kinds >= {"fuse", "switch", "connector", "inductor", "winding", "ic"}
