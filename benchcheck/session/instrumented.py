"""The source that reads instruments: a hand places the probes, linked meters read, a supply gives power.

What no link can answer goes to whoever is there: looked at by the hand, or asked for at the terminal. Trouble with
an instrument is an error of that check and never a fail. Power is on only from the first powered check to the last.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from benchcheck.bench.functions import Function
from benchcheck.checklist.order import Checklist
from benchcheck.errors import InputError, InstrumentError, OutputStateUnknown, UsageError
from benchcheck.instruments.power_watch import Rule
from benchcheck.instruments.power_watch import Stop as PowerStop
from benchcheck.kinds.check import Check, Phase
from benchcheck.kinds.session_checks import session_checks
from benchcheck.readings.reading import Reading
from benchcheck.readings.typed import read_typed
from benchcheck.session.answers import Again, Answer, Hindered, Note, Source, Step, Stop, Taken, Trouble
from benchcheck.session.fed_readings import at_the_limit, idle_readings, inrush_reading
from benchcheck.session.hand import Hand
from benchcheck.session.meters import Meters
from benchcheck.session.power import Power, PowerEnded
from benchcheck.session.power_by_hand import PowerByHand
from benchcheck.session.power_rules import (
    Wanted,
    refuse_above_ceiling,
    shorts_first,
    stop_for,
    supply_of_bench,
    wanted_for,
)
from benchcheck.session.privacy import concealed
from benchcheck.session.series import SeriesReading
from benchcheck.session.soak import Soak

__all__ = ["InstrumentedSource"]


def _nothing(step: Step) -> Answer | None:
    return None


def _unheard(line: str) -> None:
    """Nobody is there to be told."""


@dataclass(slots=True)
class InstrumentedSource:
    """Answers each check from instruments.

    `typed` is asked where no linked meter serves; without it the hand reads the display. `announce` shows a check
    before the probes are placed and may return another answer instead (skip, later, undo, stop). `told` shows a
    line, `stop_asked` says that power is to go off at once. `power_stopped` is asked what comes next where a key
    ended power or something was not confirmed, and in words why; without it a key ends the visit, to be resumed.
    `power_ruled` is asked the same where a stop rule or an instrument ended power; without it power stays off.
    """

    meters: Meters
    hand: Hand
    typed: Source | None = None
    announce: Callable[[Step], Answer | None] = _nothing
    told: Callable[[str], None] = _unheard
    stop_asked: Callable[[], bool] = lambda: False
    power_stopped: Callable[[Step, str], Answer] | None = None
    power_ruled: Callable[[Step, str], Answer] | None = None
    dialects: Mapping[str, Any] = field(default_factory=dict)
    power: Power | None = None
    _identities: dict[str, str] = field(default_factory=dict)
    _stays_off: bool = False  # somebody has left power off for this visit
    _by_hand: PowerByHand = field(init=False)

    def __post_init__(self) -> None:
        """Nothing was confirmed yet."""
        self._by_hand = PowerByHand(self._confirmed)

    def _confirmed(self, question: str) -> bool:
        """Ask when it comes to it: the hand of a bench without power may know no questions."""
        return self.hand.confirm(question)

    def prepare(self, checklist: Checklist) -> None:
        """Open the linked meters and look at supply and load; nothing is switched.

        SpecError where the spec asks for more than the bench's ceiling, BenchError or InstrumentError when an
        instrument cannot be had.
        """
        board, bench = checklist.board, self.meters.bench
        refuse_above_ceiling(board, bench, checklist.checks)
        self.meters.open(self._waiting)
        self._identities = self.meters.identities()
        powered = any(check.powered for check in checklist.checks)
        if powered and not board.power_refusals and supply_of_bench(bench) is not None:
            self.power = Power(
                board, bench, self.hand, self.meters.clock, _unkept, self.told, self.stop_asked, self.dialects
            )
            self._identities |= self.power.look(self.meters.catalogue)

    def identities(self) -> Mapping[str, str]:
        """Return what each linked instrument says it is."""
        return self._identities

    def own_checks(self) -> tuple[Check, ...]:
        """Return the meter's own checks that a linked meter can take."""
        return tuple(check for check in session_checks() if check.subject == "meter" and self._linked(check))

    def _linked(self, check: Check) -> bool:
        return self.meters.serving(check.function) is not None

    def begin(self, note: Note) -> None:
        """Take what keeps events."""
        self._by_hand.note = note
        if self.power is not None:
            self.power.note = lambda check, text: note(check, self._concealed(text))

    def _concealed(self, text: str) -> str:
        return concealed(text, self.meters.bench)

    def tend(self) -> None:
        """Renew the lease of power and watch it; what ends it is told when the next powered check comes."""
        with contextlib.suppress(PowerEnded, OutputStateUnknown):  # `Power.ended` and `Power.alarm` say why
            self._waiting()

    def _waiting(self) -> None:
        if self.power is not None:
            self.power.tend()

    def why_off(self) -> str:
        """Return why power ended by itself, "" where it did not."""
        return self.power.ended if self.power is not None else ""

    def switch_off_by_key(self) -> None:
        """Switch off because somebody pressed a key that means nothing else."""
        if self.power is not None and self.power.is_on:
            self.power.stop(PowerStop(Rule.KEY, "a key was pressed"))

    def let_go(self) -> str:
        """Let supply and load go before the process stands still; return why it must not, "" where it may.

        Power is off by then; whoever wants it later takes them again.
        """
        return self.power.close("the program stands still") if self.power is not None else ""

    def rest(self, why: str = "") -> None:
        """Have power off while nothing is measured; what ends it otherwise on the way is told when it is needed.

        Without a reason why nothing is left to ask: cells may be put back then, so that all is confirmed anew should
        an answer be taken back.
        """
        with contextlib.suppress(PowerEnded):
            if self.power is not None:
                self.power.off(why or "nothing is left to ask")
        if self.power is not None and not why:
            self.power.forget()

    def soak(self, minutes: float) -> str:
        """Run the unit for some minutes, attended; return how that went. OutputStateUnknown as power has it."""
        if self.power is None:
            return "no soak: no supply of the bench can be driven from here"
        rails = [
            check for check in self.power.board.checks if check.measurand == "voltage" and not check.input_voltage
        ]
        rails = [check for check in rails if not check.load_a]
        one = rails if self.typed is None else rails[:1]
        line = Soak(self.power, self.hand, self.meters, one, minutes, self.told).run()
        self.power.note("", line)
        return line

    def end(self) -> str:
        """Switch off and let everything go; return why the output state is unknown, "" when it is not."""
        try:
            return self.power.close() if self.power is not None else ""
        finally:
            self.meters.close()

    def answer(self, step: Step) -> Answer:
        """Return the readings of a check, or why there are none.

        OutputStateUnknown once nobody knows whether power is off, also where that was found while somebody was asked.
        """
        self._refuse_unknown()
        answer = self._whatever(step)
        self._refuse_unknown()
        return self._after_rule(step, answer)

    def _refuse_unknown(self) -> None:
        if self.power is not None and self.power.alarm:
            raise OutputStateUnknown(self.power.alarm)

    def _after_rule(self, step: Step, answer: Answer) -> Answer:
        """Return what somebody wants where something else than a key has power off and so the check has no reading.

        Power comes up again only after words on what was found and done; charge and shorts are then measured first.
        """
        power = self.power
        ruled = power is not None and power.ended and not power.by_key and isinstance(answer, Hindered | Trouble)
        if not ruled or power is None or self.power_ruled is None or self._stays_off:
            return answer
        wish = self.power_ruled(step, self._concealed(power.ended))
        self._stays_off = isinstance(wish, Hindered)
        if not isinstance(wish, Again):
            return answer if self._stays_off else wish
        power.again(wish.found)
        return replace(wish, afresh=shorts_first(power.board))

    def _whatever(self, step: Step) -> Answer:
        try:
            if step.check.powered and self.power is not None:
                return self._stopped_by_key(step, self.power) or self._powered(step, self.power)
            if self.power is not None:
                self.power.off("an unpowered check is next")
            if step.again:
                self.hand.discharge(step.check)
            return self._by_hand.refused(step) or self._answered(step)
        except PowerEnded as ended:
            stopped = self._stopped_by_key(step, self.power) if self.power is not None else None
            return stopped or self._ended(step.check, ended)
        except OutputStateUnknown:
            raise
        except InstrumentError as reason:
            return Trouble(self._concealed(str(reason)))

    # ---- unpowered

    def _answered(self, step: Step, before_reading: Callable[[], None] = lambda: None) -> Answer:
        """Have the probes placed and read; `before_reading` draws what load there is to be.

        A person is asked with the load drawn already, since the reading may come of the asking; a hand that also
        clips the load's leads places first.
        """
        check = step.check
        meter = self.meters.serving(check.function)
        if self.typed is not None:
            before_reading()
            instead = self.announce(step) if meter is not None else self.typed.answer(step)
        else:
            instead = self.hand.place(check)
            before_reading()
        if instead is not None:
            return instead
        try:
            return Taken(self.meters.read(check, meter) if meter is not None else (self._by_eye(check),))
        finally:
            self.hand.lift()

    def _by_eye(self, check: Check) -> Reading:
        """Return what the hand sees: a part, or the display of a meter without a link."""
        if check.function is Function.VISUAL:
            return read_typed(check, self.hand.look(check))
        meter = self.meters.bench.meter_for(check.function) if check.function.metered else None
        name = meter.name if meter is not None else ""
        return read_typed(check, self.hand.read(check, name), meter=name)

    # ---- powered

    def _powered(self, step: Step, power: Power) -> Answer:
        """Return the readings of a powered check, and have power off where they call for it."""
        if power.ended:
            return _off_already(self._concealed(power.ended))
        wanted = wanted_for(step.check, power.board)
        if wanted is None:
            return Hindered("the spec does not say which supply feeds it")
        try:
            answer = self._fed(step, power, wanted)
        except UsageError as reason:
            return self._unconfirmed(step, str(reason), power)
        except InputError as reason:
            return Hindered(str(reason))
        stopped = self._stopped_by_key(step, power)
        if stopped is not None:
            return stopped
        return _looked_at(step.check, answer, power) if isinstance(answer, Taken) else answer

    def _stopped_by_key(self, step: Step, power: Power) -> Answer | None:
        """Return what somebody wants who has switched off with a key, None where nobody has."""
        if not power.by_key or power.alarm:
            return None
        return self._next_wish(step, power.ended, power)

    def _unconfirmed(self, step: Step, reason: str, power: Power) -> Answer:
        """Return what comes after something was not confirmed: nothing is measured under power meanwhile."""
        if self.power_stopped is None:
            return Hindered(reason)
        power.off("something was not confirmed")
        return self._next_wish(step, reason, power)

    def _next_wish(self, step: Step, reason: str, power: Power) -> Answer:
        if self.power_stopped is None:
            return Stop()  # whoever wants it off may go on with --resume
        answer = self.power_stopped(step, reason)
        if isinstance(answer, Again):
            power.again()
        return answer

    def _fed(self, step: Step, power: Power, wanted: Wanted) -> Answer:
        check = step.check
        if check.phase is Phase.OFF or check.measurand == "off_leakage":
            return self._in_series(step, power, wanted)
        if check.measurand != "inrush_time" or wanted.supply.name not in power.came_up:
            power.bring(wanted)
        if check.measurand == "inrush_time":
            return Taken((inrush_reading(check, power.came_up[wanted.supply.name]),))
        if check.measurand == "idle_current":
            readings = idle_readings(check, power)
            return Taken(readings) if readings else self._in_series(step, power, wanted)
        return self._answered(step, lambda: power.draw(wanted))

    def _in_series(self, step: Step, power: Power, wanted: Wanted) -> Answer:
        def otherwise() -> Answer:
            return self.typed.answer(step) if self.typed is not None else Taken((self._by_eye(step.check),))

        return SeriesReading(step.check, wanted, power, self.hand, self.meters, otherwise).taken()

    def _ended(self, check: Check, ended: PowerEnded) -> Answer:
        """Return what is known of the check at which power ended: what the supply showed, or nothing."""
        if ended.trouble:
            return Trouble(self._concealed(ended.reason))
        reading = at_the_limit(check, ended, self.meters.bench)
        if reading is not None:
            return Taken((reading,))
        return _off_already(power_ended=self._concealed(ended.reason))


def _off_already(power_ended: str) -> Hindered:
    return Hindered(f"power was switched off: {power_ended}")


def _looked_at(check: Check, answer: Taken, power: Power) -> Answer:
    """Return the answer, or that power went off while it was given; a reading that must not be switches it off."""
    if power.ended:
        return _off_already(concealed(power.ended, power.bench))
    stop = stop_for(check, answer.readings)
    if stop is not None:
        power.stop(stop)
    return answer


def _unkept(check: str, text: str) -> None:
    """Nothing is kept before the record is open."""
