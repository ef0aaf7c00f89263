"""The prompts of one bench: which meter a check will be read on, and what it shows there on a good unit."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from benchcheck.bench.functions import Function
from benchcheck.bench.model import Bench
from benchcheck.kinds.check import Check
from benchcheck.quantity import format_limits
from benchcheck.readings.reading import Session
from benchcheck.score.capability import capability
from benchcheck.terminal.prompt import PromptSource

if TYPE_CHECKING:
    from benchcheck.session.sources import Setting

__all__ = ["expectation", "meter_name", "typed_source"]


def typed_source(setting: Setting) -> PromptSource:
    """Return the source that asks a person at the terminal."""
    return PromptSource(setting.ask, setting.tell, meter_name(setting.bench), expectation(setting.bench))


def meter_name(bench: Bench) -> Callable[[Check], str]:
    """Return what names the meter of the bench that a check is read on, "" for none."""

    def name(check: Check) -> str:
        meter = bench.meter_for(check.function) if check.function.metered else None
        return meter.name if meter else ""

    return name


def expectation(bench: Bench) -> Callable[[Check, Session], str]:
    """Return what says in words what this bench's meter shows for a check on a good unit."""

    def expect(check: Check, session: Session) -> str:
        if check.function in (Function.VISUAL, Function.DERIVED):
            return ""
        able = capability(check, bench, session)
        lower, upper = (
            None if end is None else float(f"{end:.4g}") for end in (able.window_lower, able.window_upper)
        )
        shown = format_limits(lower, upper, check.quantity_unit, ascii=True)
        return f"{shown} or OL" if shown and able.overload else shown

    return expect
