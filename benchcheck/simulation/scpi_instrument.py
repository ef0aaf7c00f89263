"""What every simulated SCPI instrument has: common commands, the error queue, status registers.

Follows IEEE 488.2 and SCPI-1999: an unknown header puts -113 in the queue, answers nothing and ends the message; a
refused value puts -222 in the queue and goes on; on overflow the newest entry becomes -350.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

from benchcheck.simulation.scpi_tree import CommandTree, ScpiFault, units_of

__all__ = ["Manner", "ScpiInstrument", "number", "numeric"]

QUEUE_DEPTH = 20
EVENT_BITS = {1: 32, 2: 16, 3: 8, 4: 4}  # class of an error -> command, execution, device, query error


@dataclass(slots=True)
class Manner:
    """How this instrument differs from the ideal one; every field may be changed while it is served."""

    settings_ignored: bool = False
    settings_scaled: float = 1.0
    off_ignored: bool = False
    on_ignored: bool = False
    readback_scaled: float = 1.0
    error_stuck: int = 0
    answer_text: dict[str, str] = field(default_factory=dict)
    extra_delay_s: dict[str, float] = field(default_factory=dict)
    clear_restores: bool = False


class ScpiInstrument:
    """A message in, an answer (or None) out; `delay_s` of the last message says how long it took."""

    def __init__(self, identity: str) -> None:
        """Start as after switching on: power-on bit set, queue empty."""
        self.identity = identity
        self.manner = Manner()
        self.tree = CommandTree()
        self.errors: deque[tuple[int, str]] = deque()
        self.event_status = 128
        self.event_enable = 0
        self.service_enable = 0
        self.delay_s = 0.0
        self.now_s = 0.0
        self.log: list[str] = []
        self._add_common()

    def handle(self, message: str, now_s: float) -> str | None:
        """Carry out a message at a monotonic time in seconds and return its answer."""
        self.now_s = now_s
        self.delay_s = 0.0
        self.log.append(message)
        answers: list[str] = []
        try:
            for unit in units_of(message):
                try:
                    answer = self._carry_out(unit.header, self.tree.find(unit).handler(*unit.parameters))
                except ScpiFault as fault:
                    self.push_error(fault.code, fault.text)
                    if -200 < fault.code < -99:
                        break
                    continue
                if answer is not None:
                    answers.append(answer)
        except ScpiFault as fault:
            self.push_error(fault.code, fault.text)
        return ";".join(answers) if answers else None

    def _carry_out(self, header: str, answer: str | None) -> str | None:
        self.delay_s += self.manner.extra_delay_s.get(header, 0.0)
        return self.manner.answer_text.get(header, answer) if answer is not None else None

    def push_error(self, code: int, text: str) -> None:
        """Put an error in the queue and its bit in the event status register."""
        self.event_status |= EVENT_BITS.get(-code // 100, 8)
        if len(self.errors) >= QUEUE_DEPTH:
            self.errors[-1] = (-350, "Queue overflow")
        else:
            self.errors.append((code, text))

    def power_cycle(self) -> None:
        """Lose every setting, as after a mains interruption."""
        self.errors.clear()
        self.event_status = 128
        self.event_enable = 0
        self.reset()

    def watch(self, now_s: float) -> None:
        """Do what the hardware does between messages; instruments with protections give theirs."""

    def reset(self) -> None:
        """Return to the settings of *RST; instruments add theirs."""

    def _reset(self) -> None:
        self.reset()

    def _add_common(self) -> None:
        add = self.tree.add
        add("*IDN?", lambda: self.identity)
        add("*RST", self._reset)
        add("*CLS", self._clear_status)
        add("*ESE", self._set_event_enable, 1)
        add("*ESE?", lambda: str(self.event_enable))
        add("*ESR?", self._take_event_status)
        add("*SRE", self._set_service_enable, 1)
        add("*SRE?", lambda: str(self.service_enable))
        add("*STB?", self._status_byte)
        add("*OPC", lambda: self._set_event_bit(1))
        add("*OPC?", lambda: "1")
        add("*WAI", lambda: None)
        add("*TST?", lambda: "0")
        add("SYSTem:ERRor[:NEXT]?", self._next_error)
        add("SYSTem:ERRor:COUNt?", lambda: str(len(self.errors)))
        add("SYSTem:VERSion?", lambda: "1999.0")
        add("SYSTem:REMote", lambda: None)
        add("SYSTem:LOCal", lambda: None)
        add("SYSTem:BEEPer[:IMMediate]", lambda: None)
        add("STATus:PRESet", lambda: None)
        for register in ("OPERation", "QUEStionable"):
            add(f"STATus:{register}:ENABle", lambda _: None, 1)
            add(f"STATus:{register}:ENABle?", lambda: "0")
            add(f"STATus:{register}[:EVENt]?", lambda name=register: str(self.condition(name)))
            add(f"STATus:{register}:CONDition?", lambda name=register: str(self.condition(name)))

    def condition(self, register: str) -> int:
        """Return a status condition register; instruments give theirs."""
        return 0

    def _clear_status(self) -> None:
        self.errors.clear()
        self.event_status = 0

    def _set_event_bit(self, bit: int) -> None:
        self.event_status |= bit

    def _set_event_enable(self, value: str) -> None:
        self.event_enable = _byte(value)

    def _set_service_enable(self, value: str) -> None:
        self.service_enable = _byte(value)

    def _take_event_status(self) -> str:
        status, self.event_status = self.event_status, 0
        return str(status)

    def _status_byte(self) -> str:
        summary = 32 if self.event_status & self.event_enable else 0
        return str((4 if self.errors else 0) | summary)

    def _next_error(self) -> str:
        if self.manner.error_stuck:
            return f'{self.manner.error_stuck},"Hardware error"'
        code, text = self.errors.popleft() if self.errors else (0, "No error")
        return f'{code:+d},"{text}"' if code else '0,"No error"'


def _byte(text: str) -> int:
    value = numeric(text)
    if not 0 <= value <= 255:
        raise ScpiFault(-222, "Data out of range")
    return int(value)


def number(value: float) -> str:
    """Return a value as NR3 with nine digits.

    >>> number(0.00123456789)
    '+1.23456789E-03'
    """
    return f"{value:+.8E}"


def numeric(text: str, minimum: float = -math.inf, maximum: float = math.inf, default: float = 0.0) -> float:
    """Return a numeric parameter; MIN, MAX and DEF stand for the given values.

    ScpiFault -138 for a suffix, -104 for what is no number, -222 outside the limits.
    """
    words = {"MIN": minimum, "MINIMUM": minimum, "MAX": maximum, "MAXIMUM": maximum, "DEF": default}
    if text.upper() in words:
        return words[text.upper()]
    try:
        value = float(text)
    except ValueError:
        code = -138 if text[:1].isdigit() else -104
        raise ScpiFault(code, "Suffix not allowed" if code == -138 else "Data type error") from None
    if not math.isfinite(value) or not minimum <= value <= maximum:
        raise ScpiFault(-222, "Data out of range")
    return value
