"""Which pin is on which net, from a SPICE-style netlist or from a list of two or three columns.

Net names become names of a spec: signs it does not take turn into `_`, two spellings of one net become one, and
SPICE's node 0 is GND. Whatever cannot be used is left out with its line and the reason.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchcheck.document.files import printable
from benchcheck.draft.partslist import LeftOut
from benchcheck.draft.references import name_fault
from benchcheck.draft.sheet import read_sheet, read_text
from benchcheck.spec.pins import NAME_PATTERN

__all__ = ["Netlist", "Wired", "read_nets"]

#: nodes of the elements of SPICE by their first letter, and what they are to a part here.
ELEMENTS: Mapping[str, tuple[str, ...]] = {
    "R": ("1", "2"), "C": ("1", "2"), "L": ("1", "2"), "D": ("anode", "cathode"), "F": ("1", "2"),
    "Q": ("collector", "base", "emitter"), "M": ("drain", "gate", "source"), "S": ("1", "2"),
}  # fmt: skip
_DIRECTIVES = re.compile(
    r"\.(?:end|ends|model|subckt|tran|ac|dc|op|include|lib|options?|title|param|temp|ic|global)\b", re.I
)
_ELEMENT = re.compile(r"[A-Za-z][\w.+-]*$")
_PIN = re.compile(r"(.+?)[.\-:/](\w[\w+-]*)$")
_NET_HEADS = ("net", "nets", "net name", "node", "signal", "netname")
_PIN_HEADS = (
    "pin",
    "pins",
    "pad",
    "pads",
    "pin number",
    "pin name",
    "terminal",
    "nodes",
    "connections",
    "part pin",
    "points",
)
_PART_HEADS = ("reference", "ref", "refdes", "designator", "part", "component")
_BAD = re.compile(r"[^A-Za-z0-9_+\-./]")


@dataclass(slots=True)
class Wired:
    """One part of a netlist: its pins on their nets as the file names them, and what else its line said."""

    designator: str
    line: int
    pins: dict[str, str] = field(default_factory=dict)
    ordered: bool = False  # pins carry the meaning of SPICE's order
    value: str = ""


@dataclass(slots=True)
class Netlist:
    """The parts of a netlist by case-folded reference, what was left out, and remarks."""

    parts: dict[str, Wired] = field(default_factory=dict)
    left_out: list[LeftOut] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    _names: dict[str, str] = field(default_factory=dict)

    def net(self, given: str) -> str:
        """Return how a spec calls a net; "" for what cannot be called anything."""
        folded = given.casefold()
        if folded not in self._names:
            name = _BAD.sub("_", given)[:40]
            taken = {called.casefold() for called in self._names.values()}
            numbered = (f"{name[:34]}_{n}" for n in itertools.count(2))
            free = (
                each for each in (name, *itertools.islice(numbered, len(taken) + 1)) if each.casefold() not in taken
            )
            self._names[folded] = next(free, name)
            if self._names[folded] != given:
                self.remarks.append(f"net {given} is called {self._names[folded]} here")
        return self._names[folded]


def read_nets(path: Path, known: Collection[str] = ()) -> Netlist:
    """Return the nets of a file; `known` are the references of the parts list.

    Raises DocumentError for a file that cannot be read as text.
    """
    name = printable(str(path))
    text, remarks = read_text(path)
    found = Netlist(remarks=list(remarks))
    folded = {designator.casefold() for designator in known}
    if _is_spice(text):
        _take_cards(found, text, folded)
        return found
    sheet = read_sheet(text, name, _score)
    found.remarks.extend(sheet.remarks)
    rows = [(row.line, row.cells) for row in sheet.rows]
    if not any(len(cells) > 1 for _, cells in rows):
        rows = [(number, tuple(line.split())) for number, line in enumerate(text.split("\n"), 1) if line.strip()]
    _take_table(found, rows, folded)
    return found


def _is_spice(text: str) -> bool:
    """Return whether most lines are cards: an element with nodes behind it, a comment, a directive."""
    lines = [line.strip() for line in text.split("\n") if line.strip()]
    if any(_DIRECTIVES.match(line) for line in lines):
        return True
    separated = sum(any(sign in line for sign in ",;\t|") for line in lines)
    cards = sum(
        len(words := line.split()) >= 4 and words[0][:1].upper() in (*ELEMENTS, "V", "I", "X") for line in lines
    )
    return cards > separated and cards * 2 >= len(lines)


def _cards(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield (line, words) of every card, continuations joined, comments taken off."""
    pending: tuple[int, list[str]] | None = None
    for number, raw in enumerate(text.split("\n"), 1):
        line = re.split(r"[;$]", raw, maxsplit=1)[0].strip()
        if line.startswith("+") and pending is not None:
            pending[1].extend(line[1:].split())
        elif line and not line.startswith("*"):
            if pending is not None:
                yield pending
            pending = (number, line.split())
    if pending is not None:
        yield pending


def _take_cards(found: Netlist, text: str, known: Collection[str]) -> None:
    """Take every card of the board itself; the bodies of subcircuits are models and no parts."""
    inside = False
    first = next((number for number, line in enumerate(text.split("\n"), 1) if line.strip()), 0)
    for line, words in _cards(text):
        if line == first and words[0].isalpha() and words[0].casefold() not in known:
            found.left_out.append(LeftOut(line, " ".join(words), "is the title of a netlist"))
            continue
        opens, closes = words[0].casefold() == ".subckt", words[0].casefold() == ".ends"
        inside = (inside or opens) and not closes
        if inside or closes:
            found.left_out.append(LeftOut(line, " ".join(words), "belongs to the model of a subcircuit"))
        else:
            _take_card(found, line, words, known)


def _take_card(found: Netlist, line: int, words: Sequence[str], known: Collection[str]) -> None:
    designator, whole = words[0], " ".join(words)
    letter = designator[:1].upper()
    if designator.casefold() == ".end":
        return
    if designator.startswith("."):
        found.left_out.append(LeftOut(line, whole, "is a directive of a simulator and no part"))
        return
    if designator.casefold() not in known and (len(words) < 3 or not _ELEMENT.match(designator)):
        found.left_out.append(LeftOut(line, whole, "is no element of a netlist"))
        return
    if letter == "X" or (letter not in ELEMENTS and designator.casefold() in known):
        body = [word for word in words[1:] if "=" not in word]
        nodes = {str(place): node for place, node in enumerate(body[:-1], 1)}
        designator = _under_x(designator, known)
        _keep(found, Wired(designator, line, nodes, value=body[-1] if body else ""), whole)
        return
    pins = ELEMENTS.get(letter)
    if pins is None or len(words) <= len(pins):
        reason = "is a source of a simulator and no part" if letter in "VIEGHBK" else "names too few nodes"
        found.left_out.append(LeftOut(line, whole, reason))
        return
    tail = words[1 + len(pins) + (letter == "M" and len(words) > 5) :]
    wired = Wired(designator, line, dict(zip(pins, words[1:], strict=False)), ordered=True, value=" ".join(tail))
    _keep(found, wired, whole)


def _under_x(designator: str, known: Collection[str]) -> str:
    """Return a subcircuit call's own reference: XU3 calls U3 where the parts list has one."""
    bare = designator[1:].lstrip("_§")
    return bare if designator.casefold() not in known and bare.casefold() in known else designator


def _keep(found: Netlist, wired: Wired, whole: str) -> None:
    fault = name_fault(wired.designator)
    earlier = found.parts.get(wired.designator.casefold())
    if fault or earlier is not None:
        reason = fault or f"is in line {earlier.line if earlier else 0} already"
        found.left_out.append(LeftOut(wired.line, whole, reason))
        return
    wired.pins = {pin: found.net("GND" if node == "0" else node) for pin, node in wired.pins.items()}
    found.parts[wired.designator.casefold()] = wired


def _normal(cell: str) -> str:
    return " ".join(re.sub(r"[\W_]+", " ", cell.casefold()).split())


def _score(cells: Sequence[str]) -> int:
    heads = [_normal(cell) for cell in cells]
    named = sum(head in (*_NET_HEADS, *_PIN_HEADS, *_PART_HEADS) for head in heads)
    return 10 * named + min(len([cell for cell in cells if cell]), 3)


def _take_table(found: Netlist, rows: Sequence[tuple[int, tuple[str, ...]]], known: Collection[str]) -> None:
    heads = [_normal(cell) for cell in rows[0][1]]
    net_at = next((place for place, head in enumerate(heads) if head in _NET_HEADS), None)
    if net_at is not None:
        rows = rows[1:]
        columns = _headed(heads)
    else:
        columns, net_at = _three_columns(rows, known)
        net_at = _net_column(rows, known) if columns is None else net_at
    for line, cells in rows:
        if len(cells) < 2 or net_at >= len(cells) or not cells[net_at]:
            found.left_out.append(LeftOut(line, " | ".join(cells), "names no net with a pin"))
        elif columns is not None:
            pins = [f"{cells[columns[0]]}.{cells[columns[1]]}"] if max(columns) < len(cells) else []
            _take_pins(found, line, cells[net_at], pins, known)
        else:
            others = [cell for place, cell in enumerate(cells) if place != net_at and cell]
            pins = [pin for cell in others for pin in re.split(r"[\s,;]+", cell) if pin]
            _take_pins(found, line, cells[net_at], pins, known)


def _headed(heads: Sequence[str]) -> tuple[int, int] | None:
    """Return the columns of reference and pin where the headings name both."""
    part_at = next((place for place, head in enumerate(heads) if head in _PART_HEADS), None)
    pin_at = next((place for place, head in enumerate(heads) if head in _PIN_HEADS), None)
    return None if part_at is None or pin_at is None else (part_at, pin_at)


def _three_columns(
    rows: Sequence[tuple[int, tuple[str, ...]]], known: Collection[str]
) -> tuple[tuple[int, int] | None, int]:
    """Return the columns of reference and pin, and the net's, of rows such as `R1,1,VCC` or `VCC,R1,1`."""
    for part_at, net_at in ((0, 2), (1, 0)):
        fits = [len(cells) == 3 and cells[part_at].casefold() in known for _, cells in rows]
        if sum(fits) * 2 > len(rows):
            return (part_at, part_at + 1), net_at
    return None, 0


def _net_column(rows: Sequence[tuple[int, tuple[str, ...]]], known: Collection[str]) -> int:
    """Return which of the first two columns holds nets: the one with fewer pins of known parts in it."""
    counts = [
        sum(_pin_of(cells[place].split(" ")[0], known) is not None for _, cells in rows if len(cells) > place)
        for place in (0, 1)
    ]
    return 1 if counts[0] > counts[1] else 0


def _pin_of(text: str, known: Collection[str]) -> tuple[str, str] | None:
    """Return (reference, pin) of `R1.2`, `R1-2`, `R1:2` or `Q1.base`; None where the part is not known."""
    for cut in range(len(text) - 1, 0, -1):
        if text[cut] in ".-:/" and text[:cut].casefold() in known and cut + 1 < len(text):
            return text[:cut], text[cut + 1 :]
    return None


def _take_pins(found: Netlist, line: int, net: str, pins: Sequence[str], known: Collection[str]) -> None:
    for text in pins:
        split = _pin_of(text, known)
        if split is None:
            match = _PIN.fullmatch(text)
            reason = "is a pin of no part in the list" if match else "is no pin; write R1.2 or R1-2"
            found.left_out.append(LeftOut(line, f"{text} on net {net}", reason))
            continue
        designator, pin = split
        wired = found.parts.setdefault(designator.casefold(), Wired(designator, line))
        called = found.net(net)
        if not re.fullmatch(NAME_PATTERN, called):
            found.left_out.append(LeftOut(line, f"{text} on net {net}", "has a net without a name"))
        elif wired.pins.setdefault(pin, called) != called:
            reason = f"is on net {wired.pins[pin]} already; a pin is on one net"
            found.left_out.append(LeftOut(line, f"{text} on net {net}", reason))
