"""EA-4/02 M and UKAS M3003: budgets of calibration laboratories."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchcheck.metrology import Budget, Contribution, Distribution, propagate, type_a
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]


@reproduces("EA402-S3-10KOHM")
def standard_resistor(inputs: Inputs) -> Mapping[str, Any]:
    r_s, drift, t_s, t_x, r_c, ratio = inputs["contributions"]
    limits = Contribution.from_limits
    certificate = Contribution.from_expanded(
        "R_S", r_s["name"], r_s["U_ohm"], coverage_factor=r_s["k"], degrees_of_freedom=r_s["nu"]
    )
    result = propagate(
        lambda R_S, dR_D, dR_TS, dR_TX, r_C, r: (R_S + dR_D + dR_TS) * r_C * r - dR_TX,  # noqa: N803
        {
            "R_S": Budget(r_s["value_ohm"], "ohm", (certificate,)),
            "dR_D": Budget(drift["value_ohm"], "ohm", (limits("dR_D", drift["name"], drift["half_width_ohm"]),)),
            "dR_TS": Budget(t_s["value_ohm"], "ohm", (limits("dR_TS", t_s["name"], t_s["half_width_ohm"]),)),
            "dR_TX": Budget(t_x["value_ohm"], "ohm", (limits("dR_TX", t_x["name"], t_x["half_width_ohm"]),)),
            "r_C": Budget(r_c["value"], "", (Contribution.triangular("r_C", r_c["name"], r_c["half_width"]),)),
            "r": Budget.from_readings("r", ratio["name"], ratio["observations"], ""),
        },
        quantity_unit="ohm",
    )
    covered = result.expanded(2.0)
    return {
        "R_X_ohm": result.value,
        "u_ohm": result.combined_standard_uncertainty,
        "k": covered.coverage_factor,
        "U_ohm": covered.expanded_uncertainty,
        "contributions_mohm": [1e3 * row.output_uncertainty for row in result.rows()],
        "nu_eff": result.effective_degrees_of_freedom,
    }


SHAPES = {
    "rectangular (TN 1900) / normal k=2 certificate": Distribution.RECTANGULAR,
    "rectangular": Distribution.RECTANGULAR,
    "normal": Distribution.NORMAL,
}


OTHER_LAW = "the source's simulation uses distributions that its published inputs do not settle"


@reproduces("EA402-S7-ATTENUATOR", without={"TN1900_MC_lo95_dB": OTHER_LAW, "TN1900_MC_hi95_dB": OTHER_LAW})
def attenuator(inputs: Inputs) -> Mapping[str, Any]:
    first, *others = inputs["contributions"]
    value = type_a(first["observations_dB"]).mean + sum(each["value_dB"] for each in others)
    parts = [Contribution.from_readings(first["name"], "readings", first["observations_dB"])]
    for each in others:
        shape = SHAPES.get(each["distribution"], Distribution.U_SHAPED)
        parts.append(Contribution(each["name"], each["name"], each["u_dB"], shape))
    budget = Budget(value, "dB", tuple(parts))
    covered = budget.expanded(2.0)
    return {
        "L_X_dB": budget.value,
        "u_dB": budget.combined_standard_uncertainty,
        "U_k2_dB": covered.expanded_uncertainty,
        "nu_eff": budget.effective_degrees_of_freedom,
    }


UNKNOWN_INPUTS = "the inputs of the mismatch and power ratios are not known well enough"


@reproduces(
    "EA402-S6-POWERSENSOR",
    without={"u": UNKNOWN_INPUTS, "nu_eff_published": UNKNOWN_INPUTS, "u_published": UNKNOWN_INPUTS},
)
def power_sensor(inputs: Inputs) -> Mapping[str, Any]:
    p = Budget.from_readings("p", "power ratio", inputs["p_observations"], "")
    mismatch = {
        name: Budget(1.0, "", (Contribution.u_shaped(name, name, half_width),))
        for name, half_width in inputs["mismatch_half_widths"].items()
    }
    drift = Contribution.from_limits("dK_D", "drift", inputs["half_width_dK_D"])
    result = propagate(
        lambda K_S, dK_D, M_Sr, M_Xc, M_Sc, M_Xr, p: (K_S + dK_D) * (M_Sr * M_Xc) / (M_Sc * M_Xr) * p,  # noqa: N803
        {
            "K_S": Budget.from_estimate("K_S", inputs["K_S"], inputs["u_K_S"]),
            "dK_D": Budget(inputs["dK_D"], "", (drift,)),
            **mismatch,
            "p": p,
        },
    )
    return {"K_X": result.value}


@reproduces("M3003-K1-10KOHM")
def intercomparison(inputs: Inputs) -> Mapping[str, Any]:
    certificate, *limited, repeat = inputs["contributions"]
    # the source rounds the standard deviation of its readings to 0.158 before going on
    budget = Budget(
        type_a(repeat["readings"]).mean,
        "ppm",
        (
            Contribution.from_standard("repeat", repeat["name"], repeat["u"], degrees_of_freedom=repeat["nu"]),
            Contribution.from_expanded(
                "R_S", certificate["name"], certificate["U"], coverage_factor=certificate["k"]
            ),
            *(Contribution.from_limits(each["name"], each["name"], each["half_width"]) for each in limited),
        ),
    )
    return {
        "mean_ppm": budget.value,
        "uc_ppm": budget.combined_standard_uncertainty,
        "U_k2_ppm": budget.expanded(2.0).expanded_uncertainty,
    }
