"""How often the true fault comes first: virtual units of every demo board, with seeds, faults drawn uniformly.

Values lie within tolerance and meters within specification; then the same with junctions centred 50 to 80 mV off.
Readings are those of the spec's checks and across every part. DIAGNOSIS_UNITS in the environment sets how many boards
are drawn (15), each read with four faults and four times good; DIAGNOSIS_SEQUENCES how many units are followed
reading by reading (10). Beside each share stands its 95 % interval (Wilson 1927): a share of 60 units is no share of
1,000, and the figures asked for take DIAGNOSIS_UNITS=250.
"""

from __future__ import annotations

import math
import os
import pathlib
import random
import sys
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from benchcheck.bench.load import load_bench
from benchcheck.builtin import load_spec
from benchcheck.diagnosis.diagnose import Diagnosis, ranked
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Evidence, Seen
from benchcheck.diagnosis.next_measurement import STOP_AT
from benchcheck.diagnosis.suggestions import isolated, outlook
from benchcheck.document import parse_document
from tests.diagnosis import boards, population

DRAWS = int(os.environ.get("DIAGNOSIS_UNITS", "15"))
SEQUENCES = int(os.environ.get("DIAGNOSIS_SEQUENCES", "10"))
MOST_STEPS = 40
CAMPAIGN = True
MINUTES = 10


@dataclass
class Tally:
    """What came of a population."""

    faulty: int = 0
    hidden: int = 0
    first: int = 0
    third: int = 0
    good: int = 0
    called: int = 0
    otherwise: int = 0
    given: list[tuple[float, bool, float]] = field(default_factory=list)
    missed: Counter[str] = field(default_factory=Counter)
    sizes: list[int] = field(default_factory=list)

    def take(self, engine: Engine, truth: int, found: Diagnosis, *, shown: bool) -> None:
        """Count a unit; `shown` says whether any of its readings is off its good twin's by more than the meter is.

        A fault that no reading shows is counted apart. One that is grouped with the good board though a reading shows
        it is a miss, whatever came first. A good unit of which a slip of the hand is supposed, or paths that the spec
        does not name, is not called faulty and is counted by itself; of a faulty one either is a miss.
        """
        group = np.array(engine.groups)
        order = [members[0].group for members, _ in found.groups()]
        if truth == 0:
            self.good += 1
            first = found.leading[0][0].hypothesis
            said = order[0] != 0
            self.called += said and bool(first.part_faults)
            self.otherwise += said and not first.part_faults
            if said:
                self.missed[f"good taken for {first}"] += 1
            return
        if group[truth] == 0 and not shown:
            self.hidden += 1
            return
        self.faulty += 1
        if group[truth] == 0:
            self.missed[f"{engine.hypotheses[truth]} (grouped with good)"] += 1
            return
        self.sizes.append(int((group == group[truth]).sum()))
        self.first += bool(order[0] == group[truth])
        self.third += bool(group[truth] in order[:3])
        if order[0] != group[truth]:
            self.missed[str(engine.hypotheses[truth])] += 1

    def say(self, what: str) -> None:
        print(
            f"  {what}: first {share(self.first, self.faulty)}, first three {share(self.third, self.faulty)}; "
            f"good called faulty {share(self.called, self.good)}, {self.otherwise} more said to be misread or to "
            f"have paths not named; {self.hidden} more units have a fault that no reading shows; "
            f"median group {np.median(self.sizes or [0]):.0f}",
            flush=True,
        )
        if self.missed:
            print(f"    missed: {', '.join(f'{name} {count}' for name, count in self.missed.most_common(12))}")


def share(count: int, of: int) -> str:
    """Return a share with what it was counted from and its 95 % interval (Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    if not of:
        return "not measured (0 units)"
    z2, p = 1.96**2, count / of
    centre, half = p + z2 / (2 * of), math.sqrt(z2 * (p * (1 - p) + z2 / (4 * of)) / of)
    low, high = max(centre - half, 0.0) / (1 + z2 / of), min((centre + half) / (1 + z2 / of), 1.0)
    return f"{p:.1%} ({count} of {of}; {low:.1%} to {high:.1%})"


def engine_of(path: pathlib.Path) -> Engine:
    bench = load_bench(parse_document(boards.BENCH, "bench.toml"))
    return Engine(load_spec(path), bench)


def counted(engine: Engine, units: Iterable[population.Unit]) -> Tally:
    tally = Tally()
    chance = random.Random("some")
    for number, unit in enumerate(units, 1):
        if number % 20 == 0:
            print(f"    {number} units", file=sys.stderr, flush=True)
        if number % 200 == 199:
            tally.say(f"(so far, {number + 1} units)")
        tally.take(engine, unit.truth, ranked(engine, unit.evidence), shown=unit.shown)
        tally.given += some(engine, unit, chance)
    return tally


def some(engine: Engine, unit: population.Unit, chance: random.Random) -> list[tuple[float, bool, float]]:
    """Return what groups are given after some of the readings, whether they are true, and what the unit stands for.

    As many units are good as the odds say; which fault a faulty one has is drawn evenly all the same.
    """
    seen = unit.evidence.seen
    part = tuple(chance.sample(seen, max(1, int(len(seen) * chance.uniform(0.05, 0.6)))))
    found = ranked(engine, replace(unit.evidence, seen=part)).groups()[:4]
    good = 1.0 / float(np.exp(engine.log_prior).sum())
    stands = 2.0 * (good if unit.truth == 0 else 1.0 - good)
    true = engine.groups[unit.truth]
    return [(share, members[0].group == true, stands) for members, share in found]


def steps_in_order(engine: Engine, unit: population.Unit) -> int:
    """Return how many readings of the spec's own order isolate the fault; all of them where they never do."""
    place = {one.shot: one for one in unit.evidence.seen}
    line = [place[shot] for shot in engine.checks]
    for count in range(3, len(line) + 1, 3):
        if leads(engine, unit, tuple(line[:count])):
            return count
    return len(line)


def leads(engine: Engine, unit: population.Unit, seen: tuple[Seen, ...]) -> bool:
    evidence = Evidence(seen, orientation=unit.evidence.orientation, leads_ohm=unit.evidence.leads_ohm)
    members, share = ranked(engine, evidence).leading
    return share >= STOP_AT and members[0].group == engine.groups[unit.truth]


def steps_of_choice(engine: Engine, unit: population.Unit) -> int:
    """Return how many readings, each the one worth most then, isolate the fault."""
    place = {one.shot: one for one in unit.evidence.seen}
    seen: tuple[Seen, ...] = ()
    for count in range(MOST_STEPS):
        evidence = Evidence(seen, orientation=unit.evidence.orientation, leads_ohm=unit.evidence.leads_ohm)
        found = ranked(engine, evidence)
        if isolated(found):
            return count if found.groups()[0][0][0].group == engine.groups[unit.truth] else MOST_STEPS
        ways = outlook(engine, evidence, found).ways
        if not ways:
            return MOST_STEPS
        seen = (*seen, place[ways[0].shot])
    return MOST_STEPS


def board_figures(path: pathlib.Path, given: list[tuple[float, bool, float]]) -> None:
    engine = engine_of(path)
    started = time.process_time()
    count, sizes = len(engine.predictions.shots), Counter(engine.groups)
    ready = time.process_time() - started
    of_each = np.median([sizes[group] for group in engine.groups])
    print(
        f" {path.stem}: {len(engine.hypotheses)} hypotheses, {count} readings, ready in {ready:.1f} s of processor; "
        f"median group {np.median(list(sizes.values())):.0f}, of a hypothesis {of_each:.0f}",
        flush=True,
    )
    tally = counted(engine, population.units(engine, engine.predictions.shots, "first", DRAWS, 4))
    tally.say("within tolerance, seed first")
    given += tally.given
    moved = population.units(engine, engine.predictions.shots, "moved", max(DRAWS // 2, 1), 4, (0.05, 0.08))
    counted(engine, moved).say("junctions 50-80 mV off, seed moved")
    sequences(engine)


def sequences(engine: Engine) -> None:
    chosen, own = [], []
    units = population.units(engine, engine.predictions.shots, "steps", SEQUENCES, 1)
    for unit in units:
        if unit.truth and engine.groups[unit.truth]:
            chosen.append(steps_of_choice(engine, unit))
            own.append(steps_in_order(engine, unit))
    if chosen:
        print(
            f"  readings until isolated (seed steps, {len(chosen)} units): median {np.median(chosen):.0f} chosen, "
            f"{np.median(own):.0f} in the spec's own order of {len(engine.checks)}"
        )


def main() -> None:
    wanted = [name for name in sys.argv[1:] if name.endswith(".toml")]
    paths = [pathlib.Path(name) for name in wanted] or sorted(pathlib.Path("specs").glob("*.toml"))
    given: list[tuple[float, bool, float]] = []
    for path in paths:
        board_figures(path, given)
    kept = [(true, stands) for share, true, stands in given if 0.7 <= share < 0.9]
    if kept:
        right = sum(stands for true, stands in kept if true) / sum(stands for _, stands in kept)
        print(
            f" of {len(kept)} groups given 70-90 % after some readings (seed some), {right:.0%} were true (weighted)"
        )


if __name__ == "__main__":
    main()
