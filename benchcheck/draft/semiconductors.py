"""What the type number of a diode, transistor, regulator or cell says of it, as far as numbers are systematic.

JEDEC numbers say nothing by themselves, so a few common types are listed; Pro Electron and JIS numbers do. From
memory throughout, so a person is asked where more than one reading is possible.
"""

from __future__ import annotations

import re

__all__ = ["cell_of", "channel_of", "colour_of", "diode_technology", "polarity_of", "regulator_volts", "zener_volts"]

SCHOTTKY = re.compile(
    r"schottky|\b(?:1n58(?:17|18|19|2[0-5])|bat\d+|ss\d\d+|sb\d{2,}|sk\d\d|mbr\w*|b[123]\d0\w*|stps\w*|pmeg\w*)\b"
)
GERMANIUM = re.compile(r"germanium|\b(?:1n(?:34|60|270)a?|oa\d+|aa[a-z]?\d+)\b")
SILICON = re.compile(
    r"silicon|\b(?:1n(?:4148|4448|914|400[1-7]|540[0-8])\w*|bav?\d+|bas\d+|byv?\d+|s1[a-m]|m[1-7]|1ss\d+|us1\w|uf\d+)\b"
)
COLOURS = (
    "infrared", "ultraviolet", "true-green", "orange", "yellow", "white", "green", "blue", "amber", "red",
)  # fmt: skip
E24_FROM_3V3 = (3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)
#: the first of 37 consecutive JEDEC types, from 3.3 V through the E24 values to 100 V.
FIRST_ONE_WATT = 4728
NPN = re.compile(
    r"\bnpn\b|\b(?:2s[cd]\d+|2n(?:3904|2222|3055|4401|5551)|bc(?:[58][0-4]\d|337|338)|bd13[579]|s8050|mmbt3904)\w*"
)
PNP = re.compile(
    r"\bpnp\b|\b(?:2s[ab]\d+|2n(?:3906|2907|4403|5401)|bc(?:[58][56]\d|327|328)|bd1(?:36|38|40)|s8550|mmbt3906)\w*"
)
N_CHANNEL = re.compile(r"\bn-?ch(?:annel)?\b|\bn-?mos(?:fet)?\b|\bnfet\b|\b(?:2sk\d+|2n700[02]|bss138|bs170)\w*")
P_CHANNEL = re.compile(r"\bp-?ch(?:annel)?\b|\bp-?mos(?:fet)?\b|\bpfet\b|\b(?:2sj\d+|bss84|bs250)\w*")
CELLS = (
    (r"\bli-?ion\b|\blipo\b|18650", "lithium-ion"), (r"\bcr\d{4}\b|lithium", "lithium-primary"),
    (r"ni-?mh", "nimh"), (r"ni-?cd", "nicd"), (r"alkaline|\blr\d+\b", "alkaline"), (r"zinc", "zinc-carbon"),
    (r"\bsr\d+\b|silver", "silver-oxide"), (r"lead|\bsla\b", "lead-acid"),
)  # fmt: skip


def diode_technology(words: str) -> str:
    """Return silicon, schottky or germanium, or nothing where the words do not say.

    >>> diode_technology("1n5819"), diode_technology("1n4148w"), diode_technology("d marking a7")
    ('schottky', 'silicon', '')
    """
    for pattern, name in ((SCHOTTKY, "schottky"), (GERMANIUM, "germanium"), (SILICON, "silicon")):
        if pattern.search(words):
            return name
    return ""


def zener_volts(words: str) -> tuple[str, str]:
    """Return (voltage, tolerance) of a zener as a spec takes them; empty texts where the number does not say.

    >>> zener_volts("bzx84c5v1"), zener_volts("1n4733a"), zener_volts("bzt52")
    (('5.1 V', '5 %'), ('5.1 V', '5 %'), ('', ''))
    >>> zener_volts("bzx55c12"), zener_volts("c3v3 zener")
    (('12 V', '5 %'), ('3.3 V', '5 %'))
    """
    coded = re.search(r"\b(?:bz[a-z]\d{2}-?)?([abcde])(\d{1,3})v(\d)?|\bbz[a-z]\d{2}-?([abcde])(\d{1,3})", words)
    if coded:
        spread = {"a": "1 %", "b": "2 %", "c": "5 %", "d": "10 %", "e": "20 %"}[coded[1] or coded[4]]
        whole = coded[2] or coded[5]
        return f"{whole}.{coded[3]} V" if coded[3] else f"{whole} V", spread
    jedec = re.search(r"\b1n(47\d\d)(a?)", words)
    place = int(jedec[1]) - FIRST_ONE_WATT if jedec else -1
    if jedec and 0 <= place < 37:
        return f"{_e24_from_3v3(place):g} V", "5 %" if jedec[2] else "10 %"
    return "", ""


def _e24_from_3v3(place: int) -> float:
    e24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, *E24_FROM_3V3)
    decade, index = divmod(place + 12, 24)
    return float(f"{e24[index]}e{decade}")


def colour_of(words: str) -> str:
    """Return the colour of an LED in the spec's words, or nothing."""
    found = next((colour for colour in COLOURS if re.search(rf"\b{colour}\b", words)), "")
    return "orange" if found == "amber" else found


def polarity_of(words: str) -> str:
    """Return NPN or PNP, or nothing.

    >>> polarity_of("bc547b"), polarity_of("2sa1015"), polarity_of("t7")
    ('NPN', 'PNP', '')
    """
    npn, pnp = NPN.search(words) is not None, PNP.search(words) is not None
    return "" if npn == pnp else "NPN" if npn else "PNP"


def channel_of(words: str) -> str:
    """Return N or P, or nothing."""
    n, p = N_CHANNEL.search(words) is not None, P_CHANNEL.search(words) is not None
    return "" if n == p else "N" if n else "P"


def regulator_volts(words: str) -> str:
    """Return the output voltage the number of a fixed regulator says, or nothing.

    >>> regulator_volts("lm7805ct"), regulator_volts("79l12"), regulator_volts("lm317")
    ('5 V', '-12 V', '')
    """
    match = re.search(r"(?<![0-9])(7[89])[lmt]?(\d\d)(?![0-9])", words)
    if match is None:
        return ""
    volts = int(match[2])
    return f"{-volts if match[1] == '79' else volts} V" if 3 <= volts <= 24 else ""


def cell_of(words: str) -> str:
    """Return the chemistry of a battery in the spec's words, or nothing."""
    return next((name for pattern, name in CELLS if re.search(pattern, words)), "")
