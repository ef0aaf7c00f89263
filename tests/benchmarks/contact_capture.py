"""Hands-free capture against the best possible: 10,000 simulated contacts on a clock that only counts.

Two peers. Best possible is the earliest reading at which a rule that knows these hands may stop. From what it saw of
120,000 other contacts at this rate it knows, for every number of readings before and for readings that are the same
or agree only to a count, how many in a row were never wrong; fewer could not be told from a value that passes by.
It is generous to itself: it needs no lift, and of a capacitor it knows where the climb ends.
Hindsight takes the third reading within a count of the settled value. No rule can do so, because while it is reading
nobody knows when the contact settled: three in a row, right after the touch, are wrong once in some hundred contacts
of a fast meter, where all of them fall within one movement of the hand.

"Exceptions" are accepted values that differ, as displayed, by more than one count from what the display shows once
it has settled, with no allowance for rounding. Hands that never hold still ("poor") are placed too; nothing should
be taken from them. "Beep": when the operator is told to lift. "Back": beeps taken back, aloud, since the reading
moved on. "Kept": when the check is over, which falls into the time a hand takes to react. Both from the touch.
"""

from __future__ import annotations

import math
import random
import statistics
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from benchcheck.readings.capture import Capture, Happening, Seen
from benchcheck.readings.capture_rule import CaptureRule
from benchcheck.readings.steady import Run, Sample
from benchcheck.simulation.contact import CONTACT_KINDS, Contact, MeterPace, contact, indications
from tests.benchmarks.rows import row

MINUTES = 8
CAMPAIGN = True
CONTACTS = 10_000
RATES_HZ = (4.0, 10.0, 20.0)
WEIGHTS = dict(zip(CONTACT_KINDS, (40, 25, 5, 8, 4, 12, 6), strict=True))
SHORT_OHM = 0.8
REACTION_S = 0.25  # from the beep until the tips leave (common practice, no source)
ATTEMPTS = 4
LEARNT = 120_000  # contacts the best possible rule has seen
_LIKE = 8  # so many readings before, or more, are one case
_LONGEST = 40  # so many readings in a row, and none was ever wrong
_UNSETTLED_S = 3.0  # how long a hand that never holds still is watched

#: for a number of readings before, and whether readings differ by a count: how many in a row are never wrong.
_Enough = dict[tuple[int, bool], int]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one contact: what was placed and seen, when it beeped, when it was kept, the peer's time."""

    placing: Contact
    seen: Seen | None
    beeped_s: float
    kept_s: float
    best_s: float
    third_s: float
    touches: int
    backs: int


def hold_s(placing: Contact) -> float:
    """How long the hand would hold on: until the beep, or till its patience ends."""
    return 25.0 * placing.tau_s if placing.tau_s else 6.0


def one(kind: str, pace: MeterPace, seed: int, enough: _Enough | None = None) -> Outcome:
    """Return what capture makes of one contact, placed again where it asks for that."""
    placing = contact(kind, random.Random(seed))
    rule = CaptureRule(pace.count_at, short_below=SHORT_OHM, ceiling=pace.highest_ohm)
    capture, began_s, touch, backs = Capture(rule), 0.0, 0, 0
    seen: Seen | None = None
    while touch < ATTEMPTS and not capture.done:
        touch += 1
        seen, beeped_s, left_s, taken_back = _touch(capture, placing, pace, random.Random(f"{seed} {touch}"), began_s)
        began_s += left_s
        backs += taken_back
        for _ in range(math.ceil(2.0 * rule.lift_s * pace.rate_hz) + 2):
            began_s += 1.0 / pace.rate_hz
            seen = capture.feed(began_s, math.inf) or seen
    kept_s = seen.at_s - placing.air_s if seen is not None and touch == 1 else math.nan
    third_s = third_within_a_count_s(placing, pace, seed)
    best_s = third_s if placing.tau_s or enough is None else earliest_s(placing, pace, f"{seed} 1", enough)
    return Outcome(placing, seen, beeped_s - placing.air_s, kept_s, best_s, third_s, touch, backs)


def _touch(
    capture: Capture, placing: Contact, pace: MeterPace, chance: random.Random, began_s: float
) -> tuple[Seen | None, float, float, int]:
    """Hold on until a beep and the time it takes to react; return what was seen, the beep, the end, beeps lost."""
    beeped_s, at_s, last, backs = math.nan, 0.0, None, 0
    for at_s, shown in indications(placing, pace, chance, hold_s(placing)):
        if at_s > beeped_s + REACTION_S or capture.done:
            break
        seen = capture.feed(began_s + at_s, shown)
        if seen is None:
            continue
        last = seen
        if seen.happening in (Happening.SETTLED, Happening.KEPT, Happening.RESEAT, Happening.NO_CONTACT):
            beeped_s = at_s if math.isnan(beeped_s) else beeped_s
        elif seen.happening is Happening.MOVED_ON:
            beeped_s, backs = math.nan, backs + 1
    return last, beeped_s, at_s, backs


def third_within_a_count_s(placing: Contact, pace: MeterPace, seed: int) -> float:
    """Return when the third reading in a row lies within a count of the settled value, in seconds from the touch."""
    alike, count = 0, pace.count_at(placing.settled_ohm)
    for at_s, shown in indications(placing, pace, random.Random(f"{seed} 1"), hold_s(placing)):
        near = math.isfinite(shown) and abs(shown - placing.settled_ohm) <= count * (1.0 + 1e-9)
        alike = alike + 1 if near else 0
        if alike == 3:
            return at_s - placing.air_s
    return math.nan


def earliest_s(placing: Contact, pace: MeterPace, chance: str, enough: _Enough) -> float:
    """Return when so many readings agree as were never wrong, in seconds from the touch."""
    for at_s, case, run in _runs(placing, pace, chance, hold_s(placing)):
        if run.count >= enough.get(case, _LONGEST):
            return at_s - placing.air_s
    return math.nan


def _runs(
    placing: Contact, pace: MeterPace, chance: str, for_s: float
) -> Iterator[tuple[float, tuple[int, bool], Run]]:
    """Yield what a rule may know at every reading: the readings that agree, and the case they are one of."""
    run, before = Run(), 0
    for at_s, shown in indications(placing, pace, random.Random(chance), for_s):
        had, count = run.count, pace.count_at(shown) if math.isfinite(shown) else math.inf
        if math.isinf(shown):
            before += had
            run.clear()
            continue
        run.add(Sample(at_s, shown), 1.2 * count)
        before += had + 1 - run.count
        yield at_s, (min(before, _LIKE), run.spread > 0.5 * count), run


@cache
def _never_wrong(rate_hz: float, contacts: int) -> _Enough:
    """Return how many readings in a row were wrong for none of so many contacts, none of them in the campaign."""
    pace = MeterPace(rate_hz=rate_hz)
    kinds = [kind for kind in WEIGHTS if not kind.startswith("charging")]
    longest_wrong: Counter[tuple[int, bool]] = Counter()
    for place in range(contacts):
        seed = f"others {rate_hz} {place}"
        placing = contact(random.Random(seed).choices(kinds, [WEIGHTS[one] for one in kinds])[0], random.Random(seed))
        for_s = min(placing.wobble_s, _UNSETTLED_S) + 4.0 / rate_hz
        for _, case, run in _runs(placing, pace, seed, for_s):
            if counts_off(run.typical().value, placing.settled_ohm, pace) > 1:
                longest_wrong[case] = max(longest_wrong[case], run.count)
    return {
        (before, differ): longest_wrong[before, differ] + 1 for before in range(_LIKE + 1) for differ in (False, True)
    }


def counts_off(shown: float, settled: float, pace: MeterPace) -> int:
    """Return how many counts two values lie apart as displayed."""
    count = pace.count_at(settled)
    return abs(round(shown / count) - round(settled / count))


def off_by(outcome: Outcome, pace: MeterPace) -> int:
    """Return how many counts the accepted values lie from the settled one, both as displayed, the worst of them."""
    assert outcome.seen is not None
    return max(counts_off(one.value, outcome.placing.settled_ohm, pace) for one in outcome.seen.samples)


def campaign(count: int, rate_hz: float, first_seed: int = 0, *, others: int = 0) -> tuple[list[Outcome], MeterPace]:
    """Return the outcomes of `count` contacts of the usual mix at one rate; the peer knows so many `others`."""
    pace = MeterPace(rate_hz=rate_hz)
    kinds = random.Random(first_seed).choices(list(WEIGHTS), list(WEIGHTS.values()), k=count)
    enough = _never_wrong(rate_hz, others) if others else None
    return [one(kind, pace, first_seed + place, enough) for place, kind in enumerate(kinds)], pace


def accepted(outcome: Outcome) -> bool:
    """Whether a reading came of it."""
    return outcome.seen is not None and outcome.seen.happening is Happening.KEPT


def _row(name: str, outcomes: list[Outcome], pace: MeterPace) -> None:
    taken = [one for one in outcomes if accepted(one)]
    exceptions = [one for one in taken if off_by(one, pace) > 1]
    first = [one for one in taken if one.touches == 1 and math.isfinite(one.best_s)]
    beeped, kept, best = (
        (
            statistics.median(times) if times else math.nan
            for times in zip(*((one.beeped_s, one.kept_s, one.best_s) for one in first), strict=True)
        )
        if first
        else (math.nan,) * 3
    )
    again, backs = sum(one.touches > 1 for one in taken), sum(one.backs for one in outcomes)
    print(
        f"  {name:<14} {len(outcomes):>6} {len(taken):>7} {len(exceptions):>10} {again:>9} {backs:>5}"
        f" {beeped:>8.3f} s {kept:>8.3f} s {best:>8.3f} s {beeped / best:>6.2f} {kept / best:>6.2f}"
    )


def main(count: int = CONTACTS, first_seed: int = 0) -> None:
    """Print the campaign, a third of the contacts at each rate, and a fast meter beside them."""
    for rate_hz, part in [*((rate_hz, count // len(RATES_HZ) + 1) for rate_hz in RATES_HZ), (50.0, count // 10)]:
        outcomes, pace = campaign(part, rate_hz, first_seed=first_seed + int(1000 * rate_hz), others=LEARNT)
        _tell_enough(rate_hz)
        print(
            "  contact        placed   taken exceptions re-seated  back     beep       kept       best   beep   kept"
        )
        for kind in WEIGHTS:
            _row(kind, [one for one in outcomes if one.placing.kind == kind], pace)
        settling = [one for one in outcomes if one.placing.kind != "poor"]
        _row("all but poor", settling, pace)
        first = [one for one in settling if one.touches == 1 and accepted(one) and math.isfinite(one.best_s)]
        beeped, kept, best, third = (
            statistics.median(getattr(one, name) for one in first)
            for name in ("beeped_s", "kept_s", "best_s", "third_s")
        )
        at = f"{rate_hz:g} readings a second"
        row(f"beep after a touch, {at}", beeped, "best possible", best, 1.3)
        row(f"kept after a touch, {at}", kept, "best possible", best, 1.3)
        ratios = f"beep {beeped / third:.2f}, kept {kept / third:.2f}, best possible {best / third:.2f}"
        print(f"  against the third reading within a count, {third:.3f} s, which only hindsight knows: {ratios}")


def _tell_enough(rate_hz: float) -> None:
    """Print what the best possible rule needs right after the touch, and after some readings that differed."""
    enough = _never_wrong(rate_hz, LEARNT)
    told = ", ".join(
        f"{enough[before, False]} the same or {enough[before, True]} to a count {when}"
        for before, when in ((0, "at once"), (1, "after one other"), (4, "after four others"))
    )
    print(f"  {rate_hz:g} readings a second, never wrong in {LEARNT} contacts: {told}")
