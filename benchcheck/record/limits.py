"""Limits learned from known-good units, honest from the first unit on.

What one to five units say of the spread is next to nothing, so a spread known beforehand (the spec's
tolerance, or common practice) is pooled with theirs. The scatter that the meter makes is taken out of the
units' scatter; what all readings share (one meter's own error) widens the limits instead. A unit that does
not belong among the others is named and left out; where two values differ too much, that is said.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.errors import Fault, RecordError
from benchcheck.kinds.check import Check, Phase
from benchcheck.metrology import Budget, Distribution, PriorSpread, covariance, prediction_limits
from benchcheck.record.channels import twin_id, twins_of
from benchcheck.record.record import Record
from benchcheck.record.visits import across_visits
from benchcheck.score.model import Outcome, Score, Verdict
from benchcheck.spec.board import Board

__all__ = ["LearnedLimit", "LearnedLimits", "OddUnit", "learn_limits"]

LEVEL = 0.95
_BELONGS_LEVEL = 0.997  # a unit outside what the others predict at this level does not belong
_UNRELIABILITY = 0.25  # of a prior spread (GUM G.4.2: 8 degrees of freedom)
#: the most by which good units differ, where the limits so far are not closer still. Resistances of good
#: boards differ by 20 % in charts of military practice; 50 mV on a junction is common practice, no source.
_USUAL_RATIO = 0.2
_JUNCTION_V = 0.05
_FEWEST_TO_JUDGE = 3
#: what decides whether hands and board are safe is not learned from what other boards got away with.
_NOT_LEARNED = frozenset({Phase.SESSION, Phase.VISUAL, Phase.RESIDUAL_VOLTAGE, Phase.POLARITY})
_ONLY_STRICTER = frozenset({Phase.ISOLATION, Phase.TO_GROUND})


@dataclass(frozen=True, slots=True)
class OddUnit:
    """A unit whose value does not belong among the others'; numbers in the check's SI quantity unit."""

    check: str
    unit: str
    value: float
    lower: float
    upper: float

    def __str__(self) -> str:
        """Return the finding as one line."""
        return (
            f"{self.check}: {self.unit} reads {self.value:.6g}, the others say {self.lower:.6g} to {self.upper:.6g}"
        )


@dataclass(frozen=True, slots=True)
class LearnedLimit:
    """Limits of one check, in its SI quantity unit: they hold the next good unit with probability `level`.

    A side the check had no limit on stays open, unless it had none at all.
    `units` are those it rests on, `spread` the standard deviation of good units (prior included, meter taken
    out), `meter_part` the expanded uncertainty the readings share, `origin` all of that in words.
    """

    check: str
    quantity_unit: str
    lower: float | None
    upper: float | None
    mean: float
    spread: float
    meter_part: float
    level: float
    units: tuple[str, ...]
    origin: str


@dataclass(frozen=True, slots=True)
class LearnedLimits:
    """What records of good units teach: limits in the board's order, units left out, remarks in words."""

    limits: tuple[LearnedLimit, ...]
    odd: tuple[OddUnit, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Value:
    """One unit's (or channel's) value with its budget, ids holding across visits; `check` is where it was read."""

    check: str
    unit: str
    value: float
    verdict: Verdict | None
    budget: Budget | None
    loose_uncertainty: float

    @property
    def variance(self) -> float:
        if self.budget is None:
            return self.loose_uncertainty**2
        return self.budget.combined_standard_uncertainty**2


def learn_limits(
    records: Iterable[Record], board: Board, *, channels: Sequence[tuple[str, str]] = ()
) -> LearnedLimits:
    """Return limits from records of known-good units of a board; of several visits of a unit the last counts.

    `channels` are pairs of designators built alike, left and right: the values of each count for the other.
    Raises RecordError for records of another board model, naming each, UsageError for channels that are none.
    """
    twins = twins_of(board, channels)
    visits = _last_of_each_unit(records, board)
    limits: list[LearnedLimit] = []
    odd: dict[OddUnit, None] = {}  # a channel's values are looked at twice
    remarks = dict.fromkeys(_remarks(visits, board))
    for check in board.checks:
        if check.phase in _NOT_LEARNED:
            continue
        values = _values(visits, check.id) + _values(visits, twin_id(check, twins))
        values, left_out = _belonging(values, check)
        odd |= dict.fromkeys(left_out)
        remarks |= dict.fromkeys((*_failed(visits, check, values), *_apart(values, check)))
        found = _limit(check, values) if values else None
        if found:
            limits.append(found)
    return LearnedLimits(tuple(limits), tuple(odd), tuple(remarks))


def _last_of_each_unit(records: Iterable[Record], board: Board) -> dict[str, Record]:
    visits: dict[str, Record] = {}
    faults = []
    for record in records:
        if record.head.board != board.model:
            found = f'is of the board "{record.head.board}" and the spec of "{board.model}"'
            faults.append(Fault(record.name, "", f"{found}; leave it out"))
        visits[record.head.unit] = record
    if faults:
        raise RecordError(faults)
    return visits


def _remarks(visits: Mapping[str, Record], board: Board) -> list[str]:
    remarks = [
        f'{record.name}: revision "{record.head.revision}", the spec is for "{board.revision}"'
        for record in visits.values()
        if record.head.revision != board.revision
    ]
    remarks += [f"{record.name}: {fault.message}" for record in visits.values() for fault in record.problems]
    return remarks


def _failed(visits: Mapping[str, Record], check: Check, values: Iterable[_Value]) -> Iterator[str]:
    """Say which values count although their check failed: the unit is good by the word of who named its record."""
    for one in values:
        if one.check == check.id and one.verdict in (Verdict.FAIL, Verdict.CONDITIONAL_FAIL):
            name = visits[one.unit].name
            yield f"{check.id}: {one.verdict} in {name}, and counts as good; leave the record out if it is not"


def _apart(values: Sequence[_Value], check: Check) -> Iterator[str]:
    """Say that two values differ by more than good units do; nothing says which of them does not belong."""
    if len(values) != 2:
        return
    one, two = sorted(values, key=lambda value: (value.check, value.unit))
    lower, upper, *_ = _interval([one], check, _BELONGS_LEVEL, next_reading=two)
    if not lower <= two.value <= upper:
        read = (f"{value.check} of {value.unit} reads {value.value:.6g}" for value in (one, two))
        yield f"{' and '.join(read)}: more apart than good units are; one of them may not belong"


def _values(visits: Mapping[str, Record], check: str) -> list[_Value]:
    found = []
    for unit, record in visits.items():
        score = next((one for one in record.scores if one.check == check), None)
        if score is not None and score.outcome is Outcome.MEASURED and score.value is not None:
            found.append(_value(unit, record, score, score.value))
    return found


def _value(unit: str, record: Record, score: Score, value: float) -> _Value:
    budget = score.budget
    if budget is not None:
        budget = across_visits(budget, record.head.instruments, f"{record.identity}:{score.check}")
    loose = (score.expanded_uncertainty or 0.0) / (score.coverage_factor or 2.0)
    return _Value(score.check, unit, value, score.verdict, budget, loose)


def _belonging(values: list[_Value], check: Check) -> tuple[list[_Value], list[OddUnit]]:
    """Return the values that belong together and those that do not, the worst taken out first."""
    values, odd = list(values), []
    while len(values) >= _FEWEST_TO_JUDGE:
        worst, excess = None, 0.0
        for one in values:
            others = [other for other in values if other is not one]
            lower, upper, *_ = _interval(others, check, _BELONGS_LEVEL, next_reading=one)
            outside = max(lower - one.value, one.value - upper) / (upper - lower)
            if outside > excess:
                worst, excess = OddUnit(one.check, one.unit, one.value, lower, upper), outside
                out = one
        if worst is None:
            break
        odd.append(worst)
        values.remove(out)
    return values, odd


def _interval(
    values: Sequence[_Value], check: Check, level: float, next_reading: _Value | None = None
) -> tuple[float, float, float, float]:
    """Return lower, upper, the units' spread and the expanded shared uncertainty.

    With `next_reading` the interval is for what is read on that unit by its meter, else for the unit itself.
    """
    count = len(values)
    mean = math.fsum(one.value for one in values) / count
    shared = _shared_variance(values)
    own = max(0.0, math.fsum(one.variance for one in values) / count - shared)
    shown = math.fsum((one.value - mean) ** 2 for one in values) / (count - 1) if count > 1 else 0.0
    kept = math.sqrt(max(0.0, shown - own) / shown) if shown else 0.0
    true = [(one.unit, mean + kept * (one.value - mean)) for one in values]
    of_units, spread = _of_units(true, level, _prior(check, values))
    beyond = shared + own / count
    if next_reading is not None:
        common = math.fsum(_common(next_reading, one) for one in values) / count
        beyond = max(0.0, beyond + next_reading.variance - 2.0 * common)
    half = math.hypot(of_units, 2.0 * math.sqrt(beyond))
    return mean - half, mean + half, spread, 2.0 * math.sqrt(shared)


def _of_units(true: Sequence[tuple[str, float]], level: float, prior: PriorSpread) -> tuple[float, float]:
    """Return the half-width for the next unit and the spread, from pairs of unit and value without the meter.

    Two channels of a board may differ as boards do, or not at all where all that differs is between boards: the wider
    answer counts, that of all values or that of one mean a board, and the mean is known as from so many boards.
    """
    boards: dict[str, list[float]] = {}
    for unit, value in true:
        boards.setdefault(unit, []).append(value)
    single = [value for _, value in true]
    found = []
    for values in (single, [math.fsum(one) / len(one) for one in boards.values()]):
        limits = prediction_limits(values, level=level, prior=prior)
        fewer = math.sqrt((1.0 + 1.0 / len(boards)) / (1.0 + 1.0 / len(values)))
        found.append((fewer * (limits.upper - limits.mean), limits.spread))
    return max(found)


def _common(first: _Value, second: _Value) -> float:
    return covariance(first.budget, second.budget) if first.budget and second.budget else 0.0


def _shared_variance(values: Sequence[_Value]) -> float:
    """Return the mean variance that two of the readings have in common: one meter's own error."""
    if len(values) == 1:
        return values[0].variance
    pairs = [_common(first, second) for place, first in enumerate(values) for second in values[place + 1 :]]
    return max(0.0, math.fsum(pairs) / len(pairs))


def _prior(check: Check, values: Sequence[_Value]) -> PriorSpread:
    """Return the spread of good units known beforehand: limits of error, so rectangular (GUM 4.3.7).

    A part of the mean says nothing where the mean may be zero: of a difference, or of a reading that its uncertainty
    does not tell from zero. Such values lie anywhere from zero to the limit so far.
    """
    mean = math.fsum(one.value for one in values) / len(values)
    half, origin = max(_USUAL_RATIO * abs(mean), 1e-12), "20 % between good boards, common practice"
    if check.function is Function.DIODE:
        half, origin = _JUNCTION_V, "50 mV on a junction, common practice"
    lower, upper = check.limits.lower, check.limits.upper
    doubt = 2.0 * math.sqrt(math.fsum(one.variance for one in values) / len(values))
    near_zero = abs(mean) <= doubt or (check.function is Function.DERIVED and check.quantity_unit != "ohm")
    if near_zero and upper is not None and upper / 2.0 > half:
        half, origin = upper / 2.0, f"the limits so far, {check.limits.origin}"
    if lower is not None and upper is not None and 0.0 < (upper - lower) / 2.0 < half:
        half, origin = (upper - lower) / 2.0, f"the limits so far, {check.limits.origin}"
    return PriorSpread.within(half / Distribution.RECTANGULAR.divisor, _UNRELIABILITY, origin)


def _limit(check: Check, values: Sequence[_Value]) -> LearnedLimit | None:
    """Return the limit, None where it would only be looser than one that safety rests on."""
    low, high, spread, meter_part = _interval(values, check, LEVEL)
    lower, upper = _sides(check, low, high)
    if lower is None and upper is None:
        return None
    mean = math.fsum(one.value for one in values) / len(values)
    units = tuple(dict.fromkeys(one.unit for one in values))
    both = " (both channels)" if len({one.check for one in values}) > 1 else ""
    rests = f"{_number(len(values), 'value')} of {_number(len(units), 'known-good unit')}{both}"
    origin = f"holds the next good unit with 95 %, from {rests} and {_prior(check, values).origin}"
    return LearnedLimit(check.id, check.quantity_unit, lower, upper, mean, spread, meter_part, LEVEL, units, origin)


def _number(count: int, what: str) -> str:
    return f"{count} {what}" + ("" if count == 1 else "s")


def _sides(check: Check, low: float, high: float) -> tuple[float | None, float | None]:
    """Return the limits on the sides that the check has limits on; both where it has none."""
    so_far = check.limits
    if check.phase in _ONLY_STRICTER:
        return (low, None) if low > (so_far.lower or 0.0) else (None, None)
    if so_far.lower is None and so_far.upper is None:
        return low, high
    if so_far.lower is not None and so_far.lower >= 0.0:
        low = max(low, 0.0)  # what was never below zero says so: a drop difference below it is a swapped pair
    return (None if so_far.lower is None else low), (None if so_far.upper is None else high)
