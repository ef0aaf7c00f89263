"""Further examples of the GUM, JCGM 101, EA-4/02 and EURACHEM."""

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
    straight_line,
)
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]
limits = Contribution.from_limits


@reproduces("GUM-5.2.2-TEN-RESISTORS")
def ten_resistors(inputs: Inputs) -> Mapping[str, Any]:
    def series(ids: list[str]) -> Budget:
        parts = [Budget.from_estimate(each, inputs["R_S_ohm"], inputs["u_R_S_ohm"], "ohm") for each in ids]
        return propagate(lambda **r: sum(r.values()), {f"R{i}": each for i, each in enumerate(parts)})

    shared, own = series(["R_S"] * inputs["count"]), series([f"R{i}" for i in range(inputs["count"])])
    return {
        "uc_ohm": shared.combined_standard_uncertainty,
        "uc_if_independent_ohm": own.combined_standard_uncertainty,
    }


@reproduces("GUM-H.3-THERMOMETER")
def thermometer(inputs: Inputs) -> Mapping[str, Any]:
    line = straight_line(inputs["t_degC"], inputs["b_degC"], reference=inputs["reference_degC"], quantity_unit="degC")
    predicted = line.at(inputs["t_predicted_degC"])
    return {
        "y1_degC": line.intercept.value,
        "s_y1_degC": line.intercept.combined_standard_uncertainty,
        "y2": line.slope.value,
        "s_y2": line.slope.combined_standard_uncertainty,
        "r": line.correlation,
        "s_degC": line.residual_deviation,
        "b30_degC": predicted.value,
        "s_b30_degC": predicted.combined_standard_uncertainty,
        "nu": predicted.effective_degrees_of_freedom,
    }


@reproduces("JCGM101-9.2.4-UNEQUAL")
def unequal(inputs: Inputs) -> Mapping[str, Any]:
    parts = tuple(Contribution(f"x{i}", "x", u, Distribution.RECTANGULAR) for i, u in enumerate(inputs["u"]))
    budget = Budget(0.0, "", parts)
    return {
        "u_y": budget.combined_standard_uncertainty,
        "GUF_hi": budget.gum_coverage(inputs["p"]).upper,
        "MCM_hi": budget.coverage(inputs["p"]).upper,
    }


@reproduces("JCGM101-9.3-MASS")
def mass(inputs: Inputs) -> Mapping[str, Any]:
    def between(name: str) -> Budget:
        lower, upper = inputs[name]
        return Budget(0.5 * (lower + upper), "kg/m3", (Contribution.from_bounds(name, name, lower, upper),))

    given = {
        "m": Budget.from_estimate("m", inputs["m_RC_mg"], inputs["u_m_RC_mg"]),
        "dm": Budget.from_estimate("dm", inputs["dm_RC_mg"], inputs["u_dm_RC_mg"]),
        **{name: between(name) for name in ("rho_a", "rho_W", "rho_R")},
    }

    def model(m: Any, dm: Any, rho_a: Any, rho_W: Any, rho_R: Any) -> Any:  # noqa: N803
        return (m + dm) * (1 + (rho_a - 1.2) * (1 / rho_W - 1 / rho_R)) - inputs["m_nom_mg"]

    curved = second_order(model, given, quantity_unit="mg")
    linear, simulated = curved.first_order, simulate(model, given, seed=93)
    gum = linear.gum_coverage(inputs["p"])
    return {
        "GUF1_dm_mg": linear.value,
        "GUF1_u_mg": linear.combined_standard_uncertainty,
        "GUF1_lo_mg": gum.lower,
        "GUF1_hi_mg": gum.upper,
        "GUF2_u_mg": curved.combined_standard_uncertainty,
        "MCM_u_mg": simulated.standard_uncertainty,
    }


@reproduces("EA402-S9-MULTIMETER")
def multimeter(inputs: Inputs) -> Mapping[str, Any]:
    budget = Budget(
        inputs["indicated_V"] - inputs["source_V"],
        "V",
        (
            Contribution.from_expanded("V_S", "source", inputs["U_source_V"], coverage_factor=inputs["k_source"]),
            limits("dV_S", "drift of the source", inputs["half_width_source_V"]),
            limits("dV_iX", "resolution", inputs["half_width_resolution_V"]),
        ),
    )
    return {
        "E_X_V": budget.value,
        "u_V": budget.combined_standard_uncertainty,
        "U_V": budget.coverage(0.95).expanded_uncertainty,
    }


@reproduces("EA402-S10-CALIPER")
def caliper(inputs: Inputs) -> Mapping[str, Any]:
    names = ("reading", "mechanics", "temperature", "gauge")
    budget = Budget(0.1, "mm", tuple(limits(name, name, inputs[f"half_width_{name}_mm"]) for name in names))
    covered = budget.coverage(0.95)
    return {
        "u_mm": budget.combined_standard_uncertainty,
        "k": covered.coverage_factor,
        "U_mm": covered.expanded_uncertainty,
    }


@reproduces("EURACHEM-A1-CADMIUM")
def cadmium(inputs: Inputs) -> Mapping[str, Any]:
    volume = Budget(
        inputs["V_mL"],
        "mL",
        (
            Contribution.triangular("V.flask", "flask", inputs["half_width_V_triangular_mL"]),
            Contribution.from_standard("V.filling", "filling", inputs["u_V_filling_mL"]),
            limits("V.temperature", "temperature", inputs["half_width_V_temperature_mL"]),
        ),
    )
    purity = Budget(inputs["P"], "", (limits("P", "purity", inputs["half_width_P"]),))
    mass_mg = Budget.from_estimate("m", inputs["m_mg"], inputs["u_m_mg"], "mg")
    found = propagate(lambda m, P, V: 1000 * m * P / V, {"m": mass_mg, "P": purity, "V": volume})  # noqa: N803
    return {
        "c_mg_per_L": found.value,
        "u_V_mL": volume.combined_standard_uncertainty,
        "u_P": purity.combined_standard_uncertainty,
        "u_c_mg_per_L": found.combined_standard_uncertainty,
    }
