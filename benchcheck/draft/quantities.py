"""Values out of a parts list's cells: `4k7 1%`, `100n/50V X7R`, `104K`, `1H473J`, `10 MFD`, `39D`.

What the cell says in so many words is taken; a code that could mean two values is taken only where the other one
is no value such parts are made in, and said as a question either way.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from benchcheck.errors import QuantityError
from benchcheck.kinds.preferred import usual_tolerance
from benchcheck.quantity import (
    format_value,
    from_capacitor_code,
    from_eia96,
    from_smd_code,
    parse_tolerance,
    parse_value,
)

__all__ = ["Found", "capacitance", "figure", "inductance", "resistance", "tolerance_in", "voltage_in", "written"]

#: two signs for the rated voltage before the code of a film or ceramic capacitor, as EIA and JIS parts carry them
#: (from memory).
RATED = {
    "0E": 2.5, "0G": 4.0, "0J": 6.3, "1A": 10.0, "1C": 16.0, "1D": 20.0, "1E": 25.0, "1V": 35.0, "1H": 50.0,
    "1J": 63.0, "1K": 80.0, "2A": 100.0, "2C": 160.0, "2D": 200.0, "2E": 250.0, "2G": 400.0, "2J": 630.0,
}  # fmt: skip
#: sizes of chip parts, in hundredths of an inch: no values.
SIZES = {"0201", "0402", "0603", "0805", "1008", "1206", "1210", "1806", "1812", "2010", "2220", "2512"}
_POWER = re.compile(r"[0-9]+/[0-9]+\s*W(?:att)?\b|\b[0-9.,]+\s*m?W\b", re.IGNORECASE)
_VOLTAGE = re.compile(
    r"(?<![A-Za-z0-9.,])([0-9]{1,4}(?:[.,][0-9]{1,2})?)\s*(?:V|volts?|WV)(?:\.?DC)?(?![A-Za-z0-9])", re.I
)
_TOLERANCE = re.compile(
    r"(?:±|\+ ?/ ?-|\+-)\s*[0-9.,]+\s*(?:%|p[Ff])|-\s*[0-9.,]+\s*%?\s*/?\s*\+\s*[0-9.,]+\s*%|(?<![0-9.,])[0-9.,]+\s*%"
)
_OLD_MICRO = re.compile(r"([0-9.,]+)\s*(m?mfd|uuf)\b", re.IGNORECASE)
LARGEST_FARAD, LARGEST_HENRY = 0.5, 100.0


@dataclass(frozen=True, slots=True)
class Found:
    """A value in SI with the text that goes into a spec; tolerance and rated voltage where the code carries them."""

    value: float
    text: str
    tolerance: str = ""
    rated_voltage: float | None = None
    question: str = ""


def written(value: float, quantity_unit: str) -> str:
    """Return a value as text that reads back as exactly this float."""
    short = format_value(value, quantity_unit, ascii=True)
    return short if parse_value(short, quantity_unit) == value else f"{value!r} {quantity_unit}"


def candidates(cell: str) -> Iterator[str]:
    """Yield what in a cell may be one value: all of it, neighbouring pieces together, each piece."""
    cell = _TOLERANCE.sub(" ", _POWER.sub(" ", cell)).strip()
    yield cell
    pieces = [piece for piece in re.split(r"[\s;|/]+|,(?![0-9])", cell) if piece]
    for first, second in pairwise(pieces):
        if re.fullmatch(r"[0-9.,]+", first) and not second[:1].isdigit():
            yield f"{first} {second}"
    yield from pieces


def _first(cell: str, read: Callable[[str], Found | None]) -> Found | None:
    for candidate in candidates(cell):
        if candidate and candidate not in SIZES and len(candidate) <= 40:
            try:
                found = read(candidate)
            except QuantityError:
                continue
            if found is not None:
                return found
    return None


def _tried(read: Callable[[], Found | None]) -> Found | None:
    try:
        return read()
    except QuantityError:
        return None


def _with_letter(text: str, quantity_unit: str) -> Found | None:
    """Read a value with the tolerance letter of IEC 60062 behind it: `4K7J`."""
    value = parse_value(text[:-1], quantity_unit)
    if not text[-1:].isupper() or text[:-1].isdigit():
        return None
    parse_tolerance(text[-1], quantity_unit, value)
    return Found(value, written(value, quantity_unit), text[-1])


def resistance(cell: str) -> Found | None:
    """Return the resistance a cell states, in ohm; None where it states none.

    >>> resistance("4k7 1% 0603").text, resistance("103").value, resistance("39D").tolerance
    ('4.7 kohm', 10000.0, '1 %')
    """
    return _first(cell, _resistance)


def _resistance(text: str) -> Found | None:
    if re.fullmatch("[0-9]{3,4}", text):
        return _bare_resistance(text)
    plain = _tried(lambda: _sound(parse_value(text, "ohm"), "ohm"))
    if plain is not None:
        return plain
    if re.fullmatch("[0-9]+[Ee]", text):  # 47 ohm to some, 3.01 Mohm on a chip
        return None
    lettered = _tried(lambda: _with_letter(text, "ohm"))
    if lettered is not None:
        return lettered
    marking = from_eia96(text)
    return Found(marking.value, written(marking.value, "ohm"), "1 %", question=f"{text} was read as an EIA-96 code")


def _sound(value: float, quantity_unit: str) -> Found | None:
    return Found(value, written(value, quantity_unit)) if value >= 0 else None


def _bare_resistance(text: str) -> Found:
    """Read three or four digits: ohms as they stand, or figures and exponent as on a chip."""
    plain, code = float(text), from_smd_code(text).value
    as_code = usual_tolerance(plain) is None and usual_tolerance(code) is not None
    value, other = (code, plain) if as_code else (plain, code)
    if value == other:
        return Found(value, written(value, "ohm"))
    question = f"{text} was read as {written(value, 'ohm')}; or is it {written(other, 'ohm')}?"
    return Found(value, written(value, "ohm"), question=question)


def capacitance(cell: str) -> Found | None:
    """Return the capacitance a cell states, in farad; None where it states none.

    >>> capacitance("100n/50V X7R").text, capacitance("1H473J").rated_voltage, capacitance("10 MFD").text
    ('100 nF', 50.0, '10 uF')
    """
    old = _OLD_MICRO.search(cell)
    if old is not None:
        unit = "uF" if old[2].casefold() == "mfd" else "pF"
        found = _tried(lambda: _sound(parse_value(f"{old[1]} {unit}", "F"), "F"))
        if found is not None:
            return Found(found.value, found.text, question=f"{old[0]} was read as {found.text}")
    return _first(_VOLTAGE.sub(" ", cell), _capacitance)


def _capacitance(text: str) -> Found | None:
    if re.fullmatch(r"[0-9]*[.,]?[0-9]+", text):
        return _bare_capacitance(text)
    plain = _tried(lambda: _sound(parse_value(text, "F"), "F"))
    if plain is not None and 0 < plain.value < LARGEST_FARAD:
        milli = "millifarads, or microfarads written the old way?" if re.search("[0-9 ]mF?$", text) else ""
        return Found(plain.value, plain.text, question=milli and f"{text}: {milli}")
    lettered = None if plain is not None else _tried(lambda: _with_letter(text, "F"))
    if lettered is not None and lettered.value < LARGEST_FARAD:
        return lettered
    return _coded(text)


def _coded(text: str) -> Found | None:
    """Read `104K`, `4R7C` and, with the rated voltage before it, `1H473J`."""
    rated = re.fullmatch(r"([0-2][A-Z])([0-9]{3}|[0-9]*R[0-9]+)([A-Z]?)", text)
    volts = RATED.get(rated[1]) if rated else None
    marking = from_capacitor_code(rated[2] + rated[3] if rated and volts else text)
    letter = text[-1] if marking.tolerance is not None else ""
    return Found(marking.value, written(marking.value, "F"), letter, volts) if marking.value > 0 else None


def _bare_capacitance(text: str) -> Found | None:
    """Read digits without a unit: a code of three digits, or microfarads below one as old lists write them."""
    if re.fullmatch("[1-9][0-9][1-9]", text):
        value = from_capacitor_code(text).value
        return Found(value, written(value, "F"), question=f"{text} was read as a code, {written(value, 'F')}")
    number = float(text.replace(",", ".")) if text.count(".") + text.count(",") <= 1 else 0.0
    if 0 < number < 1:
        value = parse_value(f"{text} uF", "F")
        return Found(value, written(value, "F"), question=f"{text} was read as microfarads")
    return None


def inductance(cell: str) -> Found | None:
    """Return the inductance a cell states, in henry; None where it states none.

    >>> inductance("22uH 1A").text, inductance("101K").text
    ('22 uH', '100 uH')
    """
    return _first(cell, _inductance)


def _inductance(text: str) -> Found | None:
    code = re.fullmatch("([1-9][0-9])([0-6])([JKMN]?)", text)
    if code:  # two figures and an exponent, in microhenries (EIA; common practice)
        value = float(f"{code[1]}e{int(code[2]) - 6}")
        return Found(
            value, written(value, "H"), code[3], question=f"{text} was read as a code, {written(value, 'H')}"
        )
    if re.fullmatch("[0-9.,]+", text):
        return None
    found = _sound(parse_value(text, "H"), "H")
    return found if found and 0 < found.value < LARGEST_HENRY else None


def figure(cell: str, quantity_unit: str, *, bare: bool = False) -> Found | None:
    """Return the first value in a cell that is written with this quantity unit; `bare` lets the unit be missing."""

    def read(text: str) -> Found | None:
        if not bare and re.fullmatch("[0-9.,]+", text):
            return None
        small = quantity_unit in ("A", "V") and text.isupper()  # lists in capitals write MA for milliampere
        return _sound(parse_value(text.casefold() if small else text, quantity_unit), quantity_unit)

    return _first(cell, read)


def tolerance_in(cell: str, quantity_unit: str, nominal: float, *, column: bool = False) -> str:
    """Return the tolerance a cell states, as a spec takes it, or nothing; `column`: the cell holds nothing else.

    >>> tolerance_in("10k ±1%", "ohm", 1e4), tolerance_in("J", "ohm", 1e4, column=True)
    ('±1%', 'J')
    """
    match = _TOLERANCE.search(cell)
    for text in (match[0] if match else "", cell.strip() if column else ""):
        try:
            parse_tolerance(text, quantity_unit, nominal)
        except QuantityError:
            continue
        return text
    return ""


def voltage_in(cell: str) -> float | None:
    """Return the first voltage a cell states, in volt.

    >>> voltage_in("220u 16V"), voltage_in("BZX84C5V1")
    (16.0, None)
    """
    match = _VOLTAGE.search(cell)
    if match is None:
        return None
    value = parse_value(f"{match[1]} V", "V")
    return value if value > 0 else None
