"""A small current read by a meter in series: rewired with the output off, energised through a bridge, put back.

The bridge across the meter carries the inrush and everything the unit draws while it is switched on and off again;
only then is it opened. The red lead's jack is asked for on the way in and on the way out, since the next voltage
measured through the current jack would be a short. However it ends, the output is off before anything is rewired.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.bench.meter import Meter, MeterRange
from benchcheck.kinds.check import Check, Phase
from benchcheck.quantity import DisplayState
from benchcheck.readings.reading import Reading
from benchcheck.session.answers import Answer, Hindered, Taken
from benchcheck.session.hand import Hand
from benchcheck.session.meters import Meters
from benchcheck.session.off_current import limit_problem, series_range, shows_nothing
from benchcheck.session.power import Power
from benchcheck.session.power_rules import Wanted

__all__ = ["SeriesReading"]


@dataclass(slots=True)
class SeriesReading:
    """One reading in series; `read_otherwise` asks for it where no linked meter reads current."""

    check: Check
    wanted: Wanted
    power: Power
    hand: Hand
    meters: Meters
    read_otherwise: Callable[[], Answer]

    def taken(self) -> Answer:
        """Return the reading, or why there is none; the meter is out of the path again, power is off."""
        off = self.check.phase is Phase.OFF
        problem = limit_problem(self.check, self.power.board, self.wanted.supply) if off else ""
        if problem:
            return Hindered(problem)
        meter = self.meters.bench.meter_for(Function.DC_CURRENT)
        chosen = series_range(self.check, meter, self.wanted.voltage_volt) if meter is not None else None
        if meter is None or chosen is None:
            return Hindered("no meter of the bench has a current range for this that takes 2 % of the supply at most")
        self.power.off("a meter goes in series")
        if not self._asked(self._rewiring(meter)):
            return Hindered("the meter was not put in series")
        instead = self.hand.place(self.check)
        if instead is not None:
            return instead
        try:
            answer = self._energised(meter, chosen)
        except BaseException:
            self._put_back(meter, ask=False)  # whoever interrupts is not held up by a question
            raise
        self._put_back(meter, ask=True)
        return answer

    def _rewiring(self, meter: Meter) -> str:
        red, black = (
            _without_series(probe.point) if probe is not None else "" for probe in (self.check.red, self.check.black)
        )
        return (
            f"Output off: put {meter.name} in series, red to {red}, black to {black}; the red lead in the jack for "
            "small currents, and a wire bridge across the meter. Is that so?"
        )

    def _energised(self, meter: Meter, chosen: MeterRange) -> Answer:
        self.power.bring(self.wanted)
        states = ", ".join(f"{name} {state}" for name, state in self.check.switches)
        left = f" and left with {states}" if states else ""
        if not self._asked(
            f"Through the bridge: was the unit switched on and off again{left}? Now open the bridge: open?"
        ):
            return Hindered("the bridge was not opened")
        if self.meters.serving(Function.DC_CURRENT) is None:
            return self.read_otherwise()
        readings = self.meters.read(self.check, meter, chosen.full_scale)
        return self._believed(readings, chosen)

    def _believed(self, readings: tuple[Reading, ...], chosen: MeterRange) -> Answer:
        """Return the readings; a display of nothing is believed only with jack and fuse looked at."""
        last = readings[-1].display
        nothing = last.state is DisplayState.VALUE and shows_nothing(last.value or 0.0, chosen)
        question = "The meter shows nothing: is its lead in the current jack, and is that jack's fuse whole (ohms)?"
        if nothing and not self._asked(question):
            return Hindered("nothing flows, which a lead in the wrong jack or a blown fuse shows as well")
        return Taken(readings)

    def _put_back(self, meter: Meter, *, ask: bool) -> None:
        """Switch off, then have the meter taken out and its lead moved; without `ask` that is only told."""
        self.hand.lift()
        self.power.off("the series meter comes out")
        question = (
            f"Output off: is {meter.name} out of the path, the supply wired as before, and the red lead BACK IN THE "
            "VOLTS JACK? The next voltage through the current jack would be a short."
        )
        if ask:
            self._asked(question)
        else:
            self.power.told(question)

    def _asked(self, question: str) -> bool:
        """Return whether it is so; a yes is kept as an event."""
        self.power.tend()
        said = self.hand.confirm(question)
        if said:
            self.power.note(self.check.id, f"confirmed: {question}")
        return said


def _without_series(point: str) -> str:
    return point.removesuffix(", in series")
