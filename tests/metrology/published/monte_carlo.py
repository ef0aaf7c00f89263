"""JCGM 101:2008, propagation of distributions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchcheck.metrology import (
    Budget,
    Contribution,
    Distribution,
    propagate,
    second_order,
    simulate,
    simulate_budget,
)
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]


@reproduces("JCGM101-9.2.2-NORMAL")
def four_normals(inputs: Inputs) -> Mapping[str, Any]:
    parts = tuple(Contribution.from_standard(f"x{i}", f"x{i}", inputs["u"]) for i in range(4))
    budget = Budget(4 * inputs["mean"], "", parts)
    interval = budget.coverage(inputs["p"])
    simulated = simulate_budget(budget, seed=9).symmetric(inputs["p"])
    assert abs(simulated.upper - interval.upper) < 0.01, "exact and Monte Carlo differ"
    return {
        "y": budget.value,
        "u_y": budget.combined_standard_uncertainty,
        "lo": interval.lower,
        "hi": interval.upper,
        "hi_exact": interval.upper,
    }


@reproduces("JCGM101-9.2.3-RECT")
def four_rectangulars(inputs: Inputs) -> Mapping[str, Any]:
    parts = tuple(Contribution(f"x{i}", f"x{i}", 1.0, distribution=Distribution.RECTANGULAR) for i in range(4))
    budget = Budget(4 * inputs["mean"], "", parts)
    gum, exact = budget.gum_coverage(inputs["p"]), budget.coverage(inputs["p"])
    simulated = simulate_budget(budget, seed=9).symmetric(inputs["p"])
    return {
        "u_y": budget.combined_standard_uncertainty,
        "GUF_lo": gum.lower,
        "GUF_hi": gum.upper,
        "MCM_lo": simulated.lower,
        "MCM_hi": simulated.upper,
        "hi_exact": exact.upper,
        "k_exact": exact.coverage_factor,
    }


def squares(x1: Any, x2: Any) -> Any:
    return x1 * x1 + x2 * x2


NOISE = "a figure of Monte Carlo is not held to nine digits; test_montecarlo holds it to its noise"
UNCONFIRMED = "the remembered digits differ from the exact ones; the computed figures are held instead"


@reproduces(
    "JCGM101-9.4-POWERMETER-x1_0-r_0",
    "JCGM101-9.4-POWERMETER-x1_0-r_0.9",
    without={"shortest_lo": NOISE, "shortest_hi": NOISE},
)
def power_meter(inputs: Inputs) -> dict[str, Any]:
    given = {
        name: Budget.from_estimate(name, inputs[name], u) for name, u in zip(("x1", "x2"), inputs["u"], strict=True)
    }
    stated = [("x1", "x2", inputs["correlation"])] if inputs["correlation"] else []
    linear = propagate(squares, given, correlations=stated)
    curved = second_order(squares, given, correlations=stated)
    simulated = simulate(squares, given, correlations=stated, seed=94)
    # for squares of normals the second order is exact, and Monte Carlo has to agree to its own noise
    mean, u = linear.value + curved.mean_shift, curved.combined_standard_uncertainty
    assert abs(simulated.mean - mean) < 4 * u / simulated.trials**0.5
    assert abs(simulated.standard_uncertainty / u - 1) < 0.01
    ends = simulated.shortest(inputs["p"])
    return {
        "mean": mean,
        "u": u,
        "first_order_y": linear.value,
        "first_order_u": linear.combined_standard_uncertainty,
        "MCM_mean_1e6": 1e6 * simulated.mean,
        "MCM_u_1e6": 1e6 * simulated.standard_uncertainty,
        "MCM_shortest_lo_1e6": 1e6 * ends.lower,
        "MCM_shortest_hi_1e6": 1e6 * ends.upper,
        "GUF_first_order_y_1e6": 1e6 * linear.value,
        "GUF_first_order_u_1e6": 1e6 * linear.combined_standard_uncertainty,
    }


@reproduces(
    "JCGM101-9.4-POWERMETER-x1_0.01-r_0",
    "JCGM101-9.4-POWERMETER-x1_0.05-r_0",
    "JCGM101-9.4-POWERMETER-x1_0.01-r_0.9",
    "JCGM101-9.4-POWERMETER-x1_0.05-r_0.9",
    without={
        "shortest_lo": NOISE,
        "shortest_hi": NOISE,
        "MCM_mean_1e6": UNCONFIRMED,
        "MCM_u_1e6": UNCONFIRMED,
        "MCM_shortest_lo_1e6": UNCONFIRMED,
        "MCM_shortest_hi_1e6": UNCONFIRMED,
    },
)
def unconfirmed_power_meter(inputs: Inputs) -> Mapping[str, Any]:
    return power_meter(inputs)
