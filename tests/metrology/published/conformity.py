"""JCGM 106:2012, ILAC-G8:09/2019, ANSI/NCSL Z540.3 and relatives: conformity, risks, guard bands."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from scipy.optimize import minimize_scalar

from benchcheck.metrology import (
    Conformity,
    DecisionRule,
    GlobalRisks,
    MultipleOfU,
    OutputDistribution,
    TargetSpecificRisk,
    ToleranceInterval,
    assess,
    conformance_probability,
    global_risks,
    normal_population,
)
from benchcheck.metrology.accuracy_ratio import (
    managed_factor,
    managed_multiple,
    rp10_factor,
    rss_factor,
    u95_factor,
)
from benchcheck.metrology.distribution import level_of_factor, normal_quantile
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]
TWO_SIGMA = level_of_factor(2.0)


def normal(value: float, u: float) -> OutputDistribution:
    return OutputDistribution(value, sigma=u)


@reproduces("JCGM106-T1-Z")
def table_1(inputs: Inputs) -> Mapping[str, Any]:
    return {"z": [normal_quantile(p) for p in inputs["p_c"]]}


@reproduces("JCGM106-7.3-LOWER-LIMIT")
def burst_pressure(inputs: Inputs) -> Mapping[str, Any]:
    y, u, limit = inputs["y_Pa"], inputs["u_Pa"], inputs["T_L_Pa"]
    p = conformance_probability(normal(y, u), ToleranceInterval(lower=limit))
    return {"p_c": p, "p_c_percent": 100 * p, "z": (y - limit) / u}


@reproduces("JCGM106-7.3-UPPER-LIMIT")
def breakdown_voltage(inputs: Inputs) -> Mapping[str, Any]:
    y, u, limit = inputs["y_V"], inputs["u_V"], inputs["T_U_V"]
    p = conformance_probability(normal(y, u), ToleranceInterval(upper=limit))
    return {"p_c": p, "p_c_percent": 100 * p, "z": (limit - y) / u}


@reproduces("JCGM106-7.4-TWO-SIDED")
def viscosity(inputs: Inputs) -> Mapping[str, Any]:
    law = normal(inputs["y_mm2_per_s"], inputs["u_mm2_per_s"])
    p = conformance_probability(law, ToleranceInterval(inputs["T_L"], inputs["T_U"]))
    upper, lower = law.cdf(inputs["T_U"]), law.cdf(inputs["T_L"])
    return {"p_c": p, "p_c_percent": 100 * p, "Phi_upper": upper, "Phi_lower": lower}


@reproduces("JCGM106-9.5-RESISTORS")
def resistors(inputs: Inputs) -> Mapping[str, Any]:
    lot = normal(inputs["process_mean_ohm"], inputs["process_sd_ohm"])
    meter = normal(0.0, inputs["u_m_ohm"])
    tolerance = ToleranceInterval(inputs["T_L_ohm"], inputs["T_U_ohm"])
    guarded = global_risks(lot, meter, tolerance, ToleranceInterval(inputs["A_L_ohm"], inputs["A_U_ohm"]))
    simple = global_risks(lot, meter, tolerance, tolerance)
    return {
        "nonconforming": guarded.nonconforming,
        "nonconforming_percent": 100 * guarded.nonconforming,
        "p_conforming": guarded.conforming,
        "R_C_guarded": guarded.joint_false_accept,
        "R_C_guarded_percent": 100 * guarded.joint_false_accept,
        "R_P_guarded": guarded.joint_false_reject,
        "R_P_guarded_percent": 100 * guarded.joint_false_reject,
        "R_C_simple": simple.joint_false_accept,
        "R_P_simple": simple.joint_false_reject,
    }


def at_acceptance_limit(r: float, k: float) -> Conformity:
    """Return what is shown by a reading on the acceptance limit of a guard band r U with U = k u."""
    rule = DecisionRule("w = r U", MultipleOfU(r), level_of_factor(k))
    limit = ToleranceInterval(upper=0.0)
    w = assess(normal(0.0, 1.0), limit, rule).guard_band
    return assess(normal(-w, 1.0), limit, rule)


@reproduces("JCGM106-GUARD-R-U")
def multiples(inputs: Inputs) -> Mapping[str, Any]:
    u = normal(0.0, 1.0)
    w = TargetSpecificRisk(0.05).width(u, ToleranceInterval(upper=100.0), 2.0)
    return {
        "r_1_percent": 100 * at_acceptance_limit(1.0, 2.0).specific_false_accept_risk,
        "PFA_k2": [at_acceptance_limit(r, 2.0).specific_false_accept_risk for r in inputs["r"]],
        "PFA_k1p96": [at_acceptance_limit(r, K_95).specific_false_accept_risk for r in inputs["r"]],
        "r_for_5_percent_k2": w / 2.0,
    }


K_95 = normal_quantile(0.975)


@reproduces("RP19-UFAR-CFAR")
def in_tolerance(inputs: Inputs) -> Mapping[str, Any]:
    found = [_risks_of(p, inputs) for p in inputs["true_in_tolerance_probability"]]
    return {
        "UFAR_percent": [100 * each.joint_false_accept for each in found],
        "CFAR_percent": [100 * each.conditional_false_accept for each in found],
    }


def _risks_of(p: float, inputs: Inputs) -> GlobalRisks:
    tolerance = ToleranceInterval(*inputs["limits"])
    lot = normal_population(tolerance, p)
    meter = normal(0.0, lot.sigma / inputs["sigma_process_over_sigma_test"])
    return global_risks(lot, meter, tolerance, tolerance)


@reproduces("SPECIFIC-RISK-CPK", without={"Cpk": "a capability index of a process, not a risk of one decision"})
def specific(inputs: Inputs) -> Mapping[str, Any]:
    tolerance = ToleranceInterval(inputs["LL"], inputs["UL"])
    laws = [normal(x, inputs["u"]) for x in inputs["x"]]
    return {
        "lower": [each.cdf(inputs["LL"]) for each in laws],
        "upper": [each.sf(inputs["UL"]) for each in laws],
        "total": [assess(each, tolerance).specific_false_accept_risk for each in laws],
    }


@reproduces("ILAC-G8-TERMS")
def verdicts(inputs: Inputs) -> Mapping[str, Any]:
    tolerance, u = ToleranceInterval(upper=inputs["TL"]), inputs["U"] / 2

    def words(r: float, *, binary: bool) -> list[str]:
        rule = DecisionRule("ILAC-G8:09/2019", MultipleOfU(r), TWO_SIGMA, binary)
        return [assess(normal(x, u), tolerance, rule).verdict.title() for x in inputs["x"]]

    return {
        "nonbinary": words(1.0, binary=False),
        "binary_guarded": words(1.0, binary=True),
        "simple": words(0.0, binary=True),
    }


@reproduces("ILAC-G8-GUARDBAND-TABLE")
def guard_band_table(inputs: Inputs) -> Mapping[str, Any]:
    multiples = [each["w_over_U"] for each in inputs["rules"]]
    k2 = [at_acceptance_limit(r, 2.0).specific_false_accept_risk for r in multiples if r >= 0]
    k196 = [at_acceptance_limit(r, K_95).specific_false_accept_risk for r in multiples if r >= 0]
    uncritical = at_acceptance_limit(-1.0, 2.0).specific_false_reject_risk
    # "< 50 %" is met by its limit: with w = 0 the risk on the limit is one half
    bounds = [1e-6, 0.0016, 0.025, 0.05, 0.5, 0.025]
    texts = ["< 1 ppm PFA", "< 0.16 % PFA", "< 2.5 % PFA", "< 5 % PFA", "< 50 % PFA", "< 2.5 % PFR"]
    risks = [*k2, uncritical]
    met = [text if risk <= bound else f"{risk:g}" for text, risk, bound in zip(texts, risks, bounds, strict=True)]
    return {"risk": met, "PFA_at_AL_k2": k2, "PFA_at_AL_k1p96": k196}


@reproduces("GUARD-HARPER-10PM1")
def acceptance_limits(inputs: Inputs) -> Mapping[str, Any]:
    middle, half = inputs["nominal"], inputs["tolerance"]
    law, tolerance = normal(middle, inputs["U"] / 2), ToleranceInterval(middle - half, middle + half)

    def limits(r: float) -> list[float | None]:
        acceptance = assess(law, tolerance, DecisionRule("w = r U", MultipleOfU(r), TWO_SIGMA)).acceptance
        assert acceptance is not None
        return [acceptance.lower, acceptance.upper]

    return {"A_0p83U": limits(0.83), "A_1U": limits(1.0), "A_1p5U": limits(1.5), "A_3U": limits(3.0)}


@reproduces("Z540.3-METHOD6-DOBBERT")
def managed(inputs: Inputs) -> Mapping[str, Any]:
    return {
        "M": [managed_multiple(each) for each in inputs["TUR"]],
        "acceptance_factor": [managed_factor(each) for each in inputs["TUR"]],
    }


@reproduces("GUARD-TUR-FORMULAS")
def ratio_formulas(inputs: Inputs) -> Mapping[str, Any]:
    ratio = inputs["TUR"]
    return {
        "rss": rss_factor(ratio),
        "u95": u95_factor(ratio),
        "rp10": rp10_factor(ratio),
        "dobbert": managed_factor(ratio),
    }


UNIT = ToleranceInterval(-1.0, 1.0)


def joint_risk(process_sd: float, u: float) -> float:
    return global_risks(normal(0.0, process_sd), normal(0.0, u), UNIT, UNIT).joint_false_accept


def worst_joint_risk(ratio: float, k: float) -> float:
    """Return the largest joint false accept over all centred processes, for U = k u and this ratio."""
    u = 1.0 / (ratio * k)
    found = minimize_scalar(
        lambda sd: -joint_risk(sd, u), bounds=(0.2, 1.5), method="bounded", options={"xatol": 1e-6}
    )
    return float(-found.fun)


def worst_at_observed(reliability: float) -> float:
    """Return the largest joint false accept when a share `reliability` is observed in tolerance."""
    observed = 1.0 / normal_quantile(0.5 + 0.5 * reliability)
    found = minimize_scalar(
        lambda u: -joint_risk(math.sqrt(observed**2 - u * u), u),
        bounds=(0.05 * observed, 0.95 * observed),
        method="bounded",
        options={"xatol": 1e-7},
    )
    return float(-found.fun)


@reproduces("Z540.3-2PCT-BOUNDARIES")
def two_percent(inputs: Inputs) -> Mapping[str, Any]:
    return {
        "max_PFA": worst_joint_risk(4.6, K_95),
        "TUR_no_guard_band_needed": ratio_of_two_percent(K_95),
        "EOPR_no_guard_band_needed_percent": 89.0
        if worst_at_observed(0.89) < 0.02 < worst_at_observed(0.88)
        else 0.0,
        "TUR_for_2pct_with_U95_k2": ratio_of_two_percent(2.0),
        "TUR_for_2pct_with_U95_k1p96": ratio_of_two_percent(K_95),
        "max_PFA_at_TUR_4_k2": worst_joint_risk(4.0, 2.0),
        "max_PFA_at_observed_EOPR_89": worst_at_observed(0.89),
        "max_PFA_at_observed_EOPR_88": worst_at_observed(0.88),
    }


def ratio_of_two_percent(k: float) -> float:
    # in multiples of u the risk does not know k, so one search serves every k
    low, high = 8.9, 9.1
    f_low, f_high = worst_joint_risk(low, 1.0) - 0.02, worst_joint_risk(high, 1.0) - 0.02
    for _ in range(6):
        low, high, f_low = high, high - f_high * (high - low) / (f_high - f_low), f_high
        f_high = worst_joint_risk(high, 1.0) - 0.02
        if abs(high - low) < 1e-11 * high:
            break
    return high / k
