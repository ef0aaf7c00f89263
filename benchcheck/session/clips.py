"""Whether clips that were put on with the power off lie on their points: seen by the direct volts between them.

Alternating volts of a good rail look like clips in the air. The rail itself does not: with the unit fed, the same
clips on the same meter show its direct volts, or they are off, or the rail is dead.
"""

from __future__ import annotations

from dataclasses import replace

from benchcheck.bench.functions import Function
from benchcheck.errors import UsageError
from benchcheck.kinds.check import Check, Limits
from benchcheck.quantity import format_value
from benchcheck.readings.reading import CLIPS_SEEN
from benchcheck.session.answers import Answer, Taken
from benchcheck.session.meters import Meters
from benchcheck.spec.board import Board

__all__ = ["clips_seen", "noted"]

#: a rail that shows less than this share of its voltage is not there (common practice, no source).
_SHARE = 0.5


def clips_seen(check: Check, board: Board, meters: Meters) -> str:
    """Return in words that the clips were seen on their points, "" where direct volts cannot tell.

    UsageError where they show no rail. InstrumentError as the meter has it.
    """
    fed = board.rails.get(check.subject) or board.supplies.get(check.subject)
    meter = meters.serving(Function.DC_VOLTAGE)
    if check.function is not Function.AC_VOLTAGE or fed is None or meter is None:
        return ""
    if meter is not meters.serving(check.function):
        return ""  # the clips are on another meter
    shown = meters.read(replace(check, function=Function.DC_VOLTAGE, limits=Limits()), meter)[-1].display
    if shown.value is not None and abs(shown.value) >= _SHARE * abs(fed.voltage):
        return f"{CLIPS_SEEN}: {shown.text} direct between them"
    wanted = format_value(fed.voltage, "V", ascii=True)
    raise UsageError(
        f"{meter.name} reads {shown.text} direct between the clips, and {check.subject} has {wanted}: "
        f"the clips are off their points, or {check.subject} is dead"
    )


def noted(answer: Answer, how: str) -> Answer:
    """Return an answer with how its clips were seen on, "" where that was not needed, in the note of each reading."""
    if not how or not isinstance(answer, Taken):
        return answer
    return Taken(tuple(replace(one, note=f"{how}; {one.note}" if one.note else how) for one in answer.readings))
