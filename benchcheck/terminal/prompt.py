"""Plain prompts: one check at a time, what to touch, what to set, what to expect; then a line is typed.

Beside a reading a person may type a word of action: skip and a reason, undo, later, why, stop.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.errors import ReadingsError
from benchcheck.kinds.check import Check, Probe
from benchcheck.quantity import format_value
from benchcheck.readings.reading import Reading
from benchcheck.readings.typed import magnitude_question, read_typed
from benchcheck.session.answers import Answer, Later, Skip, Step, Stop, Taken, Undo

__all__ = ["ACTIONS", "PromptSource", "instructions"]

ACTIONS = 'a reading, or: skip and why | undo | later | why | stop (keeps everything, "--resume" goes on)'
_SETTINGS = {
    Function.DC_VOLTAGE: "DC volts",
    Function.AC_VOLTAGE: "AC volts",
    Function.DC_CURRENT: "DC current, in series",
    Function.OHMS: "ohms",
    Function.LOW_POWER_OHMS: "low-power ohms",
    Function.OHMS_4W: "four-wire ohms",
    Function.DIODE: "diode test",
    Function.CONTINUITY: "continuity",
    Function.CAPACITANCE: "capacitance",
    Function.ESR: "ESR meter",
    Function.INDUCTANCE: "inductance",
    Function.HFE: "hFE socket",
    Function.TEMPERATURE: "temperature",
    Function.TIME: "time in seconds",
    Function.VISUAL: "look at it",
    Function.DERIVED: "computed",
}


def instructions(step: Step) -> tuple[str, ...]:
    """Return what to do for a check, as lines of at most 80 columns."""
    check = step.check
    head = f"{step.place} of {step.total}  {check.id}  ({_SETTINGS[check.function]})"
    lines = [_place(check), _expectation(check)]
    if check.first_step:
        lines.insert(0, f"first {check.first_step}")
    body = [part for line in lines if line for part in textwrap.wrap(line, 76)]
    return (head, *(f"    {line}" for line in body))


def _place(check: Check) -> str:
    if check.red is None or check.black is None:
        return ""
    return f"red on {_point(check.red)}, black on {_point(check.black)}"


def _point(probe: Probe) -> str:
    return f"{probe.point} (net {probe.net})" if probe.net and probe.net not in probe.point else probe.point


def _expectation(check: Check) -> str:
    if check.answers:
        return f"answer {' or '.join(check.answers)}; {check.why}"
    lower, upper = (
        format_value(limit, check.quantity_unit, ascii=True) if limit is not None else None
        for limit in (check.limits.lower, check.limits.upper)
    )
    if lower and upper:
        return f"expect {lower} to {upper}"
    if lower or upper:
        return f"expect at least {lower}" if lower else f"expect at most {upper}"
    return ""


@dataclass(slots=True)
class PromptSource:
    """Asks a person, line by line.

    `ask` shows a prompt and returns the line typed, raising EOFError at the end of input; `tell` shows a line;
    `explain` gives the lines behind `why`; `meter_of` names the meter that will be used for a check.
    """

    ask: Callable[[str], str]
    tell: Callable[[str], None]
    meter_of: Callable[[Check], str]

    def answer(self, step: Step) -> Answer:
        """Show the check and return what was typed for it, asking again until it makes sense."""
        for line in instructions(step):
            self.tell(line)
        while True:
            try:
                typed = self.ask("> ").strip()
            except EOFError:
                return Stop()
            answer = self._understand(step.check, typed)
            if answer is not None:
                return answer

    def _understand(self, check: Check, typed: str) -> Answer | None:
        word, _, rest = typed.partition(" ")
        match word.casefold():
            case "":
                self.tell(f"    type {ACTIONS}")
            case "undo":
                return Undo()
            case "later":
                return Later()
            case "stop":
                return Stop()
            case "why":
                self.tell(f"    {check.why} Limits: {check.limits.origin}.")
            case "skip":
                return self._skip(rest.strip())
            case _:
                return self._reading(check, typed)
        return None

    def _skip(self, reason: str) -> Answer | None:
        if reason:
            return Skip(reason)
        self.tell('    say why, for example "skip cannot reach the pad"')
        return None

    def _reading(self, check: Check, typed: str) -> Answer | None:
        try:
            reading = read_typed(check, typed, meter=self.meter_of(check))
        except ReadingsError as error:
            self.tell(f"    {error.faults[0].message}")
            return None
        return Taken((reading,)) if self._meant(check, reading) else None

    def _meant(self, check: Check, reading: Reading) -> bool:
        question = magnitude_question(check, reading)
        if question is None:
            return True
        self.tell(f"    {question}")
        return self.ask("    keep it as typed? yes or no > ").strip().casefold() in ("y", "yes")
