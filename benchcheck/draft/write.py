"""The spec a draft becomes: tables in the order of the list, questions above them, what is left out as comments.

The text is loaded as any spec is; a table that does not hold is turned into comments with the reason the loader
gives, until all of it does. So what comes out passes check-spec, whatever went in.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchcheck.document import parse_document, toml_value
from benchcheck.document.files import printable
from benchcheck.draft.entries import Drafted, drafted
from benchcheck.draft.netlist import Netlist, Wired, read_nets
from benchcheck.draft.partslist import LeftOut, Listed, PartsList, read_parts
from benchcheck.draft.pins import pins_for
from benchcheck.errors import SpecError
from benchcheck.kinds.catalogue import KINDS
from benchcheck.spec.load import load_board

__all__ = ["Draft", "draft_spec"]

_KINDS = {kind.name: kind for kind in KINDS}
#: cells that are in no key of a table and stand beside it as a comment.
_BESIDE = ("description", "type", "technology", "package", "number", "maker")


@dataclass(frozen=True, slots=True)
class Draft:
    """The text of a spec, and how many parts, questions and comments instead of parts it holds."""

    text: str
    parts: int
    questions: int
    left_out: int


@dataclass(slots=True)
class _Block:
    """One part of the draft: its table as lines, the comments above it, and why it is a comment itself."""

    designator: str
    comments: list[str]
    table: list[str]
    refused: str = ""

    def lines(self) -> Iterator[str]:
        if self.refused:
            yield from _comment(f"{self.designator} is left out: {self.refused}")
            yield from self.comments
            yield from (f"# {line}" for line in self.table)
        else:
            yield from self.comments
            yield from self.table


def draft_spec(parts: Path, nets: Path | None = None) -> Draft:
    """Return a spec drafted from a parts list and, where there is one, a list of nets.

    Raises DocumentError for a file that cannot be read as what it should be.
    """
    listed = read_parts(parts)
    wired = read_nets(nets, [part.designator for part in listed.parts]) if nets is not None else Netlist()
    known = {part.designator.casefold() for part in listed.parts}
    extra = [_from_netlist(each) for folded, each in wired.parts.items() if folded not in known]
    blocks = [_block(drafted(part), wired.parts.get(part.designator.casefold())) for part in (*listed.parts, *extra)]
    text, accepted = _settled(_head(parts, nets, listed, wired), blocks, _tail(listed, wired))
    questions = sum(line.startswith("# ? ") for line in text.split("\n"))
    out = len(listed.left_out) + len(wired.left_out) + len(blocks) - accepted
    return Draft(text, accepted, questions, out)


def _from_netlist(wired: Wired) -> Listed:
    """Return a part only the netlist names; there the first letter says what it is, and meg is mega."""
    note: tuple[tuple[str, str], ...] = (("", f"not in the parts list; from line {wired.line} of the nets"),)
    value = re.sub(r"(?i)(?<=[0-9])meg\w*", "M", wired.value)
    if wired.ordered and value == wired.value and re.match(r"[0-9.]+m", value, re.IGNORECASE):
        note += (("", "m and M are both milli to SPICE: write the value into the list"),)
        value = f"({value})"
    cells = {"value": value} if value else {}
    letters = wired.designator[0].upper() if wired.ordered else ""
    if letters == "M":
        letters, cells["type"] = "Q", "mosfet"
    return Listed(wired.designator, wired.line, cells, note, letters)


def _comment(text: str, mark: str = "# ") -> list[str]:
    return [mark + printable(text)]


def _block(draft: Drafted, wired: Wired | None) -> _Block:
    part = draft.part
    comments = _comment(_told(part))
    table: dict[str, object] = {"kind": draft.kind, **draft.keys}
    if draft.kind and wired is not None and wired.pins:
        nets, question = pins_for(_KINDS[draft.kind], wired)
        draft.ask(question)
        if nets is not None:
            table["nets"] = nets
    for question in draft.questions:
        comments += _comment(question, "# ? ")
    if draft.missing and "?" in draft.missing:
        comments += _comment(draft.missing, "# ? ")
        draft.missing = "the question below is open"
    if not draft.kind or draft.missing:
        return _Block(part.designator, comments, _table(part.designator, table), draft.missing)
    return _Block(part.designator, comments, _table(part.designator, table))


def _told(part: Listed) -> str:
    """Return what the list says of a part in one line: its line, its value as written, its other cells."""
    cells = [part.cells[role] for role in ("value", "tolerance", "voltage", *_BESIDE) if part.cells.get(role)]
    cells += [f"{heading}: {cell}" if heading else cell for heading, cell in part.rest]
    return f"{part.designator}, line {part.line}: {' | '.join(cells) or 'nothing but its reference'}"


def _table(designator: str, keys: dict[str, object]) -> list[str]:
    header = toml_value({designator: 0}).removeprefix("{ ").removesuffix(" = 0 }")
    return [f"[part.{header}]", *(f"{key} = {toml_value(value)}" for key, value in keys.items() if value != "")]


def _head(parts: Path, nets: Path | None, listed: PartsList, wired: Netlist) -> list[str]:
    beside = f" and {printable(nets.name)}" if nets is not None else ""
    lines = [
        f"# Drafted from {printable(parts.name)}{beside}.",
        "# Lines that begin with `# ?` are questions; answer them, then take them out. What could not become a part",
        "# stands as a comment with the reason.",
        "benchcheck = 1",
        "",
        "[board]",
        f"model = {toml_value(printable(parts.stem)[:60] or 'unnamed')}",
        '# ? which revision? revision = "A"',
        "# ? which hazards? hazards = [] says there is none; without the key there is no power",
    ]
    for remark in (*listed.remarks, *wired.remarks):
        lines += _comment(remark)
    return [*lines, ""]


def _tail(listed: PartsList, wired: Netlist) -> list[str]:
    lines = [
        "",
        "# ? where is it fed, and what may it draw? no power before these are answered",
        "# [supply.NAME]",
        '# nets = { plus = "...", minus = "GND" }',
        '# voltage = "6 V"',
        '# current_limit = "500 mA"',
        '# idle_current = { max = "50 mA" }',
        '# input_capacitance = "470 uF"',
        "# ? which rails does it make?",
        "# [rail.NAME]",
        '# nets = { plus = "...", minus = "GND" }',
        '# voltage = "5 V"',
        "# ? which neighbours must not be bridged?",
        "# [[isolation]]",
        '# nets = ["...", "..."]',
    ]
    for title, left_out in (("parts list", listed.left_out), ("nets", wired.left_out)):
        if left_out:
            lines += ["", f"# Left out of the {title}:"]
        for each in left_out:
            lines += _comment(_why(each))
    return [*lines, ""]


def _why(left_out: LeftOut) -> str:
    return f"line {left_out.line}: {left_out.found}: {left_out.reason}"


def _settled(head: Sequence[str], blocks: Sequence[_Block], tail: Sequence[str]) -> tuple[str, int]:
    """Return the text once every table in it holds, and how many parts that are."""
    while True:
        text = _joined(head, blocks, tail)
        try:
            board = load_board(parse_document(text, "the draft"))
        except SpecError as error:
            if not _refuse(blocks, error):
                raise
            continue
        return text, len(board.parts)


def _joined(head: Sequence[str], blocks: Iterable[_Block], tail: Sequence[str]) -> str:
    lines = [*head]
    for block in blocks:
        lines += [*block.lines(), ""]
    return "\n".join((*lines, *tail)).rstrip("\n") + "\n"


def _refuse(blocks: Sequence[_Block], error: SpecError) -> bool:
    """Turn the tables that have faults into comments; return whether there were any."""
    reasons: dict[str, str] = {}
    for fault in error.faults:
        for block in blocks:
            stem = f"part.{block.table[0][6:-1]}"
            if not block.refused and (fault.key == stem or fault.key.startswith(f"{stem}.")):
                reasons.setdefault(block.designator, f"{fault.key.removeprefix(stem + '.')}: {fault.message}")
    for block in blocks:
        block.refused = block.refused or reasons.get(block.designator, "")
    return bool(reasons)
