"""What metrology costs: Monte Carlo against hand-written numpy, scoring against one `uncertainties` evaluation.

Run: `python -m tests.benchmarks metrology_cost`. Peers take turns so that whatever else the machine does meets
both alike; medians are compared. Reach: 10^6 trials of a ten-term budget within 1.3x; scoring one check (build
the budget, assess it) at most one evaluation plus 100 us.
"""

from __future__ import annotations

import functools
import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from uncertainties import ufloat

from benchcheck.metrology import Budget, Contribution, ToleranceInterval, Verdict, assess, simulate, simulate_budget
from tests.benchmarks.rows import row

MINUTES = 1
TRIALS = 1_000_000
TOLERANCE = ToleranceInterval(4653.0, 4747.0)
limits, standard = Contribution.from_limits, Contribution.from_standard


def ten_terms() -> Budget:
    parts = [limits(f"r{i}", "limits", 1.0 + 0.1 * i, sensitivity=(-1.0) ** i) for i in range(6)]
    parts += [standard(f"n{i}", "noise", 0.3 + 0.1 * i) for i in range(4)]
    return Budget(4700.0, "ohm", tuple(parts))


def by_hand(seed: int) -> tuple[float, float, Sequence[float]]:
    """Ten terms as one writes them in numpy, with mean, standard deviation and a 95 % interval."""
    rng = np.random.default_rng(seed)
    y = np.full(TRIALS, 4700.0)
    for i in range(6):
        half_width = 1.0 + 0.1 * i
        y += (-1.0) ** i * rng.uniform(-half_width, half_width, TRIALS)
    for i in range(4):
        y += rng.normal(0.0, 0.3 + 0.1 * i, TRIALS)
    return float(y.mean()), float(y.std(ddof=1)), np.percentile(y, [2.5, 97.5]).tolist()


def ours(seed: int) -> Any:
    found = simulate_budget(ten_terms(), trials=TRIALS, seed=seed)
    return found.mean, found.standard_uncertainty, found.symmetric(0.95)


def by_model(seed: int) -> Any:
    inputs = {f"x{i}": Budget(0.0, "ohm", (part,)) for i, part in enumerate(ten_terms().contributions)}
    found = simulate(lambda **x: 4700.0 + sum(x.values()), inputs, trials=TRIALS, seed=seed)
    return found.mean, found.standard_uncertainty, found.symmetric(0.95)


def in_turns(*calls: Callable[[int], Any], rounds: int) -> list[float]:
    """Return the median seconds of each call, the calls taking turns."""
    taken: list[list[float]] = [[] for _ in calls]
    for seed in range(rounds):
        for each, call in zip(taken, calls, strict=True):
            start = time.perf_counter()
            call(seed)
            each.append(time.perf_counter() - start)
    return [statistics.median(each) for each in taken]


#: what a check's budget is made of: name, half-width or standard uncertainty, degrees of freedom of a normal.
Term = tuple[str, float, float | None]
LIMITS, NOISE = None, float("inf")
BUDGETS: dict[str, list[Term]] = {
    "one rectangular": [("accuracy", 40.6, LIMITS)],
    "rectangular and normal": [("accuracy", 40.6, LIMITS), ("noise", 0.4, NOISE)],
    "three rectangular and normal": [
        ("accuracy", 40.6, LIMITS), ("leads", 0.1, LIMITS), ("ambient", 1.9, LIMITS), ("noise", 0.4, NOISE)
    ],
    "five rectangular and normal": [
        ("accuracy", 40.6, LIMITS), ("leads", 0.1, LIMITS), ("ambient", 1.9, LIMITS), ("R12", 12.0, LIMITS),
        ("R13", 7.0, LIMITS), ("noise", 0.4, NOISE),
    ],
    "rectangular and four readings": [("accuracy", 40.6, LIMITS), ("repeat", 0.9, 3.0)],
    "three rectangular and four readings": [
        ("accuracy", 40.6, LIMITS), ("leads", 0.1, LIMITS), ("ambient", 1.9, LIMITS), ("repeat", 0.9, 3.0)
    ],
}  # fmt: skip


def score(terms: list[Term]) -> Verdict:
    parts = tuple(
        limits(name, name, size) if dof is None else standard(name, name, size, degrees_of_freedom=dof)
        for name, size, dof in terms
    )
    return assess(Budget(4700.0, "ohm", parts), TOLERANCE).verdict


def evaluate(terms: list[Term]) -> float:
    total: Any = 4700.0
    for _, size, dof in terms:
        total += ufloat(0.0, size / 3**0.5 if dof is None else size)
    return float(total.std_dev)


def main() -> None:
    hand_s, ours_s, model_s = in_turns(by_hand, ours, by_model, rounds=7)
    trials = f"{TRIALS} trials of ten terms"
    row(f"{trials}, simulate_budget", ours_s, "by hand in numpy", hand_s, 1.3)
    row(f"{trials}, simulate and a model", model_s, "by hand in numpy", hand_s, 1.3)
    for name, terms in BUDGETS.items():
        for _ in range(50):
            score(terms), evaluate(terms)
        by_score, by_evaluate = functools.partial(score, terms), functools.partial(evaluate, terms)
        taken = in_turns(lambda _: by_score(), lambda _: by_evaluate(), rounds=2000)  # noqa: B023
        ours_us, other_us = (1e6 * each for each in taken)
        print(
            f"scoring, {name}: {ours_us:.0f} us; one evaluation {other_us:.0f} us; "
            f"above it {ours_us - other_us:.0f} us (reach 100)"
        )


if __name__ == "__main__":
    main()
