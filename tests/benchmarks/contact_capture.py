"""Hands-free capture against what hindsight allows: 10,000 simulated contacts on a clock that only counts.

Peer: the best fixed number of readings, chosen with hindsight. It knows the settled value, and how many readings in a
row within a count of each other it takes so that no contact of this very campaign (charging ones left out, for which
no number of them would do) is taken wrongly: fewer could not tell a value that stands from one that passes by, at
this rate of reading and with these hands. It takes the last of so many readings within a count of the settled value.
Beside it stands the third such reading, a bound no rule reaches that must not err: three err in this campaign.
"Exceptions" are accepted values that differ, as displayed, by more than one count from what the display shows once
it has settled, with no allowance for rounding. Hands that never hold still ("poor") are placed too; nothing should
be taken from them.
"Beep": when the operator is told that the reading counts; it is taken back, aloud, where the reading then moves on.
"Kept": when it can no longer be taken back, for the hand has landed or been lifted. Both from the touch.
"""

from __future__ import annotations

import math
import random
import statistics
from collections import deque
from dataclasses import dataclass
from statistics import median_low

from benchcheck.readings.capture import Capture, Happening, Seen
from benchcheck.readings.capture_rule import CaptureRule
from benchcheck.simulation.contact import CONTACT_KINDS, Contact, MeterPace, contact, indications
from tests.benchmarks.rows import row

MINUTES = 4
CAMPAIGN = True
CONTACTS = 10_000
RATES_HZ = (4.0, 10.0, 20.0)
WEIGHTS = dict(zip(CONTACT_KINDS, (40, 25, 5, 8, 4, 12, 6), strict=True))
SHORT_OHM = 0.8
REACTION_S = 0.25  # from the beep until the tips leave (common practice, no source)
ATTEMPTS = 4
_STOOD = 40  # so many readings within a count of each other are the end of a contact that settled


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


def hold_s(placing: Contact) -> float:
    """How long the hand would hold on: until the beep, or till its patience ends."""
    return 25.0 * placing.tau_s if placing.tau_s else 6.0


def one(kind: str, pace: MeterPace, seed: int, in_a_row: int = 3) -> Outcome:
    """Return what capture makes of one contact, placed again where it asks for that."""
    placing = contact(kind, random.Random(seed))
    rule = CaptureRule(pace.count_at, short_below=SHORT_OHM, ceiling=pace.highest_ohm)
    capture, began_s, touch = Capture(rule), 0.0, 0
    seen: Seen | None = None
    while touch < ATTEMPTS and not capture.done:
        touch += 1
        seen, beeped_s, left_s = _touch(capture, placing, pace, random.Random(f"{seed} {touch}"), began_s)
        began_s += left_s
        for _ in range(math.ceil(2.0 * rule.lift_s * pace.rate_hz) + 2):
            began_s += 1.0 / pace.rate_hz
            seen = capture.feed(began_s, math.inf) or seen
    kept_s = seen.at_s - placing.air_s if seen is not None and touch == 1 else math.nan
    best, third = (best_s(placing, pace, seed, count) for count in (in_a_row, 3))
    return Outcome(placing, seen, beeped_s - placing.air_s, kept_s, best, third, touch)


def _touch(
    capture: Capture, placing: Contact, pace: MeterPace, chance: random.Random, began_s: float
) -> tuple[Seen | None, float, float]:
    """Hold on until a beep and the time it takes to react; return the last thing seen, when it beeped, the end."""
    beeped_s, at_s, last = math.nan, 0.0, None
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
            beeped_s = math.nan
    return last, beeped_s, at_s


def best_s(placing: Contact, pace: MeterPace, seed: int, in_a_row: int) -> float:
    """Return when so many readings in a row lie within a count of the settled value, in seconds from the touch."""
    alike, count = 0, pace.count_at(placing.settled_ohm)
    for at_s, shown in indications(placing, pace, random.Random(f"{seed} 1"), hold_s(placing)):
        near = math.isfinite(shown) and abs(shown - placing.settled_ohm) <= count * (1.0 + 1e-9)
        alike = alike + 1 if near else 0
        if alike == in_a_row:
            return at_s - placing.air_s
    return math.nan


def enough_in_a_row(placings: list[tuple[Contact, int]], pace: MeterPace) -> int:
    """Return the fewest readings in a row within a count of each other that are wrong for none of these contacts."""
    enough = 1
    for placing, seed in placings:
        if placing.tau_s:
            continue
        run: deque[float] = deque()
        for _, shown in indications(placing, pace, random.Random(f"{seed} 1"), hold_s(placing)):
            run = _longer(run, shown, pace)
            if len(run) > enough and counts_off(median_low(run), placing.settled_ohm, pace) > 1:
                enough = len(run)
            if len(run) >= _STOOD:
                break
    return enough + 1


def _longer(run: deque[float], shown: float, pace: MeterPace) -> deque[float]:
    """Return the longest run of last readings within a count of each other."""
    if not math.isfinite(shown):
        return deque()
    run.append(shown)
    while max(run) - min(run) > 1.01 * pace.count_at(shown):
        run.popleft()
    return run


def counts_off(shown: float, settled: float, pace: MeterPace) -> int:
    """Return how many counts two values lie apart as displayed."""
    count = pace.count_at(settled)
    return abs(round(shown / count) - round(settled / count))


def off_by(outcome: Outcome, pace: MeterPace) -> int:
    """Return how many counts the accepted values lie from the settled one, both as displayed, the worst of them."""
    assert outcome.seen is not None
    return max(counts_off(one.value, outcome.placing.settled_ohm, pace) for one in outcome.seen.samples)


def campaign(
    count: int, rate_hz: float, first_seed: int = 0, *, hindsight: bool = False
) -> tuple[list[Outcome], MeterPace]:
    """Return the outcomes of `count` contacts of the usual mix at one rate; `hindsight` is what the peer knows."""
    pace = MeterPace(rate_hz=rate_hz)
    kinds = random.Random(first_seed).choices(list(WEIGHTS), list(WEIGHTS.values()), k=count)
    seeds = range(first_seed, first_seed + count)
    in_a_row = 3
    if hindsight:
        placings = [(contact(kind, random.Random(seed)), seed) for kind, seed in zip(kinds, seeds, strict=True)]
        in_a_row = enough_in_a_row(placings, pace)
        print(f"  {rate_hz:g} readings a second: {in_a_row} in a row within a count are needed, with hindsight")
    return [one(kind, pace, seed, in_a_row) for kind, seed in zip(kinds, seeds, strict=True)], pace


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
    again = sum(one.touches > 1 for one in taken)
    print(
        f"  {name:<14} {len(outcomes):>6} {len(taken):>7} {len(exceptions):>10} {again:>9}"
        f" {beeped:>8.3f} s {kept:>8.3f} s {best:>8.3f} s {beeped / best:>6.2f} {kept / best:>6.2f}"
    )


def main(count: int = CONTACTS) -> None:
    """Print the campaign, a third of the contacts at each rate, and a fast meter beside them."""
    for rate_hz, part in [*((rate_hz, count // len(RATES_HZ) + 1) for rate_hz in RATES_HZ), (50.0, count // 10)]:
        outcomes, pace = campaign(part, rate_hz, first_seed=int(1000 * rate_hz), hindsight=True)
        print("  contact        placed   taken exceptions re-seated     beep       kept       best   beep   kept")
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
        row(f"beep after a touch, {at}", beeped, "fewest in a row that never err", best, 1.3)
        row(f"kept after a touch, {at}", kept, "fewest in a row that never err", best, 1.3)
        ratios = f"beep {beeped / third:.2f}, kept {kept / third:.2f}"
        print(f"  against the third reading within a count, {third:.3f} s: {ratios}")
