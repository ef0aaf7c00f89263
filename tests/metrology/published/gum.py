"""JCGM 100:2008, the GUM."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from benchcheck.metrology import (
    Budget,
    Contribution,
    Distribution,
    correlation_coefficient,
    coverage_factor,
    degrees_of_freedom_of,
    propagate,
    propagate_all,
    relative_spread_of_standard_deviation,
    second_order,
    simultaneous_readings,
    type_a,
)
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]


@reproduces("GUM-G.2-T-TABLE")
def t_table(inputs: Inputs) -> Mapping[str, Any]:
    dofs = [*range(1, 21), *range(25, 51, 5), 100]
    rows = {f"nu_{dof}": [coverage_factor(p, dof) for p in inputs["p_fractions_exact"]] for dof in dofs}
    return {**rows, "nu_inf": [coverage_factor(p) for p in inputs["p_fractions_exact"]]}


@reproduces("GUM-G.4.1-WS", without={"nu_eff_using_rounded_uc": "a slip that rounding early would make"})
def product(inputs: Inputs) -> Mapping[str, Any]:
    given = {
        f"x{i}": Budget.from_estimate(f"x{i}", 1.0, 0.01 * u, degrees_of_freedom=dof)
        for i, (u, dof) in enumerate(zip(inputs["rel_u_percent"], inputs["dof"], strict=True))
    }
    result = propagate(lambda x0, x1, x2: x0 * x1 * x2, given)
    t95 = coverage_factor(0.95, 19)
    return {
        "rel_uc_percent": 100 * result.combined_standard_uncertainty,
        "nu_eff": result.effective_degrees_of_freedom,
        "t95_19": t95,
        "rel_U95_percent": 100 * result.expanded(t95).expanded_uncertainty,
    }


@reproduces("GUM-G.4.2-TYPEB-DOF")
def type_b(inputs: Inputs) -> Mapping[str, Any]:
    return {"nu": [degrees_of_freedom_of(each) for each in inputs["rel_unreliability_of_u"]]}


@reproduces("GUM-E.1-SD-OF-SD")
def spread_of_spread(inputs: Inputs) -> Mapping[str, Any]:
    # the approximation is what G.4.2 gives: 1 / sqrt(2 nu)
    return {
        "percent": [100 * relative_spread_of_standard_deviation(n) for n in inputs["n"]],
        "approx_100_over_sqrt_2n_minus_2": [100 / math.sqrt(2 * n - 2) for n in inputs["n"]],
    }


@reproduces("GUM-4.3.3-NORMAL-3SIGMA")
def three_sigma(inputs: Inputs) -> Mapping[str, Any]:
    part = Contribution.from_expanded("m", "certificate", inputs["U_g"], coverage_factor=inputs["k"])
    return {"u_g": part.standard_uncertainty, "rel_u": part.standard_uncertainty / inputs["m_g"]}


@reproduces("GUM-4.3.4-NORMAL-99")
def ninety_nine(inputs: Inputs) -> Mapping[str, Any]:
    a = inputs["interval_half_width_ohm"]
    printed = Contribution.from_expanded("R", "certificate", a, coverage_factor=inputs["k_printed"])
    exact = Contribution.from_expanded("R", "certificate", a, level=inputs["p"])
    return {
        "u_ohm": printed.standard_uncertainty,
        "u_ohm_with_k_2p58": printed.standard_uncertainty,
        "u_ohm_with_exact_k": exact.standard_uncertainty,
        "rel_u": printed.standard_uncertainty / inputs["R_ohm"],
        "variance_ohm2": printed.standard_uncertainty**2,
    }


@reproduces("GUM-4.3.5-50-50")
def even_chance(inputs: Inputs) -> Mapping[str, Any]:
    part = Contribution.from_expanded("l", "even chance", inputs["half_width_m"], level=inputs["p"])
    return {"u_m": part.standard_uncertainty, "factor": 1 / part.divisor}


@reproduces("GUM-4.3.7-EX1-RECT")
def copper(inputs: Inputs) -> Mapping[str, Any]:
    u = Contribution.from_limits("alpha", "handbook", inputs["half_width_per_K"]).standard_uncertainty
    return {"variance": u**2, "u_per_K": u}


@reproduces("GUM-4.3.7-EX2-DVM")
def voltmeter(inputs: Inputs) -> Mapping[str, Any]:
    v = inputs["V_mean_V"]
    half_width = inputs["spec_reading_fraction"] * v + inputs["spec_range_fraction"] * inputs["range_V"]
    meter = Contribution.from_limits("meter", "accuracy", half_width)
    repeat = Contribution.from_standard("repeat", "repeatability", inputs["u_typeA_V"])
    budget = Budget(v, "V", (meter, repeat))
    return {
        "half_width_V": half_width,
        "variance_V2": meter.standard_uncertainty**2,
        "u_spec_V": meter.standard_uncertainty,
        "uc_V": budget.combined_standard_uncertainty,
        "rel_uc": budget.combined_standard_uncertainty / v,
    }


@reproduces("GUM-4.4.3-TYPEA")
def temperatures(inputs: Inputs) -> Mapping[str, Any]:
    found = type_a(inputs["t_degC"])
    mean, s, u = found.mean, found.standard_deviation, found.standard_uncertainty
    return {
        "mean_degC": mean,
        "s_degC": s,
        "u_mean_degC": u,
        "mean_rounded_degC": mean,
        "s_rounded_degC": s,
        "u_rounded_degC": u,
        "dof": found.degrees_of_freedom,
    }


@reproduces("GUM-4.4.5-4.4.6-RECT-TRI")
def temperature_limits(inputs: Inputs) -> Mapping[str, Any]:
    lower, upper = inputs["a_minus_degC"], inputs["a_plus_degC"]
    half_width = (upper - lower) / 2
    return {
        "u_rect_degC": Contribution.from_bounds("t", "limits", lower, upper).standard_uncertainty,
        "u_tri_degC": Contribution.triangular("t", "limits", half_width).standard_uncertainty,
        "u_ushape_degC": Contribution.u_shaped("t", "cycling", half_width).standard_uncertainty,
    }


@reproduces("GUM-F.2.2.1-RESOLUTION")
def resolution(inputs: Inputs) -> Mapping[str, Any]:
    return {"u_over_dx": Contribution.from_resolution("d", "display", inputs["dx"]).standard_uncertainty}


def gauge_inputs(inputs: Inputs, ls_nm: float) -> dict[str, Budget | float]:
    def normal(name: str, value: float, u: float, dof: float = math.inf) -> Budget:
        return Budget.from_estimate(name, value, u, degrees_of_freedom=dof)

    d = Budget(
        inputs["d_nm"],
        "nm",
        tuple(
            Contribution.from_standard(
                f"d.{each}", each, inputs[f"u_d_{each}_nm"], degrees_of_freedom=inputs[f"nu_d_{each}"]
            )
            for each in ("observations", "random", "systematic")
        ),
    )
    theta = Budget(
        inputs["theta_K"],
        "K",
        (
            Contribution.from_standard("theta.mean", "mean temperature", inputs["u_theta_mean_K"]),
            Contribution.u_shaped("theta.cycle", "cyclic variation", inputs["theta_cyclic_amplitude_K"]),
        ),
    )
    limits = Contribution.from_limits
    alpha = limits("alpha_s", "expansion", inputs["alpha_s_half_width_per_K"])
    dalpha = limits(
        "dalpha", "difference of expansion", inputs["dalpha_half_width_per_K"], degrees_of_freedom=inputs["nu_dalpha"]
    )
    dtheta = limits(
        "dtheta", "difference of temperature", inputs["dtheta_half_width_K"], degrees_of_freedom=inputs["nu_dtheta"]
    )
    return {
        "ls": normal("ls", ls_nm, inputs["u_ls_nm"], inputs["nu_ls"]),
        "d": d,
        "alpha_s": Budget(inputs["alpha_s_per_K"], "1/K", (alpha,)),
        "theta": theta,
        "dalpha": Budget(inputs["dalpha_per_K"], "1/K", (dalpha,)),
        "dtheta": Budget(inputs["dtheta_K"], "K", (dtheta,)),
    }


def gauge_length(ls: Any, d: Any, alpha_s: Any, theta: Any, dalpha: Any, dtheta: Any) -> Any:
    return ls + d - ls * (dalpha * theta + alpha_s * dtheta)


@reproduces(
    "GUM-H.1-ENDGAUGE",
    without={
        "nu_d": "printed from the rounded 9.7 nm; the full precision is held against nu_d_full_precision",
        "nu_d_from_rounded_9p7": "a rounding on the way, as above",
        "U99_k_times_rounded_32_nm": "a rounding on the way; the printed 93 is held against the full precision",
    },
)
def end_gauge(inputs: Inputs) -> Mapping[str, Any]:
    given = gauge_inputs(inputs, inputs["ls_nm"])
    result = propagate(gauge_length, given, quantity_unit="nm")
    curved = second_order(gauge_length, given, quantity_unit="nm")
    pairs = {frozenset(each[:2]): each[2] for each in curved.pairs}
    covered = result.gum_coverage(0.99)
    part = {each.id: each.output_uncertainty for each in result.rows()}
    d, theta = given["d"], given["theta"]
    assert isinstance(d, Budget)
    assert isinstance(theta, Budget)
    at_5e7 = propagate(gauge_length, gauge_inputs(inputs, 5e7))
    k99 = coverage_factor(0.99, result.effective_degrees_of_freedom)
    return {
        "l_nm": result.value,
        "u_d_nm": d.combined_standard_uncertainty,
        "nu_d_full_precision": d.effective_degrees_of_freedom,
        "u_theta_K": theta.combined_standard_uncertainty,
        "u_dalpha_per_K": inputs["dalpha_half_width_per_K"] / Distribution.RECTANGULAR.divisor,
        "u_dtheta_K": inputs["dtheta_half_width_K"] / Distribution.RECTANGULAR.divisor,
        "component_ls_nm": part["ls"],
        "component_d_nm": d.combined_standard_uncertainty,
        "component_dalpha_nm": part["dalpha"],
        "component_dtheta_nm": part["dtheta"],
        "uc_nm": result.combined_standard_uncertainty,
        "nu_eff": result.effective_degrees_of_freedom,
        "nu_eff_truncated": math.floor(result.effective_degrees_of_freedom),
        "k99": k99,
        "k99_nu16": covered.coverage_factor,
        "U99_nm": covered.expanded_uncertainty,
        "U99_k_times_full_uc_nm": covered.expanded_uncertainty,
        "second_order_dalpha_theta_nm": pairs[frozenset({"dalpha", "theta"})],
        "second_order_alpha_s_dtheta_nm": pairs[frozenset({"alpha_s", "dtheta"})],
        "uc_with_second_order_nm": curved.combined_standard_uncertainty,
        "gtc_regression_ls_5e7.uc_nm": at_5e7.combined_standard_uncertainty,
        "gtc_regression_ls_5e7.nu_eff": at_5e7.effective_degrees_of_freedom,
        "gtc_regression_ls_5e7.u_d_nm": d.combined_standard_uncertainty,
        "gtc_regression_ls_5e7.nu_d": d.effective_degrees_of_freedom,
    }


def impedance(voltage: Any, current: Any, phase: Any) -> Any:
    from uncertainties.umath import cos, sin

    return voltage / current * cos(phase), voltage / current * sin(phase), voltage / current


@reproduces("GUM-H.2-RXZ")
def resistance_reactance(inputs: Inputs) -> Mapping[str, Any]:
    means = simultaneous_readings(
        {"voltage": inputs["V_V"], "current": inputs["I_A"], "phase": inputs["phi_rad"]},
    )
    r, x, z = propagate_all(impedance, means)
    found = {
        "R_ohm": r.value,
        "X_ohm": x.value,
        "Z_ohm": z.value,
        **{f"u_{name}_ohm": each.combined_standard_uncertainty for name, each in (("R", r), ("X", x), ("Z", z))},
        "r_R_X": correlation_coefficient(r, x),
        "r_R_Z": correlation_coefficient(r, z),
        "r_X_Z": correlation_coefficient(x, z),
    }
    relative = {f"rel_u_{name}": found[f"u_{name}_ohm"] / found[f"{name}_ohm"] for name in "RXZ"}
    raw = {
        **found,
        "u_V_V": means["voltage"].combined_standard_uncertainty,
        "u_I_A": means["current"].combined_standard_uncertainty,
        "u_phi_rad": means["phase"].combined_standard_uncertainty,
        "r_V_I": correlation_coefficient(means["voltage"], means["current"]),
        "r_V_phi": correlation_coefficient(means["voltage"], means["phase"]),
        "r_I_phi": correlation_coefficient(means["current"], means["phase"]),
    }
    return {
        **found,
        **relative,
        **{f"from_raw_data.{name}": each for name, each in raw.items()},
        **{f"from_rounded_inputs.{name}": each for name, each in rounded_impedance(inputs, correlated=True).items()},
        **{
            f"ignoring_correlation.{name}": each for name, each in rounded_impedance(inputs, correlated=False).items()
        },
    }


def rounded_impedance(inputs: Inputs, *, correlated: bool) -> Mapping[str, float]:
    given = inputs["rounded"]
    means = {
        "voltage": Budget.from_estimate("voltage", given["V_V"], given["u_V_V"]),
        "current": Budget.from_estimate("current", given["I_A"], given["u_I_A"]),
        "phase": Budget.from_estimate("phase", given["phi_rad"], given["u_phi_rad"]),
    }
    stated = [
        ("voltage", "current", given["r_V_I"]),
        ("voltage", "phase", given["r_V_phi"]),
        ("current", "phase", given["r_I_phi"]),
    ]
    r, x, z = propagate_all(impedance, means, correlations=stated if correlated else ())
    return {
        "u_R_ohm": r.combined_standard_uncertainty,
        "u_X_ohm": x.combined_standard_uncertainty,
        "u_Z_ohm": z.combined_standard_uncertainty,
        "r_R_X": correlation_coefficient(r, x),
        "r_R_Z": correlation_coefficient(r, z),
        "r_X_Z": correlation_coefficient(x, z),
    }
