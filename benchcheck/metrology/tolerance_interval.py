"""Statistical intervals from a few readings: what share of a population lies where (ISO 16269-6).

A tolerance interval contains a share (content) of a normal population with a stated confidence, a prediction
interval the next unit with a stated probability. Factors multiply the sample's standard deviation and are
exact; the textbook approximations are there by name to reproduce older tables. With one to five readings the
factors are useless (n = 2: 37) unless something is known about the spread beforehand: see `small_sample`.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import special

from benchcheck.errors import MetrologyError
from benchcheck.metrology.distribution import check_level, coverage_factor, normal_quantile, student_quantile

__all__ = [
    "distribution_free_confidence",
    "distribution_free_sample_size",
    "guenther_factor",
    "howe_factor",
    "natrella_factor",
    "one_sided_factor",
    "prediction_factor",
    "two_sided_factor",
]

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)


def _degrees(n: int, degrees_of_freedom: float | None, least: int = 2) -> float:
    """Return the degrees of freedom of the standard deviation, n - 1 unless it comes from elsewhere."""
    if degrees_of_freedom is None:
        if n < least:
            raise MetrologyError(
                f"sample of {n}: {least} or more are needed for a standard deviation; "
                "with fewer, give the degrees of freedom of a spread known beforehand"
            )
        return float(n - 1)
    if n < 1:
        raise MetrologyError(f"sample of {n}: 1 or more readings are needed")
    if not degrees_of_freedom >= 1.0:
        raise MetrologyError(f"degrees of freedom {degrees_of_freedom!r}: 1 or more are needed")
    return degrees_of_freedom


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function crosses zero, to the last digits.

    The first bracket is moved by its own growing width; a `low` above 0 stays above 0.
    """
    positive = low > 0.0
    while function(high) < 0.0:
        low, high = high, high + 2.0 * (high - low)
    while function(low) > 0.0:
        low, high = 0.5 * low if positive else low - 2.0 * (high - low), low
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-15 * max(abs(low), abs(high)), rtol=8.9e-16, maxiter=200))


@functools.lru_cache(maxsize=256)
def one_sided_factor(n: int, content: float, confidence: float, *, degrees_of_freedom: float | None = None) -> float:
    """Return k so that mean + k s exceeds a share `content` of the population with this confidence.

    Exact, from the noncentral t (ISO 16269-6, unknown standard deviation). `degrees_of_freedom` are those of
    s where it does not come from these n readings alone; infinity for a known standard deviation.

    >>> round(one_sided_factor(10, 0.95, 0.95), 3)
    2.911
    """
    check_level(content, "content")
    check_level(confidence, "confidence")
    nu = _degrees(n, degrees_of_freedom)
    shift = math.sqrt(n) * normal_quantile(content)
    if math.isinf(nu):
        return (shift + normal_quantile(confidence)) / math.sqrt(n)
    factor = float(special.nctdtrit(nu, shift, confidence)) / math.sqrt(n)
    if not math.isfinite(factor):
        raise MetrologyError(
            f"content {content!r} with confidence {confidence!r} from {n}: beyond what can be computed"
        )
    return factor


def _chi_nodes(nu: float) -> tuple[Array, Array]:
    """Return nodes of s / sigma and weights that average over its distribution (chi over sqrt nu)."""
    half = 0.5 * nu
    low, high = (float(special.gammaincinv(half, p)) for p in (1e-17, 0.5))
    top = float(special.gammainccinv(half, 1e-17))
    edges = np.concatenate(
        [np.sqrt(np.linspace(0, 1, 5))[:-1] * (math.sqrt(high) - math.sqrt(low)) + math.sqrt(low),
         np.linspace(math.sqrt(high), math.sqrt(top), 5)]
    )  # fmt: skip
    centers, halves = 0.5 * (edges[1:] + edges[:-1]), 0.5 * np.diff(edges)
    root = (centers[:, None] + halves[:, None] * _NODES).ravel()
    density = np.exp((nu - 1.0) * np.log(root) - root**2 + math.log(2.0) - math.lgamma(half))
    weight = density * (halves[:, None] * _WEIGHTS).ravel()
    return root / math.sqrt(half), weight / np.sum(weight)


@functools.lru_cache(maxsize=256)
def two_sided_factor(n: int, content: float, confidence: float, *, degrees_of_freedom: float | None = None) -> float:
    """Return k so that mean - k s to mean + k s contains a share `content` with this confidence.

    Exact by quadrature over the mean (ISO 16269-6 annex; Howe's and Guenther's formulas approximate it).
    `degrees_of_freedom` are those of s where it does not come from these n readings alone.

    >>> round(two_sided_factor(10, 0.95, 0.95), 3)
    3.393
    """
    check_level(content, "content")
    check_level(confidence, "confidence")
    nu = _degrees(n, degrees_of_freedom)
    # the mean is off by z / sqrt(n); by symmetry half of it is enough
    z = 0.5 * (_NODES + 1.0) * 9.0
    weight = _WEIGHTS * np.exp(-0.5 * z * z)
    weight /= np.sum(weight)
    reach = _half_widths(z / math.sqrt(n), content)
    if math.isinf(nu):
        return _known_spread_factor(n, content, confidence)

    def short(k: float) -> float:
        return float(np.dot(weight, special.gammaincc(0.5 * nu, 0.5 * nu * (reach / k) ** 2))) - confidence

    return _root(short, 1.0, 4.0)


def _known_spread_factor(n: int, content: float, confidence: float) -> float:
    """Return k for a known standard deviation: only the mean is in doubt."""
    off = np.array([-normal_quantile(0.5 * (1.0 - confidence)) / math.sqrt(n)])
    return float(_half_widths(off, content)[0])


def _half_widths(offset: Array, content: float) -> Array:
    """Return r with Phi(offset + r) - Phi(offset - r) = content, by Newton's method."""
    r = offset + normal_quantile(0.5 + 0.5 * content)
    for _ in range(60):
        # the share left outside keeps its digits where the share inside is near 1
        outside = special.ndtr(-(offset + r)) + special.ndtr(offset - r)
        slope = (np.exp(-0.5 * (offset + r) ** 2) + np.exp(-0.5 * (offset - r) ** 2)) / math.sqrt(2 * math.pi)
        step = (outside - (1.0 - content)) / slope
        r = r + step
        if np.all(np.abs(step) <= 1e-15 * r):
            break
    return np.asarray(r, dtype=np.float64)


def howe_factor(n: int, content: float, confidence: float) -> float:
    """Return Howe's approximation of the two-sided factor (Howe 1969; NIST handbook 7.2.6.3).

    Too large below n = 5: use `two_sided_factor`.
    """
    check_level(content, "content")
    check_level(confidence, "confidence")
    nu = _degrees(n, None)
    z = normal_quantile(0.5 + 0.5 * content)
    chi2 = 2.0 * float(special.gammaincinv(0.5 * nu, 1.0 - confidence))
    return z * math.sqrt(nu * (1.0 + 1.0 / n) / chi2)


def guenther_factor(n: int, content: float, confidence: float) -> float:
    """Return Howe's factor with Guenther's correction (NIST handbook 7.2.6.3)."""
    howe = howe_factor(n, content, confidence)
    chi2 = 2.0 * float(special.gammaincinv(0.5 * (n - 1), 1.0 - confidence))
    return howe * math.sqrt(1.0 + (n - 3.0 - chi2) / (2.0 * (n + 1.0) ** 2))


def natrella_factor(n: int, content: float, confidence: float) -> float:
    """Return Natrella's approximation of the one-sided factor (NIST handbook 7.2.6.3)."""
    check_level(content, "content")
    check_level(confidence, "confidence")
    nu = _degrees(n, None)
    z_content, z_confidence = normal_quantile(content), normal_quantile(confidence)
    a = 1.0 - z_confidence**2 / (2.0 * nu)
    b = z_content**2 - z_confidence**2 / n
    if a <= 0.0 or z_content**2 < a * b:
        raise MetrologyError(f"sample of {n}: too small for Natrella's approximation; use one_sided_factor")
    return (z_content + math.sqrt(z_content**2 - a * b)) / a


def prediction_factor(
    n: int, level: float, *, degrees_of_freedom: float | None = None, one_sided: bool = False
) -> float:
    """Return k so that mean ± k s holds the next single unit with probability `level`.

    >>> round(prediction_factor(5, 0.95), 1)
    3.0
    """
    check_level(level)
    nu = _degrees(n, degrees_of_freedom)
    if one_sided:
        t = student_quantile(level, nu) if nu >= 1.0 else math.nan
    else:
        t = coverage_factor(level, nu, truncate=False)
    return t * math.sqrt(1.0 + 1.0 / n)


def distribution_free_confidence(n: int, content: float) -> float:
    """Return the confidence that least to greatest of n readings contain a share `content` (ISO 16269-6).

    No distribution is assumed.

    >>> round(distribution_free_confidence(93, 0.95), 3)
    0.95
    """
    check_level(content, "content")
    if n < 2:
        raise MetrologyError(f"sample of {n}: 2 or more are needed to have a least and a greatest")
    return 1.0 - n * content ** (n - 1) + (n - 1) * content**n


def distribution_free_sample_size(content: float, confidence: float) -> int:
    """Return how many readings make least to greatest contain `content` with this confidence.

    >>> distribution_free_sample_size(0.95, 0.95)
    93
    """
    check_level(content, "content")
    check_level(confidence, "confidence")
    low, high = 1, 2
    while distribution_free_confidence(high, content) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if distribution_free_confidence(middle, content) >= confidence else (middle, high)
    return high
