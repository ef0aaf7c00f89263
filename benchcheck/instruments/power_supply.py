"""A bench supply: set and seen in one message, limit before voltage, off before anything else.

Every setting is read back in the message that makes it. What the supply lacks (over-voltage level, mode query) is
found out while its output is off. An unknown family is read, never driven.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from benchcheck.errors import BenchError, Fault, InstrumentError
from benchcheck.instruments.connection import Connection
from benchcheck.instruments.dialect import fill
from benchcheck.instruments.driver import Driver, answers_reliably, within
from benchcheck.instruments.reply import decode_bit, read_bool, read_integer, read_number, read_text
from benchcheck.instruments.settling import SettleRule, held, spread

__all__ = ["Ceiling", "Mode", "PowerSupply", "SupplyPoint", "SupplySettings"]

STEADY = SettleRule(window=3, relative=0.01, timeout_s=5.0)
STEADY_VOLT, STEADY_AMPERE = 0.02, 0.002
RELATIVE = 0.002  # setting against its read-back, beside half a step of the supply's converter
SAFE_VOLT = 0.5  # settings are lowered to this before a protection is cleared


class Mode(StrEnum):
    """What holds the output, as the supply says it."""

    VOLTAGE = "constant voltage"
    CURRENT = "constant current"
    OFF = "off"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Ceiling:
    """What the bench allows at most; nothing above it is ever sent."""

    voltage_volt: float
    current_ampere: float


@dataclass(frozen=True, slots=True)
class SupplySettings:
    """Set voltage, current limit and over-voltage level (None where the supply has none to read)."""

    voltage_volt: float
    limit_ampere: float
    over_voltage_volt: float | None


@dataclass(frozen=True, slots=True)
class SupplyPoint:
    """What the supply measures at its output, at a monotonic time in seconds."""

    at_s: float
    voltage_volt: float
    current_ampere: float
    mode: Mode


class PowerSupply(Driver):
    """One channel of a supply; `channel` counts from 1."""

    def __init__(self, connection: Connection, ceiling: Ceiling, channel: int = 1) -> None:
        """Find out what the supply can do, without changing anything; BenchError for a channel it has not."""
        super().__init__(connection)
        self.ceiling, self.channel = ceiling, channel
        self._dialect = connection.dialect.psu
        self._commands: dict[str, str] = {}
        self._chosen = tuple(piece for piece in map(self._filled, ("select", "select_query")) if piece)
        if not 1 <= channel <= self._dialect.channels:
            known = self._dialect.channels
            raise BenchError(
                Fault(self.name, "channel", f"{channel} is none of the supply's {known}; give 1 to {known}")
            )
        if self._dialect.outputs_together:
            self.notes.append("switches all its outputs together; keep the other terminals free")
        self._lacking = self._found_lacking()
        if not self.can("ovp_set"):
            self.notes.append(
                "has no over-voltage level that can be set; only its voltage setting protects the board"
            )
        self._watched = False
        self._made: set[str] = set()

    def can(self, what: str) -> bool:
        """Return whether the supply has a command of its dialect, such as "ovp_set" or "mode"."""
        return bool(getattr(self._dialect, what)) and what not in self._lacking

    def acknowledge_restart(self) -> None:
        """Go on after a restart; what was set before is gone."""
        if self.restarted:
            self._made.clear()
        super().acknowledge_restart()

    def _found_lacking(self) -> frozenset[str]:
        """Ask everything that may be missing; one message settles it where nothing is."""
        optional = [key for key in ("ovp_get", "mode", "ovp_tripped", "ocp_tripped") if getattr(self._dialect, key)]
        if not optional or (self.link.joins and self._answers(*optional)):
            return frozenset()
        lacking = [key for key in optional if not self._answers(key)]
        self.notes += [f"does not answer {self._filled(key)}" for key in lacking]
        return frozenset(lacking)

    def _answers(self, *keys: str) -> bool:
        shapes: dict[str, Callable[[str], object]] = {
            "ovp_get": functools.partial(read_number, quantity_unit="V"),
            "mode": self._mode_shape,
            "ovp_tripped": functools.partial(read_bool, true_words=self._dialect.true_words),
            "ocp_tripped": functools.partial(read_bool, true_words=self._dialect.true_words),
        }
        address = self._addressed()
        chosen = [read_integer] * sum("?" in piece for piece in address)
        questions = (*address, *map(self._filled, keys))
        return answers_reliably(self.link, questions, [*chosen, *(shapes[key] for key in keys)])

    def _mode_shape(self, answer: str) -> object:
        kind = self._dialect.mode_kind
        return read_text(answer) if kind == "text" else decode_bit(answer, kind, 1)

    # ---- settings

    def settings(self) -> SupplySettings:
        """Return what the supply is set to."""
        keys = ["get_v", "get_i", *(["ovp_get"] if self.can("ovp_get") else [])]
        values = [self._value(key, answer) for key, answer in zip(keys, self._questions(*keys), strict=True)]
        return SupplySettings(values[0], values[1], values[2] if len(values) > 2 else None)

    def set_current_limit(self, limit_ampere: float) -> None:
        """Set and verify the current limit; BenchError above the ceiling, InstrumentError when it is not taken."""
        self._below("current_limit", limit_ampere, self.ceiling.current_ampere, "A")
        self._set("set_i", "get_i", limit_ampere, self._dialect.step_ampere, "A")

    def set_voltage(self, voltage_volt: float) -> None:
        """Set and verify the voltage; BenchError above the ceiling, InstrumentError when it is not taken."""
        self._below("voltage", voltage_volt, self.ceiling.voltage_volt, "V")
        self._set("set_v", "get_v", voltage_volt, self._dialect.step_volt, "V")

    def set_over_voltage(self, level_volt: float) -> None:
        """Set and verify the over-voltage level; InstrumentError when the supply has none."""
        if not self.can("ovp_set"):
            raise InstrumentError(f"{self.name}: has no over-voltage level that can be set from here")
        self._set("ovp_set", "ovp_get" if self.can("ovp_get") else "", level_volt, self._dialect.step_volt, "V")
        if self._dialect.ovp_on:
            self._command(self._filled("ovp_on"))

    def _set(self, setter: str, getter: str, value: float, step: float, unit: str) -> None:
        self.require_known()
        self._require(setter)
        self._made.discard(setter)
        command = fill(self._filled(setter), v=self._dialect.number % value)
        questions = [self._filled(getter)] if getter and getattr(self._dialect, getter) else []
        checks = self.check_questions()
        answers = self.ask(*self._addressed(command, *questions, *checks))
        answers = self._own(answers)
        self.check(answers[len(questions) :])
        self.link.barrier()
        if questions:
            back = self.read(questions[0], answers[0], lambda text: read_number(text, unit))
            if not within(back, value, step / 2.0, RELATIVE):
                raise InstrumentError(
                    f"{self.name}: was set to {value:g} {unit} and reads back {back:g} {unit}; "
                    "set it by hand and see whether it is locked or limited"
                )
        self._made.add(setter)

    def _below(self, key: str, value: float, most: float, unit: str) -> None:
        if not 0.0 <= value <= most:
            raise BenchError(
                Fault(
                    self.name, key, f"{value:g} {unit} is not within 0 to {most:g} {unit}, the ceiling of this bench"
                )
            )

    # ---- output

    def on(self) -> None:
        """Switch the output on and see it on; arms the supply's own watchdog where it has one.

        InstrumentError before anything is sent when limit and voltage were not both set from here.
        """
        self.require_known()
        if not {"set_i", "set_v"} <= self._made:
            raise InstrumentError(f"{self.name}: current limit and voltage were not set from here; set them first")
        if self._dialect.watchdog:
            self._command(self._dialect.watchdog)
            self._watched = True
        self._switch("on", True)

    def off(self) -> None:
        """Switch the output off and see it off; InstrumentError when it is not seen off."""
        self.require_known()
        self._switch("off", False)
        if self._watched and self._dialect.watchdog_off:
            self._command(self._dialect.watchdog_off)  # it would trip as soon as nobody polls any more
            self._watched = False

    def off_blind(self) -> bool:
        """Send the command to switch off, whatever state the link is in; return whether it left this machine."""
        command = self._filled("off")
        if not command or not self.connection.known:
            return False
        select = self._filled("select")
        message = (select, command) if select else (command,)
        return self.link.blurt(*message)

    def is_on(self) -> bool:
        """Return whether the supply says that its output is on; InstrumentError when it cannot say."""
        self._require("out")
        (answer,) = self._questions("out")
        return self._decoded_output(answer)

    def _switch(self, key: str, wanted: bool) -> None:
        self._require(key)
        questions = [self._filled("out")] if self._dialect.out else []
        answers = self._own(self.ask(*self._addressed(self._filled(key), *questions, *self.check_questions())))
        seen = self._decoded_output(answers[0]) if questions else None
        self.check(answers[len(questions) :])
        self.link.barrier()
        if seen is not None and seen is not wanted:
            raise InstrumentError(f"{self.name}: was switched {key} and says that it is {'on' if seen else 'off'}")

    def _decoded_output(self, answer: str) -> bool:
        mask = self._dialect.out_mask[min(self.channel, len(self._dialect.out_mask)) - 1]
        kind = self._dialect.out_kind
        return self.read("out", answer, lambda text: decode_bit(text, kind, mask, self._dialect.true_words))

    # ---- what it measures

    def steady(self, rule: SettleRule = STEADY) -> SupplyPoint:
        """Return what the output measures once voltage and current stand still, for the record.

        InstrumentError when they do not within the rule's time.
        """
        deadline_s = self.clock.monotonic_s() + rule.timeout_s
        seen = [self.measure()]
        while self.clock.monotonic_s() < deadline_s:
            seen.append(self.measure())
            count = held([one.at_s for one in seen], rule)
            last = seen[-count:] if count else []
            volts, amperes = [one.voltage_volt for one in last], [one.current_ampere for one in last]
            still = len({one.mode for one in last}) == 1 and spread(volts, rule.relative, STEADY_VOLT)
            if still and spread(amperes, rule.relative, STEADY_AMPERE):
                return seen[-1]
        raise InstrumentError(f"{self.name}: its read-back does not stand still within {rule.timeout_s:g} s")

    def measure(self) -> SupplyPoint:
        """Return one measurement of voltage, current and mode, for watching; `steady` is for the record.

        InstrumentError also when the supply was restarted.
        """
        keys = ["meas_v", "meas_i", *(["mode"] if self.can("mode") else [])]
        status = self.link.manners.event_status
        questions = [self._filled(key) for key in keys] + ([status] if status else [])
        answers = self._own(self.ask(*self._addressed(*questions)))
        at_s = self.clock.monotonic_s()
        if status:
            self.check((*(["0"] if self.link.manners.error_query else []), answers[len(keys)]))
        self.link.barrier()
        mode = self._mode(answers[2]) if len(keys) > 2 else Mode.UNKNOWN
        return SupplyPoint(at_s, self._value("meas_v", answers[0]), self._value("meas_i", answers[1]), mode)

    def _mode(self, answer: str) -> Mode:
        dialect = self._dialect
        if dialect.mode_kind == "text":
            words = {"CC": Mode.CURRENT, "CV": Mode.VOLTAGE, "OFF": Mode.OFF, "UR": Mode.UNKNOWN}
            return words.get(self.read("mode", answer, read_text).upper(), Mode.UNKNOWN)
        if dialect.mode_kind == "bitstring":
            by_voltage = self.read("mode", answer, lambda text: decode_bit(text, "bitstring", self.channel))
            return Mode.VOLTAGE if by_voltage else Mode.CURRENT
        voltage = self._any_bit(answer, dialect.mode_cv)
        current = self._any_bit(answer, dialect.mode_cc)
        if dialect.mode_cv == (0,) or dialect.mode_cc == (0,):  # one bit tells both
            held_by_current = current if dialect.mode_cv == (0,) else not voltage
            return Mode.CURRENT if held_by_current else Mode.VOLTAGE
        if voltage and current:
            return Mode.UNKNOWN
        return Mode.CURRENT if current else Mode.VOLTAGE if voltage else Mode.OFF

    def _any_bit(self, answer: str, masks: tuple[int, ...]) -> bool:
        mask = masks[min(self.channel, len(masks)) - 1]
        return self.read("mode", answer, lambda text: decode_bit(text, self._dialect.mode_kind, mask))

    # ---- protection

    def tripped(self) -> bool:
        """Return whether a protection has tripped, as far as the supply can say."""
        keys = [key for key in ("ovp_tripped", "ocp_tripped") if self.can(key)]
        words = self._dialect.true_words
        answers = self._questions(*keys) if keys else ()
        return any(self.read("protection", answer, lambda text: read_bool(text, words)) for answer in answers)

    def clear_protection(self) -> None:
        """Clear a tripped protection: off and seen off, settings lowered, then cleared, and still off.

        InstrumentError when the output came back on by itself; it is off again then.
        """
        self._require("clear_protection")
        self.off()
        self.set_voltage(min(SAFE_VOLT, self.ceiling.voltage_volt))
        self._command(self._filled("clear_protection"))
        if self._dialect.out and self.is_on():
            self.off()
            raise InstrumentError(f"{self.name}: clearing its protection switched its output on; it is off again")

    # ---- inside

    def _filled(self, key: str) -> str:
        command = self._commands.get(key)
        if command is None:
            command = self._commands[key] = fill(str(getattr(self._dialect, key)), ch=self.channel)
        return command

    def _require(self, key: str) -> None:
        if not getattr(self._dialect, key):
            raise InstrumentError(f"{self.name}: its dialect has no command for {key}; this supply cannot do it")

    def _command(self, command: str) -> None:
        self.check(self._own(self.ask(*self._addressed(command, *self.check_questions()))))

    def _questions(self, *keys: str) -> tuple[str, ...]:
        return self._own(self.ask_twice(*map(self._filled, keys), first=self._addressed()))

    def _addressed(self, *pieces: str) -> tuple[str, ...]:
        """Return pieces behind the choice of the channel, which is asked back: another hand may have moved it."""
        return (*self._chosen, *pieces)

    def _own(self, answers: tuple[str, ...]) -> tuple[str, ...]:
        if not self._dialect.select_query:
            return answers
        chosen = self.read(self._dialect.select_query, answers[0], read_integer)
        if chosen != self.channel:
            raise InstrumentError(f"{self.name}: channel {chosen} is selected where {self.channel} should be")
        return answers[1:]

    def _value(self, key: str, answer: str) -> float:
        unit = "A" if key.endswith("_i") else "V"
        value = self.read(self._filled(key), answer, lambda text: read_number(text, unit))
        if abs(value) >= 9.0e37:
            raise InstrumentError(f"{self.name}: shows an overload for {self._filled(key)}")
        return value
