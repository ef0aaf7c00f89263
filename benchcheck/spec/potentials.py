"""Which DC voltage each net has to ground under power, as far as nets, rails and supplies say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

__all__ = ["potentials"]


def potentials(
    ground: str | None, stated: Mapping[str, float], poles: Iterable[tuple[str, str, float]]
) -> dict[str, float]:
    """Return the voltage to ground, in volt, of every net that can be known.

    `stated` are voltages of nets, which come first; `poles` are (plus, minus, voltage from plus to minus in
    volt), the earlier ones first. A rail that stands on another is worked out from it.
    """
    known: dict[str, float] = {} if ground is None else {ground: 0.0}
    known |= stated
    pending = list(poles)
    while pending:
        left = []
        for plus, minus, voltage in pending:
            if minus in known:
                known.setdefault(plus, known[minus] + voltage)
            elif plus in known:
                known[minus] = known[plus] - voltage
            else:
                left.append((plus, minus, voltage))
        if len(left) == len(pending):
            break
        pending = left
    return known
