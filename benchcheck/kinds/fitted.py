"""What the eyes must see of a part fitted on this visit: which way round, rated high enough, from whom.

The rated voltage must exceed what stands across the part by a margin; no meter shows a rating.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchcheck.bench.functions import Function
from benchcheck.kinds.build import check
from benchcheck.kinds.check import Check, Limits, Phase, Probe
from benchcheck.kinds.part import Part, Surroundings
from benchcheck.kinds.paths import voltage_across
from benchcheck.quantity import format_value

__all__ = ["fitted_checks", "required_rating_v"]

_ANSWERS = ("yes", "no")
_BY_PHOTO = "Compare with the photo of the board as found; board printing can be wrong."
_BY_BAG = "Where the part carries no such print, the bag it came from or the invoice tells."
#: rated over working voltage. Common practice, no source: aluminium a fifth more, tantalum twice.
_MARGINS = {"electrolytic": 1.2, "tantalum": 2.0, "capacitor": 1.0}
_VALUE_UNITS = {"resistor": "ohm", "capacitor": "F", "electrolytic": "F", "tantalum": "F", "inductor": "H"}
_CURRENT_KEYS = {"fuse": "rated_current", "ptc": "hold_current"}


def fitted_checks(part: Part, around: Surroundings) -> tuple[Check, ...]:
    """Return `orientation`, `rating` where one is known, and `maker`, `series`, `lot` where they are named."""
    return tuple(_visuals(part, around))


def _visuals(part: Part, around: Surroundings) -> Iterator[Check]:
    yield _visual(part, "orientation", *_orientation(part))
    rating = _rating(part, around)
    if rating is not None:
        yield _visual(part, "rating", *rating)
    fitted = part.fitted
    if fitted is None:
        return
    named = (("maker", fitted.maker), ("series", fitted.series), ("lot", fitted.lot or part.lot))
    for measurand, name in named:
        if name:
            question = f"Is the {measurand} on the part or its bag {name}? If not, which is it?"
            yield _visual(part, measurand, question, "the spec", name)


def _visual(part: Part, measurand: str, question: str, origin: str, name: str = "") -> Check:
    return check(
        part.designator,
        measurand,
        Function.VISUAL,
        Phase.VISUAL,
        Limits(origin=origin),
        Probe(f"look at {part.designator} through a loupe"),
        why=question,
        workaround=_BY_PHOTO if measurand == "orientation" else _BY_BAG,
        answers=(*_ANSWERS, name) if name else _ANSWERS,
    )


def _orientation(part: Part) -> tuple[str, str]:
    name, nets = part.designator, part.pins
    if getattr(part, "bipolar", False) or not nets or next(iter(nets)).isdecimal():
        return f"Does {name} sit on its own pads, and does its print say {_print_of(part)}?", "the spec"
    if "anode" in nets:
        return f"Does the cathode mark of {name} (band, flat or short lead) face {nets['cathode']}?", "the spec"
    marked = getattr(part, "marked", None)
    if isinstance(marked, str) and marked in nets:
        sign = "minus stripe" if marked == "minus" else "plus bar"
        return f"Does the {sign} of {name} face {nets[marked]}?", "the spec"
    order = ", ".join(f"{pin} to {net}" for pin, net in nets.items())
    return f"By its maker's pin order, does {name} sit with {order}?", "the spec"


def _print_of(part: Part) -> str:
    value, unit = getattr(part, "value", None), _VALUE_UNITS.get(part.kind)
    return "what the parts list says" if value is None or unit is None else format_value(value, unit)


def required_rating_v(part: Part, around: Surroundings) -> tuple[float, str] | None:
    """Return the least rated voltage in volt a capacitor must carry, and why; None where nothing is known.

    The voltage across it with the margin of its kind; the original's rating serves where it lies between the
    two, and where no voltage is known.
    """
    margin, rated = _MARGINS.get(part.kind), getattr(part, "rated_voltage", None)
    if margin is None:
        return None
    pins = tuple(part.pins)
    across = voltage_across(part, (pins[0], pins[1]), around) if len(pins) == 2 else None
    if across is None:
        return None if rated is None else (rated, "the spec: the rating of the part in the plan")
    working = abs(across)
    if rated is not None and working <= rated < margin * working:
        return (
            rated,
            f"the spec: the rating of the part in the plan, above the {format_value(working, 'V')} across it",
        )
    return margin * working, f"computed: {format_value(working, 'V')} across it, times {margin:g} (common practice)"


def _rating(part: Part, around: Surroundings) -> tuple[str, str] | None:
    key = _CURRENT_KEYS.get(part.kind)
    current = getattr(part, key) if key else None
    if current is not None:
        return f"Is the rating printed on {part.designator} {format_value(current, 'A')}?", "the spec"
    required = required_rating_v(part, around)
    new = part.fitted.rated_voltage if part.fitted is not None else None
    if required is None:
        if new is None:
            return None
        return f"Is the rating printed on {part.designator} {format_value(new, 'V')}?", "the spec"
    least, origin = required
    short = f" The spec says {format_value(new, 'V')}: too little." if new is not None and new < least else ""
    return f"Is the rating printed on {part.designator} at least {format_value(least, 'V')}?{short}", origin
