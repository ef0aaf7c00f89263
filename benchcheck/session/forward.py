"""A check brought forward in the queue, with what it would wait for."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection

from benchcheck.kinds.check import Check

__all__ = ["bring_forward"]


def bring_forward(
    queue: deque[Check], name: str, awaited: Callable[[Check], Collection[str]], *, powered: bool
) -> None:
    """Put a check at the head of the queue, what it waits for before it; one on the other side of power stays put."""
    wanted = next((one for one in queue if one.id == name and one.phase.powered == powered), None)
    if wanted is None:
        return
    first = awaited(wanted)
    for one in (wanted, *reversed([one for one in queue if one.id in first])):
        queue.remove(one)
        queue.appendleft(one)
