"""The quantities benchcheck reads, the words people write their units with, and the prefixes each may carry.

A suffix such as "kohm", "kΩ", "k" or "kilohms" is looked up in one table per quantity, so that reading a
value costs microseconds. The case of a leading m or M counts (milli, mega); that of other letters does not.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from benchcheck.errors import QuantityError, close_match

__all__ = ["QuantityUnit", "Suffix", "UnitWords", "find_suffix", "shown", "unit_words"]


class QuantityUnit(StrEnum):
    """The unit a quantity is kept in: SI, so that no factor hides anywhere. Members are plain strings."""

    OHM = "ohm"
    VOLT = "V"
    AMPERE = "A"
    FARAD = "F"
    HENRY = "H"
    CELSIUS = "degC"
    SECOND = "s"
    HERTZ = "Hz"
    WATT = "W"
    RATIO = "1"
    PER_KELVIN = "1/K"
    TEXT = "text"
    YES_NO = "yes/no"


@dataclass(frozen=True, slots=True)
class Suffix:
    """What stands behind a number: a power of ten, and a factor for the few units that are none."""

    exponent: int
    factor: float = 1.0
    is_unit: bool = True  # False for a bare prefix such as "k"


@dataclass(frozen=True, slots=True)
class UnitWords:
    """How one quantity is written: its name, symbols, prefixes and examples for messages."""

    unit: QuantityUnit
    quantity: str  # "a resistance"
    plural: str  # "ohms"
    symbol: str  # as people read it
    ascii_symbol: str  # as programs and ids hold it
    prefixes: str  # prefix letters allowed, "" excluded
    examples: str  # for messages
    point_letters: str  # letters that stand at the decimal point with no prefix (IEC 60062)
    suffixes: dict[str, Suffix]


PREFIX_EXPONENTS = {"p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
PREFIX_WORDS = {"p": "pico", "n": "nano", "u": "micro", "m": "milli", "k": "kilo", "M": "mega", "G": "giga"}
#: one spelling for each sign that comes in several: micro, ohm, degree, minus, spaces that do not break.
SIGNS = str.maketrans(
    {
        "µ": "u",
        "μ": "u",
        "\u2126": "Ω",
        "℃": "°C",
        "º": "°",
        "\u2212": "-",
        "\u2013": "-",
        "\u2014": "-",
        "\u00a0": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\t": " ",
    }
)


def shown(text: str) -> str:
    """Return the text quoted for a message: cut at 40 characters, nothing unprintable let through.

    >>> shown("5 volts")
    '"5 volts"'
    """
    cut = text if len(text) <= 40 else text[:39] + "…"
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04x}" for sign in cut) + '"'


def _key(suffix: str) -> str:
    """Return the form suffixes are looked up in: no spaces, lower case but for a leading m, M or L.

    L is milliohm in IEC 60062, but a small l is too easily the digit 1 to be taken for it.
    """
    suffix = suffix.replace(" ", "")
    return suffix[:1] + suffix[1:].casefold() if suffix[:1] in "mML" else suffix.casefold()


def _suffixes(prefixes: str, names: tuple[str, ...], *, bare: bool) -> dict[str, Suffix]:
    """Return every spelling of prefix and name; `bare` lets a prefix stand alone, as in "4.7k"."""
    table: dict[str, Suffix] = {}
    for letter in ("", *prefixes):
        exponent = PREFIX_EXPONENTS[letter]
        words = (letter, PREFIX_WORDS[letter]) if letter in PREFIX_WORDS else (letter,)
        for word in words:
            table |= {_key(word + name): Suffix(exponent) for name in names}
            if len(word) > 1:  # "Megaohm" at the start of a sentence is still mega
                table |= {_key(word.capitalize() + name): Suffix(exponent) for name in names}
        if bare and letter:
            table[_key(letter)] = Suffix(exponent, is_unit=False)
    return table


def _words(
    unit: QuantityUnit,
    quantity: str,
    symbol: str,
    prefixes: str,
    names: tuple[str, ...],
    examples: str,
    *,
    ascii_symbol: str | None = None,
    point_letters: str = "",
    bare: bool = True,
    more: dict[str, Suffix] | None = None,
) -> UnitWords:
    table = _suffixes(prefixes, names, bare=bare) | (more or {})
    return UnitWords(
        unit,
        quantity,
        names[1],
        symbol,
        unit.value if ascii_symbol is None else ascii_symbol,
        prefixes,
        examples,
        point_letters,
        table,
    )


_PER_KELVIN = {
    f"{head}/{tail}": Suffix(exponent)
    for head, exponent in (("ppm", -6), ("%", -2), ("", 0))
    for tail in ("k", "kelvin", "°c", "degc", "c")
}

#: quantity unit -> how it is written. The second name of each is the plural used in messages.
UNITS: dict[str, UnitWords] = {
    words.unit.value: words
    for words in (
        _words(
            QuantityUnit.OHM, "a resistance", "Ω", "numkMGT", ("ohm", "ohms", "Ω", "r"),
            '"4.7 kohm", "4k7" or "47R"', point_letters="RrΩ",
            more={"L": Suffix(-3, is_unit=False), "megohm": Suffix(6), "Megohm": Suffix(6),
                  "megohms": Suffix(6), "Megohms": Suffix(6), "kilohm": Suffix(3), "kilohms": Suffix(3)},
        ),
        _words(QuantityUnit.VOLT, "a voltage", "V", "numk", ("v", "volts", "volt"),
               '"5 V", "532 mV" or "5V1"', point_letters="Vv"),
        _words(QuantityUnit.AMPERE, "a current", "A", "pnumk",
               ("a", "amperes", "ampere", "amp", "amps"), '"1.5 A", "45 mA" or "60 uA"', point_letters="Aa"),
        _words(QuantityUnit.FARAD, "a capacitance", "F", "pnum", ("f", "farads", "farad"),
               '"220 uF", "4n7" or "10 pF"', point_letters="F"),
        _words(QuantityUnit.HENRY, "an inductance", "H", "pnum", ("h", "henries", "henry", "henrys"),
               '"22 uH" or "4u7"', point_letters="H"),
        _words(QuantityUnit.CELSIUS, "a temperature", "°C", "",
               ("degc", "degrees Celsius", "°c", "c", "celsius", "degreescelsius", "degreesc", "deg.c"),
               '"23 degC"', bare=False),
        _words(QuantityUnit.SECOND, "a time", "s", "num", ("s", "seconds", "second", "sec"),
               '"20 ms", "1.5 s" or "10 min"', bare=False,
               more={"min": Suffix(0, 60.0), "minute": Suffix(0, 60.0), "minutes": Suffix(0, 60.0),
                     "h": Suffix(0, 3600.0), "hour": Suffix(0, 3600.0), "hours": Suffix(0, 3600.0)}),
        _words(QuantityUnit.HERTZ, "a frequency", "Hz", "kMG", ("hz", "hertz"), '"120 Hz" or "100 kHz"'),
        _words(QuantityUnit.WATT, "a power", "W", "numk", ("w", "watts", "watt"), '"0.25 W" or "500 mW"',
               point_letters="W"),
        _words(QuantityUnit.RATIO, "a ratio", "", "", ("", "plain numbers"), '"0.02", "2 %" or "150"',
               ascii_symbol="", bare=False,
               more={"%": Suffix(-2), "percent": Suffix(-2), "ppm": Suffix(-6)}),
        _words(QuantityUnit.PER_KELVIN, "a temperature coefficient", "/K", "", ("/k", "per kelvin"),
               '"100 ppm/K"', ascii_symbol="/K", bare=False, more=_PER_KELVIN),
    )
}  # fmt: skip


def unit_words(quantity_unit: str) -> UnitWords:
    """Return how a quantity is written; QuantityError when there is no such quantity unit."""
    words = UNITS.get(quantity_unit)
    if words is None:
        near = close_match(quantity_unit[:40], UNITS)
        raise QuantityError(f"{shown(quantity_unit)} is not a quantity unit; allowed are {', '.join(UNITS)}{near}")
    return words


def find_suffix(words: UnitWords, suffix: str) -> Suffix | None:
    """Return what a suffix means for a quantity, or None when it is not one of its own."""
    return words.suffixes.get(_key(suffix))
