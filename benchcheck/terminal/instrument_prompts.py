"""A person at a bench with linked instruments: prompts say where the tips go, the meters read by themselves."""

from __future__ import annotations

import sys

from benchcheck.bench.model import Bench
from benchcheck.clock import SystemClock
from benchcheck.errors import Fault, UsageError
from benchcheck.instruments.catalogue import Catalogue
from benchcheck.session.instrumented import InstrumentedSource
from benchcheck.session.meters import Meters
from benchcheck.session.sources import Setting
from benchcheck.terminal.expecting import typed_source
from benchcheck.terminal.hand import PersonHand
from benchcheck.terminal.screen import Screen

__all__ = ["person_source"]


def person_source(bench: Bench, catalogue: Catalogue, screen: Screen) -> InstrumentedSource:
    """Return what asks the person at this terminal; UsageError where there is none."""
    if not sys.stdin.isatty():
        raise UsageError(Fault("--self-check", "", "there is no terminal to say at where the tips are"))
    prompts = typed_source(Setting(bench, ask=screen.ask, tell=screen.tell))
    return InstrumentedSource(
        Meters(bench, SystemClock(), catalogue=catalogue), PersonHand(prompts), prompts, prompts.placed
    )
