"""An electronic load in constant current: mode and level first, input on last, input off before anything else."""

from __future__ import annotations

from dataclasses import dataclass

from benchcheck.errors import BenchError, Fault, InstrumentError
from benchcheck.instruments.connection import Connection
from benchcheck.instruments.dialect import fill
from benchcheck.instruments.driver import Driver, answers_reliably, within
from benchcheck.instruments.power_supply import RELATIVE, STEADY, STEADY_AMPERE, STEADY_VOLT, Ceiling
from benchcheck.instruments.reply import read_bool, read_number, read_text
from benchcheck.instruments.settling import SettleRule, held, spread

__all__ = ["ElectronicLoad", "LoadPoint"]


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """What the load measures at its input, at a monotonic time in seconds."""

    at_s: float
    voltage_volt: float
    current_ampere: float


class ElectronicLoad(Driver):
    """One channel of a load; its ceiling's current is never exceeded."""

    def __init__(self, connection: Connection, ceiling: Ceiling, channel: int = 1) -> None:
        """Find out what the load can do, without changing anything; BenchError for a channel it has not."""
        super().__init__(connection)
        self.ceiling, self.channel = ceiling, channel
        self._dialect = connection.dialect.load
        if not 1 <= channel <= self._dialect.channels:
            known = self._dialect.channels
            raise BenchError(
                Fault(self.name, "channel", f"{channel} is none of the load's {known}; give 1 to {known}")
            )
        self._says_mode = bool(self._dialect.mode_query) and answers_reliably(
            self.link, [self._dialect.mode_query], [read_text]
        )

    def set_constant_current(self) -> None:
        """Choose constant current with the input off, since a change of mode opens and closes the input."""
        self.require_known()
        self.off()
        self._command("mode_cc")
        if self._says_mode:
            (answer,) = self._questions(self._dialect.mode_query)
            word = self.read(self._dialect.mode_query, answer, read_text).upper()
            if word not in self._dialect.mode_words:
                raise InstrumentError(f"{self.name}: was set to constant current and says {word}")

    def set_current(self, current_ampere: float) -> None:
        """Set and verify the level in ampere; BenchError above the ceiling, InstrumentError when it is not taken."""
        self.require_known()
        most = self.ceiling.current_ampere
        if not 0.0 <= current_ampere <= most:
            message = f"{current_ampere:g} A is not within 0 to {most:g} A, the ceiling of this bench"
            raise BenchError(Fault(self.name, "current", message))
        command = fill(self._filled("set_i"), v=self._dialect.number % current_ampere)
        answers = self.ask(command, self._filled("get_i"), *self.check_questions())
        self.check(answers[1:])
        self.link.barrier()
        back = self.read(self._filled("get_i"), answers[0], lambda text: read_number(text, "A"))
        if not within(back, current_ampere, self._dialect.step_ampere / 2.0, RELATIVE):
            raise InstrumentError(f"{self.name}: was set to {current_ampere:g} A and reads back {back:g} A")

    def settings(self) -> float:
        """Return the level in ampere that the load is set to."""
        (answer,) = self._questions(self._filled("get_i"))
        return self.read(self._filled("get_i"), answer, lambda text: read_number(text, "A"))

    def on(self) -> None:
        """Switch the input on and see it on."""
        self.require_known()
        self._switch("on", True)

    def off(self) -> None:
        """Switch the input off and see it off; InstrumentError when it is not seen off."""
        self.require_known()
        self._switch("off", False)

    def off_blind(self) -> bool:
        """Send the command to switch off, whatever state the link is in; return whether it left this machine."""
        return self.connection.known and self.link.blurt(self._filled("off"))

    def is_on(self) -> bool:
        """Return whether the load says that its input is on."""
        (answer,) = self._questions(self._filled("inp"))
        return self._decoded(answer)

    def steady(self, rule: SettleRule = STEADY) -> LoadPoint:
        """Return what the input measures once it stands still, for the record; InstrumentError when it does not."""
        deadline_s = self.clock.monotonic_s() + rule.timeout_s
        seen = [self.measure()]
        while self.clock.monotonic_s() < deadline_s:
            seen.append(self.measure())
            count = held([one.at_s for one in seen], rule)
            last = seen[-count:] if count else []
            volts, amperes = [one.voltage_volt for one in last], [one.current_ampere for one in last]
            still = bool(last) and spread(volts, rule.relative, STEADY_VOLT)
            if still and spread(amperes, rule.relative, STEADY_AMPERE):
                return seen[-1]
        raise InstrumentError(f"{self.name}: its read-back does not stand still within {rule.timeout_s:g} s")

    def measure(self) -> LoadPoint:
        """Return one measurement of voltage and current, for watching; InstrumentError also after a restart."""
        status = self.link.manners.event_status
        questions = [self._filled("meas_v"), self._filled("meas_i")]
        answers = self.ask(*questions, *([status] if status else []))
        at_s = self.clock.monotonic_s()
        if status:
            self.check((*(["0"] if self.link.manners.error_query else []), answers[2]))
        self.link.barrier()
        volt = self._measured(questions[0], answers[0], "V")
        return LoadPoint(at_s, volt, self._measured(questions[1], answers[1], "A"))

    def _measured(self, question: str, answer: str, unit: str) -> float:
        value = self.read(question, answer, lambda text: read_number(text, unit))
        if abs(value) >= 9.0e37:
            raise InstrumentError(f"{self.name}: shows an overload for {question}")
        return value

    def _switch(self, key: str, wanted: bool) -> None:
        question = self._filled("inp")
        answers = self.ask(self._filled(key), *([question] if question else []), *self.check_questions())
        seen = self._decoded(answers[0]) if question else wanted
        self.check(answers[1 if question else 0 :])
        self.link.barrier()
        if seen is not wanted:
            raise InstrumentError(f"{self.name}: was switched {key} and says that it is {'on' if seen else 'off'}")

    def _decoded(self, answer: str) -> bool:
        return self.read("input", answer, lambda text: read_bool(text, self._dialect.true_words))

    def _filled(self, key: str) -> str:
        return fill(str(getattr(self._dialect, key)), ch=self.channel)

    def _command(self, key: str) -> None:
        command = self._filled(key)
        if not command:
            raise InstrumentError(f"{self.name}: its dialect has no command for {key}; this load cannot do it")
        self.check(self.ask(command, *self.check_questions()))

    def _questions(self, *questions: str) -> tuple[str, ...]:
        return self.ask_twice(*questions)
