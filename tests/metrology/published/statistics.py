"""Statistical intervals (ISO 16269-6, NIST e-Handbook) and the NIST StRD data sets."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchcheck.metrology import lag_1_autocorrelation, one_sided_factor, two_sided_factor, type_a
from benchcheck.metrology.tolerance_interval import guenther_factor, howe_factor, natrella_factor
from tests.metrology.published.registry import reproduces

Inputs = Mapping[str, Any]
PAIRS = [(content, confidence) for confidence in (0.9, 0.95, 0.99) for content in (0.9, 0.95, 0.99)]


@reproduces(
    "NIST-7.2.6.3-WAFERS",
    without={
        "a": "inside Natrella's formula",
        "b": "inside Natrella's formula",
        "chi2_0p01_42": "inside Howe's formula",
    },
)
def wafers(inputs: Inputs) -> Mapping[str, Any]:
    given = inputs["N"], inputs["content"], inputs["confidence"]
    mean, s = inputs["mean_ohm_cm"], inputs["s_ohm_cm"]
    k2, k1 = howe_factor(*given), natrella_factor(*given)
    return {
        "k2_howe": k2,
        "k1_natrella": k1,
        "two_sided_lo": mean - k2 * s,
        "two_sided_hi": mean + k2 * s,
        "upper_one_sided": mean + k1 * s,
        "lower_one_sided": mean - k1 * s,
        "k2_guenther": guenther_factor(*given),
        "k2_exact": two_sided_factor(*given),
        "k1_exact_nct": one_sided_factor(*given),
    }


@reproduces("TI-ONE-SIDED-K")
def one_sided(inputs: Inputs) -> Mapping[str, Any]:
    return {
        f"content_{content:g}_confidence_{confidence:g}": [
            one_sided_factor(n, content, confidence) for n in inputs["n"]
        ]
        for content, confidence in PAIRS
    }


@reproduces("TI-TWO-SIDED-K")
def two_sided(inputs: Inputs) -> Mapping[str, Any]:
    return {
        f"content_{content:g}_confidence_{confidence:g}": [
            two_sided_factor(n, content, confidence) for n in inputs["n"]
        ]
        for content, confidence in PAIRS
    }


@reproduces("TI-HOWE-N2-10")
def approximations(inputs: Inputs) -> Mapping[str, Any]:
    content, confidence = inputs["content"], inputs["confidence"]
    return {
        "howe": [howe_factor(n, content, confidence) for n in inputs["n"]],
        "guenther": [guenther_factor(n, content, confidence) for n in inputs["n"]],
    }


def summary(data: list[float]) -> Mapping[str, Any]:
    found = type_a(data)
    return {"mean": found.mean, "sd": found.standard_deviation, "r1": lag_1_autocorrelation(data)}


@reproduces("STRD-NUMACC1", "STRD-MICHELSO", "STRD-MAVRO")
def listed(inputs: Inputs) -> Mapping[str, Any]:
    return summary(inputs["data"])


@reproduces("STRD-NUMACC3")
def repeated_in_millions(inputs: Inputs) -> Mapping[str, Any]:
    return summary([1000000.2, *[1000000.1, 1000000.3] * 500])


# the recomputed 0.10000000056 is what binary floats make of the data; readings are decimal, and give 0.1
@reproduces("STRD-NUMACC4", without={"computed.sd": "an artefact of binary floats"})
def repeated_in_ten_millions(inputs: Inputs) -> Mapping[str, Any]:
    return summary([10000000.2, *[10000000.1, 10000000.3] * 500])
