"""A metered reading: configure, let it settle, read n times, then ask what really applied.

The first reading configures (MEASure resets range and trigger), further ones repeat it. At the end the meter must
say the function and range it used, an empty error queue and that it was not restarted; otherwise none of the series
counts. Overload and "not a number" are states, never values.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from benchcheck.bench.functions import Function
from benchcheck.errors import InstrumentError
from benchcheck.instruments.connection import Connection
from benchcheck.instruments.dialect import METER_FUNCTIONS, fill
from benchcheck.instruments.driver import Driver, answers_reliably, within
from benchcheck.instruments.reply import Indication, IndicationState, read_indication, read_number, read_text
from benchcheck.instruments.settling import SettleRule, agrees, held, trend

__all__ = ["MeterRange", "Multimeter", "Series"]

OVER_RANGE = 1.3  # no meter shows more than this times the full scale it reports
RANGE_MATCH = 0.01
USUAL_SETTLING = SettleRule()
NULL_LIMIT_OHM = 2.0  # leads above this are broken, not long (common practice, no source)
OHMS = (Function.OHMS, Function.LOW_POWER_OHMS)


@dataclass(frozen=True, slots=True)
class MeterRange:
    """What the bench knows of a range; test current in ampere and compliance in volt, None where not stated."""

    function: Function
    full_scale: float
    resolution: float = 0.0
    test_current_ampere: float | None = None
    compliance_volt: float | None = None


@dataclass(frozen=True, slots=True)
class Series:
    """The readings of one check as the meter gave them, and what applied to them.

    `full_scale` is the range the meter reported (SI), None when it cannot; `known_range` the bench's line for it.
    `settled` is False with a `trend` of "climbs", "falls" or "jumps" when the readings did not stand still.
    `lead_null_ohm` is the reading with the leads shorted, to be subtracted by whoever scores; None without one.
    """

    function: Function
    indications: tuple[Indication, ...]
    settled: bool
    trend: str
    full_scale: float | None
    known_range: MeterRange | None
    lead_null_ohm: float | None
    taken: datetime
    duration_s: float

    @property
    def overloaded(self) -> bool:
        """Whether any reading was beyond full scale or compliance."""
        return any(one.state is IndicationState.OVERLOAD for one in self.indications)

    @property
    def values(self) -> tuple[float, ...]:
        """The readings that are numbers, in SI."""
        return tuple(one.value for one in self.indications if one.value is not None)


class Multimeter(Driver):
    """A meter; `ranges` is what the bench knows of it."""

    def __init__(self, connection: Connection, ranges: Sequence[MeterRange] = ()) -> None:
        """Find out whether the meter can say its function; nothing is changed."""
        super().__init__(connection)
        self._dialect = connection.dialect.dmm
        self._ranges = tuple(ranges)
        self._null_ohm: float | None = None
        question = self._dialect.function_query
        self._says_function = bool(question) and answers_reliably(self.link, [question], [self._known_word])
        if not self._says_function:
            self.notes.append("does not say its function; look at its display before trusting a reading")
        self._says_range: dict[Function, bool] = {}
        self._repeats: bool | None = None if self._dialect.again else False

    def functions(self) -> tuple[Function, ...]:
        """Return the functions this meter has."""
        return self._dialect.functions()

    def measure(
        self,
        function: Function,
        full_scale: float | None = None,
        count: int = 1,
        settle: SettleRule | None = USUAL_SETTLING,
    ) -> Series:
        """Return `count` readings after settling; `full_scale` (SI) fixes the range, None lets the meter choose.

        InstrumentError when the meter cannot, did not, or was changed or restarted meanwhile; a meter that was
        restarted before is simply set up again. Without `settle` a single digit lost on the way goes unnoticed.
        """
        if self.restarted:
            self.acknowledge_restart()
        if not self._dialect.command(function):
            raise InstrumentError(f"{self.name}: has no function {function} in its dialect; use another meter")
        self.ready()
        self._learn(function)
        began_s, taken, generation = self.clock.monotonic_s(), self.clock.now(), self.link.state.generation
        window = self._settled(function, full_scale, settle)
        indications = [*window[-1:]] if count == 1 else []
        while len(indications) < count:
            indications.append(self._again(function, full_scale))
        applied = self._applied(function, full_scale)
        if self.link.state.generation != generation:
            raise InstrumentError(f"{self.name}: the connection was lost during the readings; take them again")
        known = self._known_range(function, applied)
        self._plausible(indications, applied)
        seen = [*window, *(indications if count > 1 else ())]
        steady = settle is None or agrees(seen, settle, _step(known))
        null_ohm = self._null_ohm if function in OHMS else None
        spent_s = self.clock.monotonic_s() - began_s
        way = "" if steady else trend(seen)
        return Series(function, tuple(indications), steady, way, applied, known, null_ohm, taken, spent_s)

    def null_leads(self, full_scale: float | None = None, limit_ohm: float = NULL_LIMIT_OHM) -> float:
        """Return the reading with the leads shorted and keep it for later series; InstrumentError when it is none."""
        series = self.measure(Function.OHMS, full_scale, count=3, settle=SettleRule(relative=0.05, absolute=0.02))
        if not series.settled or len(series.values) != 3 or not -limit_ohm <= series.values[-1] <= limit_ohm:
            shown = ", ".join(one.text for one in series.indications)
            raise InstrumentError(
                f"{self.name}: the leads are not shorted (shows {shown}; up to {limit_ohm:g} ohm is a lead); "
                "hold the tips together and try again"
            )
        self._null_ohm = sum(series.values) / 3.0
        return self._null_ohm

    # ---- inside

    def _settled(self, function: Function, full_scale: float | None, rule: SettleRule | None) -> list[Indication]:
        """Return the readings up to the one where the last few agree, the last few when they never do."""
        first = [self._first(function, full_scale)]
        if rule is None:
            return first
        step = _step(self._known_range(function, full_scale))
        began_s = self.clock.monotonic_s()
        seen = [(began_s, first[0])]
        while not _stands(seen, rule, step):
            if self.clock.monotonic_s() - began_s > rule.timeout_s and len(seen) >= rule.window:
                break
            again = self._again(function, full_scale)
            seen.append((self.clock.monotonic_s(), again))
        return _last(seen, rule)

    def _first(self, function: Function, full_scale: float | None) -> Indication:
        """Configure and take one reading."""
        command = self._dialect.command(function)
        if full_scale is not None and not self._dialect.range_argument:
            raise InstrumentError(f"{self.name}: its range cannot be set from here; leave it to the meter")
        argument = fill(self._dialect.range_argument, range=f"{full_scale:g}") if full_scale is not None else ""
        if len(command) == 1:
            return self._reading(function, command[0] + argument)
        self.check(self.ask(command[0] + argument, *self.check_questions()))
        return self._reading(function, command[1])

    def _again(self, function: Function, full_scale: float | None) -> Indication:
        """Take a further reading with what is configured."""
        command = self._dialect.command(function)
        if len(command) > 1:
            return self._reading(function, command[1])
        return self._reading(function, self._dialect.again) if self._repeats else self._first(function, full_scale)

    def _reading(self, function: Function, question: str) -> Indication:
        (answer,) = self.ask(question, timeout_s=self.link.manners.reading_timeout_ms / 1e3)
        return self.read(question, answer, lambda text: read_indication(text, self._dialect, function))

    def _learn(self, function: Function) -> None:
        """Find out once whether the meter says its range and repeats a reading without being set up anew."""
        if function not in self._says_range:
            question = self._range_query(function)
            self._says_range[function] = bool(question) and answers_reliably(self.link, [question], [read_number])
        if self._repeats is None:
            shape = functools.partial(read_indication, meter=self._dialect, function=function)
            self._repeats = answers_reliably(self.link, [self._dialect.again], [shape])
            if not self._repeats:
                self.notes.append(f"does not answer {self._dialect.again}; every reading sets it up anew")

    def _range_query(self, function: Function) -> str:
        return self._dialect.range_queries.get(_key(function), "")

    def _applied(self, function: Function, wanted: float | None) -> float | None:
        """Return the range the meter says it used; InstrumentError when anything else is not as it should be."""
        questions = [self._dialect.function_query] if self._says_function else []
        questions += [self._range_query(function)] if self._says_range[function] else []
        answers = list(self.ask(*questions, *self.check_questions())) if questions or self.check_questions() else []
        self.check(answers[len(questions) :])
        self.link.barrier()
        if self._says_function:
            self._same_function(function, answers.pop(0))
        if not self._says_range[function]:
            return wanted
        full_scale = self.read(questions[-1], answers[0], read_number)
        if wanted is not None and full_scale < wanted * (1.0 - RANGE_MATCH):
            raise InstrumentError(f"{self.name}: was to use the range {wanted:g} and used {full_scale:g}")
        return full_scale

    def _known_word(self, answer: str) -> str:
        """Return the word for a function, whichever it is; ValueError for any other answer."""
        word = read_text(answer).upper()
        if not any(word in words for words in self._dialect.function_words.values()):
            raise ValueError(f"{answer!r} is no function")
        return word

    def _same_function(self, function: Function, answer: str) -> None:
        word = self.read(self._dialect.function_query, answer, read_text).upper()
        words = self._dialect.function_words.get(_key(function), ())
        if word not in words:
            raise InstrumentError(
                f"{self.name}: says that it measures {word}, not {function}; leave its keys alone while it is read"
            )

    def _known_range(self, function: Function, full_scale: float | None) -> MeterRange | None:
        if full_scale is None:
            return None
        for known in self._ranges:
            if known.function is function and within(known.full_scale, full_scale, 0.0, RANGE_MATCH):
                return known
        return None

    def _plausible(self, indications: Sequence[Indication], full_scale: float | None) -> None:
        for one in indications:
            if full_scale and one.value is not None and abs(one.value) > OVER_RANGE * full_scale:
                raise InstrumentError(
                    f"{self.name}: shows {one.value:g} on its range {full_scale:g}, which cannot be"
                )


def _key(function: Function) -> str:
    return next(name for name, known in METER_FUNCTIONS.items() if known is function)


def _step(known: MeterRange | None) -> float:
    return known.resolution if known is not None else 0.0


def _last(seen: Sequence[tuple[float, Indication]], rule: SettleRule) -> list[Indication]:
    """Return the readings that have to agree, as many as there are while they are too few."""
    count = held([at_s for at_s, _ in seen], rule) or rule.window
    return [one for _, one in seen[-count:]]


def _stands(seen: Sequence[tuple[float, Indication]], rule: SettleRule, step: float) -> bool:
    return held([at_s for at_s, _ in seen], rule) > 0 and agrees(_last(seen, rule), rule, step)
