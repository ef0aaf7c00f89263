"""ESR limits of electrolytics and tantalums: loss tangent over 2 pi f C, at the 120 Hz it is specified for.

ESR falls with frequency, so what an ESR meter reads near 100 kHz lies below a good part's 120 Hz maximum:
above the limit convicts, below it proves nothing. Where not even a series is known a wide guide is used; the
charts people pin over the bench differ by up to 9x, and it lies above all of them.
"""

from __future__ import annotations

import math

from benchcheck.kinds.check import Limits

__all__ = ["esr_limits", "usual_loss_tangent"]

_HERTZ = 120.0
Table = tuple[tuple[float, float], ...]
#: rated voltage in volt, maximum loss tangent at 120 Hz and 20 degC.
_GENERAL: Table = (  # Lelon RGA, general purpose, 105 degC
    (6.3, 0.23), (10, 0.20), (16, 0.16), (25, 0.14), (35, 0.12), (50, 0.10), (63, 0.09), (100, 0.08),
    (160, 0.12), (200, 0.14), (250, 0.17), (350, 0.20), (400, 0.25), (450, 0.25),
)  # fmt: skip
_LOW: Table = (  # Rubycon ZL, low impedance, 105 degC
    (6.3, 0.22), (10, 0.19), (16, 0.16), (25, 0.14), (35, 0.12), (50, 0.10), (63, 0.09), (100, 0.08),
)  # fmt: skip
_COMPACT: Table = (  # Nichicon RS, compact, 85 degC
    (6.3, 0.28), (10, 0.24), (16, 0.20), (25, 0.16), (35, 0.14), (50, 0.12), (63, 0.10), (100, 0.08),
    (160, 0.20), (400, 0.25),
)  # fmt: skip
_TABLES: dict[str, tuple[Table, str]] = {
    "general-purpose": (_GENERAL, "data sheets: Lelon RGA"),
    "low-impedance": (_LOW, "data sheets: Rubycon ZL"),
    "compact": (_COMPACT, "data sheets: Nichicon RS"),
}
#: from memory, flat over the rated voltage.
_FLAT = {"polymer": 0.12, "manganese-dioxide": 0.08}
_GUIDE_TANTALUM = 0.10  # from memory


def usual_loss_tangent(technology: str, rated_voltage: float | None, value_farad: float) -> tuple[float, str]:
    """Return the maximum loss tangent at 120 Hz for a technology, and where it comes from.

    Three makers add 0.02 for every 1000 uF above 1000 uF; a part of a step counts as a whole one, the widest
    reading of that rule. Between two rated voltages, and without one, the higher loss tangent is taken.
    """
    if technology in _FLAT:
        return _FLAT[technology], "common practice, from memory"
    table, source = _TABLES[technology]
    above = max(0, math.ceil((value_farad * 1e6 - 1000.0) / 1000.0 - 1e-9))
    return _of_rating(table, rated_voltage) + 0.02 * above, source


def _of_rating(table: Table, rated_voltage: float | None) -> float:
    if rated_voltage is None:
        return max(tangent for _, tangent in table)
    below = [tangent for volts, tangent in table if volts <= rated_voltage]
    beyond = [tangent for volts, tangent in table if volts >= rated_voltage]
    return max([*below[-1:], *beyond[:1]])


def esr_limits(
    value_farad: float, loss_tangent: float | None, technology: str, rated_voltage: float | None, *, tantalum: bool
) -> Limits:
    """Return the largest ESR in ohm of a part, with its test frequency and its source in the origin."""
    if loss_tangent is not None:
        tangent, origin = loss_tangent, "computed: loss tangent of the spec"
    elif technology:
        tangent, origin = usual_loss_tangent(technology, rated_voltage, value_farad)
    elif tantalum:
        tangent, origin = _GUIDE_TANTALUM, "common practice, no source (a guide; charts differ by up to 9x)"
    else:
        tangent, _ = usual_loss_tangent("compact", rated_voltage, value_farad)
        origin = "common practice (a guide from Nichicon RS; charts differ by up to 9x)"
    ohm = tangent / (2 * math.pi * _HERTZ * value_farad)
    return Limits(None, ohm, f"{origin}, tan delta {tangent:.2g} at 120 Hz over 2 pi f C")
