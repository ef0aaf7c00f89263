"""What may be typed line by line once power is off: after a key, and after a stop rule."""

from __future__ import annotations

import pytest

from benchcheck.session.answers import Again, Answer, Hindered, Skip, Stop, Undo
from benchcheck.terminal.after_stop import wish_by_line


def wished(*typed: str, ruled: bool) -> tuple[Answer, str]:
    lines = iter(typed)
    told: list[str] = []

    def ask(prompt: str) -> str:
        try:
            return next(lines)
        except StopIteration:
            raise EOFError from None

    return wish_by_line("V6 is 9 V", ("- caution",), ask, told.append, ruled=ruled), "\n".join(told)


@pytest.mark.parametrize(
    ("typed", "answer"),
    [
        (("power U2 short, replaced",), Again("U2 short, replaced")),
        (("b U2 short, replaced",), Again("U2 short, replaced")),
        (("power", "keep"), Hindered("power was switched off: V6 is 9 V")),
        (("k",), Hindered("power was switched off: V6 is 9 V")),
        (("undo",), Undo()),
        (("", "begin", "skip too hot"), Skip("too hot")),
        ((), Stop()),
    ],
)
def test_after_a_stop_rule_power_alone_brings_none(typed: tuple[str, ...], answer: Answer) -> None:
    found, told = wished(*typed, ruled=True)
    assert found == answer
    assert "power and words" in told
    assert ("- caution" in told) is isinstance(answer, Again)


@pytest.mark.parametrize("typed", ["power", "b", "begin"])
def test_after_a_key_power_comes_again_with_the_cautions(typed: str) -> None:
    found, told = wished(typed, ruled=False)
    assert found == Again()
    assert "- caution" in told


def test_after_a_key_nothing_keeps_power_off_for_good() -> None:
    assert wished("keep", "k", ruled=False)[0] == Stop()
