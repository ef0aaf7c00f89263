"""The demo spec with random things in random places: what a tired hand, or a cat, makes of a file."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from benchcheck.document import read_document

__all__ = ["DATA", "PLACES", "Change", "mutated", "mutations"]

DATA = read_document(Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml").data
Change = tuple[tuple[Any, ...], Any]

_WORDS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-5, 5000),
    st.floats(),
    st.text(max_size=12),
    st.sampled_from(["", "5 V", "4k7", "220 uF", "5 %", "1 A", "-1 %", "R14", "GND", "open", "\u2126", "1e400 ohm"]),
    st.lists(st.sampled_from(["GND", "FB", "", "5 V"]), max_size=3),
    st.sampled_from([{}, {"min": "1 ohm"}, {"max": "1 V"}, {"plus": "GND", "minus": "FB"}, {"S1": "open"}]),
)


def _places(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = [path] if path else []
    steps = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, below in steps:
        found += _places(below, (*path, step))
    return found


PLACES = _places(DATA)


def mutations() -> st.SearchStrategy[list[Change]]:
    """Return changes of the demo: a place, and what to put there; None takes it away."""
    return st.lists(st.tuples(st.sampled_from(PLACES), _WORDS), min_size=1, max_size=3)


def mutated(changes: list[Change]) -> dict[str, Any]:
    """Return the demo's data changed; a change whose place is gone is left out."""
    data = copy.deepcopy(DATA)
    for path, value in changes:
        table: Any = data
        try:
            for step in path[:-1]:
                table = table[step]
            if value is None:
                del table[path[-1]]
            else:
                table[path[-1]] = copy.deepcopy(value)
        except (KeyError, IndexError, TypeError):
            continue
    return data
