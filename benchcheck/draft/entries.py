"""One part of the list to the keys of its table, with a question for everything the list does not settle.

A key the kind cannot do without and nobody states leaves the table out: `missing` says what to find out.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchcheck.draft import quantities, semiconductors
from benchcheck.draft.classes import classify
from benchcheck.draft.partslist import Listed
from benchcheck.draft.references import letters_of
from benchcheck.errors import QuantityError
from benchcheck.quantity import parse_value

__all__ = ["Drafted", "drafted"]


@dataclass(slots=True)
class Drafted:
    """The keys of one table in order; `missing` says why there can be no table, `questions` what to look up."""

    part: Listed
    kind: str = ""
    keys: dict[str, object] = field(default_factory=dict)
    questions: list[str] = field(default_factory=list)
    missing: str = ""

    def ask(self, question: str) -> None:
        """Keep a question; an empty one is none."""
        if question:
            self.questions.append(question)


def drafted(part: Listed) -> Drafted:
    """Return what the list says of one part."""
    letters, words = part.letters or letters_of(part.designator), f"{part.words} {part.said('package').casefold()}"
    guess = classify(letters, words)
    draft = Drafted(part, guess.kind, missing=guess.reason)
    draft.ask(guess.question)
    if draft.kind == "transistor":
        _transistor(draft, words)
    elif draft.kind in ("capacitor", "electrolytic", "tantalum"):
        _capacitor(draft, words)
    if draft.kind in _KEYS:
        _KEYS[draft.kind](draft, words)
    if draft.kind and not draft.missing and part.cells.get("lot"):
        draft.keys["lot"] = part.cells["lot"]
    return draft


def _spread(draft: Drafted, found: quantities.Found, unit: str) -> None:
    """Add value and tolerance; the tolerance of its own column comes first, then the cell's, then the marking's."""
    draft.keys["value"] = found.text
    draft.ask(found.question)
    column = draft.part.said("tolerance")
    bare = f"{column} %" if re.fullmatch(r"[0-9]{1,2}(?:[.,][0-9]+)?", column) else column
    stated = [quantities.tolerance_in(bare, unit, found.value, column=True)]
    stated += [quantities.tolerance_in(draft.part.said(role), unit, found.value) for role in ("value", "description")]
    tolerance = next(filter(None, stated), "") or found.tolerance
    if tolerance:
        draft.keys["tolerance"] = tolerance


def _resistor(draft: Drafted, words: str) -> None:
    found = _stated(draft, quantities.resistance)
    if found is None:
        draft.missing = "which value?"
        return
    _spread(draft, found, "ohm")
    if found.value and "tolerance" not in draft.keys:
        draft.ask('which tolerance? without one the usual for the value is taken; tolerance = "1 %"')


def _stated(draft: Drafted, read: Callable[[str], quantities.Found | None]) -> quantities.Found | None:
    """Return the value its own column states, else one the description or the part number states."""
    for role in ("value", "description", "number"):
        found = read(draft.part.said(role))
        if found is not None:
            return found
    return None


def _capacitor(draft: Drafted, words: str) -> None:
    """Settle which sort it is, then value, tolerance and rated voltage."""
    found = _stated(draft, quantities.capacitance)
    if found is None:
        draft.missing = 'which value? such as "100 nF"; a bare number could be a code or picofarads'
        return
    if draft.kind == "capacitor":
        _which_capacitor(draft, words, found.value)
    _spread(draft, found, "F")
    cells = (draft.part.said("voltage"), draft.part.said("value"), draft.part.said("description"))
    volts = (
        next(filter(None, map(quantities.voltage_in, cells)), None) or _bare_volts(cells[0]) or found.rated_voltage
    )
    if volts:
        draft.keys["rated_voltage"] = quantities.written(volts, "V")
    elif draft.kind != "capacitor":
        draft.ask('which rated voltage? rated_voltage = "16 V"')
    if draft.kind != "capacitor":
        _polar(draft, words)


def _bare_volts(cell: str) -> float | None:
    try:
        return parse_value(cell, "V") or None
    except QuantityError:
        return None


_CERAMIC = re.compile(r"ceramic|\bcer\b|\bmlcc\b|\b(?:x[578][rst]|[cn][p0o]0g?|y5v|z5u)\b|\bc0g\b")
_FILM = re.compile(r"\bfilm\b|polyester|polyprop|mylar|\bmk[tps]\b|\bfkp\b|polystyrene")


def _which_capacitor(draft: Drafted, words: str, value: float) -> None:
    if _CERAMIC.search(words):
        draft.keys["technology"] = "ceramic"
    elif _FILM.search(words):
        draft.keys["technology"] = "film"
    elif value >= 10e-6:
        draft.kind = "electrolytic"
        draft.ask("an electrolytic, by its size? a ceramic is kind capacitor")
    elif value >= 1e-6:
        draft.ask("ceramic, film or electrolytic? the kind decides what is checked")


def _polar(draft: Drafted, words: str) -> None:
    if re.search(r"bi-?polar|non-?polar|\bnp\b", words):
        draft.keys["bipolar"] = True
    technology = {"low-impedance": r"low.(?:esr|impedance|z)\b", "polymer": r"polymer"}
    said = next((name for name, pattern in technology.items() if re.search(pattern, words)), "")
    if said and (draft.kind == "electrolytic" or said == "polymer"):
        draft.keys["technology"] = said


def _inductor(draft: Drafted, words: str) -> None:
    found = _stated(draft, quantities.inductance)
    if found is not None:
        _spread(draft, found, "H")
    draft.ask('how many ohms may it have? dc_resistance = { max = "0.5 ohm" }')


def _diode(draft: Drafted, words: str) -> None:
    technology = semiconductors.diode_technology(words)
    if not technology and semiconductors.zener_volts(words)[0]:
        draft.kind = "zener"
        _zener(draft, words)
        return
    draft.keys["technology"] = technology or "silicon"
    if not technology:
        draft.ask("silicon? or schottky, germanium, zener, led")


def _zener(draft: Drafted, words: str) -> None:
    volts, tolerance = semiconductors.zener_volts(words)
    stated = quantities.voltage_in(draft.part.said("value")) or quantities.voltage_in(draft.part.said("description"))
    value = _stated(draft, lambda cell: quantities.figure(cell, "V"))
    if not volts and (stated or value):
        volts = quantities.written(stated or (value.value if value else 0.0), "V")
    if not volts:
        draft.missing = 'which zener voltage? value = "5.1 V"'
        return
    draft.keys["value"] = volts
    tolerance = quantities.tolerance_in(draft.part.said("tolerance"), "V", 1.0, column=True) or tolerance
    if tolerance:
        draft.keys["tolerance"] = tolerance


def _led(draft: Drafted, words: str) -> None:
    colour = semiconductors.colour_of(words)
    if colour:
        draft.keys["colour"] = colour
    else:
        draft.missing = 'which colour? colour = "red"'


def _transistor(draft: Drafted, words: str) -> None:
    polarity, channel = semiconductors.polarity_of(words), semiconductors.channel_of(words)
    if bool(polarity) == bool(channel):
        draft.missing = 'bipolar or MOSFET, and which? kind = "bjt" with polarity, or kind = "mosfet" with channel'
    draft.kind = "mosfet" if channel else "bjt"


def _bjt(draft: Drafted, words: str) -> None:
    polarity = semiconductors.polarity_of(words)
    if polarity:
        draft.keys["polarity"] = polarity
    else:
        draft.missing = draft.missing or 'NPN or PNP? polarity = "NPN"'


def _mosfet(draft: Drafted, words: str) -> None:
    channel = semiconductors.channel_of(words)
    if channel:
        draft.keys["channel"] = channel
    else:
        draft.missing = draft.missing or 'N or P channel? channel = "N"'
    if re.search(r"\b2s[jk]\d", words):
        draft.ask("a MOSFET? 2SJ and 2SK are junction types as well, for which there is no kind")


def _ic(draft: Drafted, words: str) -> None:
    volts = semiconductors.regulator_volts(words)
    if volts:
        draft.kind, draft.keys["voltage"] = "regulator", volts


def _regulator(draft: Drafted, words: str) -> None:
    volts = semiconductors.regulator_volts(words)
    stated = _stated(draft, lambda cell: quantities.figure(cell, "V"))
    if not volts and stated is not None and stated.value > 0:
        volts = stated.text
    coded = re.search(r"-([0-9]{1,2}\.[0-9])(?![0-9.])", words)
    if not volts and coded:
        volts = f"{coded[1]} V"
        draft.ask(f"{volts} was read from the type number")
    if volts:
        draft.keys["voltage"] = volts
    else:
        draft.missing = 'which output voltage? voltage = "5 V"'


def _rated(key: str, unit: str) -> Callable[[Drafted, str], None]:
    def read(draft: Drafted, words: str) -> None:
        found = _stated(draft, lambda cell: quantities.figure(cell, unit))
        if found is not None and found.value > 0:
            draft.keys[key] = found.text

    return read


def _battery(draft: Drafted, words: str) -> None:
    cell = semiconductors.cell_of(words)
    if cell:
        draft.keys["cell"] = cell
        draft.ask("how many cells in series, and can they come out? cells = 1, fixed = true where soldered in")
    else:
        draft.missing = 'which chemistry? cell = "alkaline", cells = 4'


_KEYS: Mapping[str, Callable[[Drafted, str], None]] = {
    "resistor": _resistor,
    "inductor": _inductor,
    "diode": _diode,
    "zener": _zener,
    "led": _led,
    "bjt": _bjt,
    "mosfet": _mosfet,
    "ic": _ic,
    "regulator": _regulator,
    "crystal": _rated("frequency", "Hz"),
    "fuse": _rated("rated_current", "A"),
    "ptc": _rated("hold_current", "A"),
    "winding": _rated("value", "ohm"),
    "battery": _battery,
}
