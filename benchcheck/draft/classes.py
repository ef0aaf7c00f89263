"""What a reference's letters say of a part, with what its row says beside them.

Letters follow the class designation letters of IEEE 315 (clause 22) and the usage that grew beside them; where one
letter stands for several things, the words of the row decide, and where they are silent a question is asked.
Source of the table: from memory, and common practice.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

__all__ = ["Guess", "classify"]


@dataclass(frozen=True, slots=True)
class Guess:
    """A kind, or why there is none; `question` is what the draft asks beside it."""

    kind: str = ""
    reason: str = ""
    question: str = ""


#: letters -> kind, where nothing else has to be known.
LETTERS = {
    "R": "resistor", "RN": "", "C": "capacitor", "L": "inductor", "FB": "ferrite", "D": "diode", "CR": "diode",
    "LED": "led", "DL": "led", "ZD": "zener", "DZ": "zener", "VZ": "zener", "Q": "transistor", "TR": "transistor",
    "QN": "transistor", "VT": "transistor", "U": "ic", "IC": "ic", "Y": "crystal", "X": "crystal", "XTAL": "crystal",
    "XT": "crystal", "G": "crystal", "F": "fuse", "FU": "fuse", "S": "switch", "SW": "switch", "K": "winding",
    "RY": "winding", "RL": "winding", "M": "winding", "LS": "winding", "SP": "winding", "SPK": "winding",
    "T": "winding", "BT": "battery", "BAT": "battery", "PTC": "ptc", "RTH": "", "VR": "regulator", "REG": "regulator",
    "DS": "led", "V": "diode", "N": "ic", "A": "ic", "EC": "electrolytic", "CE": "electrolytic", "B": "battery",
    "W": "", "JP": "resistor", "MOV": "", "POT": "", "RV": "", "RP": "", "TH": "", "RT": "", "CN": "", "CON": "",
    "CONN": "", "J": "", "P": "", "JK": "", "PL": "", "TP": "", "H": "", "MH": "", "FID": "", "MP": "", "LOGO": "",
    "E": "", "ANT": "", "AE": "", "SG": "",
}  # fmt: skip
#: letters -> why a spec holds nothing of them, and what to do.
NOTHING = {
    "RN": "is a resistor network; give each of its resistors a table of its own, such as RN1A",
    "POT": "is a potentiometer; give each half of its track a table, measured at a stated setting",
    "RTH": "is a thermistor; write it as a resistor with the value it has at the bench's temperature",
    "MOV": "is a varistor; there is no kind for it",
    "CON": "is a connector; give every contact pair worth checking a table of kind connector",
    "TP": "is a point to probe and no part",
    "H": "is hardware and no part to measure",
    "W": "is a wire; an isolation pair or a joint shows more of it",
    "ANT": "is an antenna; there is no kind for it",
    "SG": "is a spark gap; there is no kind for it",
    "E": "could be several things; say which kind it is",
}
#: classes that go by their first letter where the rest is somebody's own (RS1, CBYP); all need a value of their sort.
FIRST_LETTER = ("R", "C", "Q")
SAME = {
    "RV": "POT", "RP": "POT", "TH": "RTH", "RT": "RTH", "CN": "CON", "CONN": "CON", "J": "CON", "P": "CON",
    "JK": "CON", "PL": "CON", "MH": "H", "FID": "H", "MP": "H", "LOGO": "H", "AE": "ANT",
}  # fmt: skip
#: words of a row that say the kind outright; the first that is found and fits the letters wins.
WORDS: tuple[tuple[str, str, str], ...] = (
    # pattern, kind, letters it may overrule
    (r"thermistor|\bntc\b", "RTH", "R RT TH RTH"),
    (r"potentiometer|trimpot|trimmer|\bpot\b", "POT", "R RV VR POT RP"),
    (r"varistor|\bmov\b", "MOV", "R RV MOV V"),
    (r"network|\barray\b", "RN", "R RN RP"),
    (r"poly-?(?:fuse|switch)|resettable|\bptc\b", "ptc", "F FU R RT PTC"),
    (r"ferrite|\bbead\b", "ferrite", "L FB E R"),
    (r"\bzener\b|\bz-?diode\b", "zener", "D CR ZD DZ VZ VR V"),
    (r"\bled\b|light.emitting", "led", "D CR LED DL DS V"),
    (r"regulator|\bldo\b|\breg\b", "regulator", "U IC VR REG Q N A"),
    (r"op-?amp|microcontroller|\bmcu\b|timer|logic", "ic", "U IC N A"),
    (r"mos-?fet|\b[np]-?ch(?:annel)?\b", "mosfet", "Q TR QN VT T V U M"),
    (r"\bnpn\b|\bpnp\b|\bbjt\b", "bjt", "Q TR QN VT T V"),
    (r"tantal", "tantalum", "C CE EC"),
    (r"electrolytic|\balum\b|alumini?um|\belko\b|\belec\b|\balu\b", "electrolytic", "C CE EC"),
    (r"transformer|relay|motor|speaker|solenoid|buzzer", "winding", "T TR K RY RL M LS SP SPK L B BZ"),
    (r"\bcrystal\b|resonator|\bxtal\b", "crystal", "Y X XT XTAL G"),
    (r"diode|rectifier|schottky", "diode", "D CR V U Q"),
)


def classify(letters: str, words: str) -> Guess:
    """Return the kind of a part from its class letters and the lower-case words of its row.

    "transistor" is answered where the words do not say which sort; the caller looks at type numbers.

    >>> classify("C", "220 uF electrolytic").kind, classify("TP", "").reason
    ('electrolytic', 'is a point to probe and no part')
    """
    for pattern, kind, may in WORDS:
        if letters in may.split() and re.search(pattern, words):
            return _of(kind)
    if letters not in LETTERS and letters[:1] in FIRST_LETTER:
        return Guess(LETTERS[letters[0]], question=f"a {LETTERS[letters[0]]}, by its first letter?")
    if letters not in LETTERS:
        return Guess(reason="has letters no kind is known for; give its table a kind by hand")
    return _of(LETTERS[letters] or SAME.get(letters, letters), letters)


def _of(kind: str, letters: str = "") -> Guess:
    if kind in NOTHING:
        return Guess(reason=NOTHING[kind])
    if letters == "JP":
        return Guess(kind, question="a link of 0 ohm, or a connector?")
    if letters == "T":
        return Guess(kind, question="a transformer has several windings: which one is this? give each a table")
    if letters in ("V", "B", "N", "A", "G", "DS", "X"):
        return Guess(kind, question=f"the letter {letters} stands for several things: is this a {kind}?")
    return Guess(kind)
