"""A parts list to the parts it names: columns by their usual names, one entry a reference, nothing dropped.

Every row ends in `parts` or in `left_out` with the reason; every cell of a row travels with it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchcheck.document.files import printable
from benchcheck.draft.references import Expanded, expand
from benchcheck.draft.sheet import Row, read_sheet, read_text
from benchcheck.errors import DocumentError, Fault

__all__ = ["COLUMNS", "LeftOut", "Listed", "PartsList", "read_parts"]

#: what a column holds -> the names it goes by, in lower case with nothing but letters, digits and single spaces.
COLUMNS: Mapping[str, tuple[str, ...]] = {
    "reference": (
        "reference", "references", "ref", "refs", "refdes", "ref des", "reference designator",
        "reference designators",
        "designator", "designators", "part reference", "part references", "position", "positions", "item reference",
        "component", "components", "part ref", "ref designator", "schematic reference", "designation", "symbol",
        "location", "locations", "pos", "bauteil", "repere",
    ),
    "value": ("value", "val", "nominal", "nominal value", "comment", "part value", "rating", "wert", "valeur"),
    "quantity": ("quantity", "qty", "count", "amount", "pcs", "pieces", "number", "qnty", "anzahl", "qte"),
    "tolerance": ("tolerance", "tol", "toleranz"),
    "voltage": ("voltage", "rated voltage", "voltage rating", "volts", "working voltage", "v rating", "max voltage"),
    "description": ("description", "desc", "part description", "name", "details", "remarks", "notes", "note"),
    "type": ("type", "kind", "category", "part type", "class"),
    "technology": ("technology", "dielectric", "material", "temperature characteristic"),
    "package": ("package", "footprint", "case", "size", "pattern", "housing"),
    "number": ("part number", "part no", "part", "mpn", "manufacturer part number", "mfr part", "mfg part number",
               "mfr part number", "order number", "model"),
    "maker": ("manufacturer", "maker", "mfr", "mfg", "brand", "manufacturer name", "hersteller"),
    "lot": ("lot", "lot number", "batch", "date code"),
    "fitted": ("fitted", "dnp", "dnf", "dni", "populate", "do not populate", "do not fit", "mounted", "fit"),
}  # fmt: skip
_ROLES = {name: role for role, names in COLUMNS.items() for name in names}
_NOT_FITTED = re.compile(r"\b(?:dnp|dnf|dni|nc|do not (?:populate|fit|install)|not (?:fitted|mounted|populated))\b")
#: in columns named for leaving out, a mark means left out; in the others, fitted.
_NEGATIVE = ("dnp", "dnf", "dni", "do not populate", "do not fit")
#: marks that say a part is absent: in a column for the ones that are there, and in one for the ones that are not.
_MARKS = (("no", "n", "0", "false"), ("x", "1", "yes", "y", "true"))
FIRST_ROWS = 40


@dataclass(frozen=True, slots=True)
class Listed:
    """One part a list names: its reference, where, and its cells by what they hold; `rest` under other headings."""

    designator: str
    line: int
    cells: Mapping[str, str]
    rest: tuple[tuple[str, str], ...] = ()
    letters: str = ""  # the class where something else than the reference says it

    def said(self, *roles: str) -> str:
        """Return the cells of these roles that are not empty, as one text."""
        return " ".join(filter(None, (self.cells.get(role, "") for role in roles)))

    @property
    def words(self) -> str:
        """Everything the row says of what the part is, in lower case."""
        return self.said("type", "value", "technology", "description", "number").casefold()


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What stands in a list and cannot become a part: the line, what was found there, and why."""

    line: int
    found: str
    reason: str


@dataclass(slots=True)
class PartsList:
    """The parts of a list in file order, what was left out of it, and remarks on the whole."""

    parts: list[Listed] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def read_parts(path: Path) -> PartsList:
    """Return the parts of a list: CSV with commas, semicolons, tabs or bars, in any usual encoding.

    Raises DocumentError for a file that is no table, or has no column of references.
    """
    name = printable(str(path))
    text, remarks = read_text(path)
    sheet = read_sheet(text, name, _score)
    found = PartsList(remarks=[*remarks, *sheet.remarks])
    place = _header_place(sheet.rows)
    if place is None:
        header = _assumed_header(sheet.rows, name)
        found.remarks.append(
            "no row names the columns; the first was taken for the reference, the second for the value"
        )
        rows: Sequence[Row] = sheet.rows
    else:
        header, rows = sheet.rows[place].cells, sheet.rows[place + 1 :]
        found.left_out.extend(
            LeftOut(row.line, _joined(row.cells), "stands above the headings") for row in sheet.rows[:place]
        )
    roles = _roles(header)
    first_of: dict[str, Listed] = {}
    before: dict[str, str] = {}
    for row in rows:
        before = _take(found, first_of, row, _sorted(row, header, roles), _with_marks(header, roles), before)
    return found


def _normal(cell: str) -> str:
    return " ".join(re.sub(r"[\W_]+", " ", cell.casefold().replace("(s)", "")).split())


def _score(cells: Sequence[str]) -> int:
    """Return how much a row looks like the headings of a parts list."""
    roles = {_ROLES[name] for name in map(_normal, cells) if name in _ROLES}
    return (10 if "reference" in roles else 0) + len(roles) if roles else 0


def _header_place(rows: Sequence[Row]) -> int | None:
    scores = [_score(row.cells) for row in rows[:FIRST_ROWS]]
    best = max(scores, default=0)
    return scores.index(best) if best >= 11 and len(rows[scores.index(best)].cells) > 1 else None


def _assumed_header(rows: Sequence[Row], name: str) -> tuple[str, ...]:
    """Return headings for a list that has none; raises DocumentError where its first cells are no references."""
    widest = max((len(row.cells) for row in rows), default=0)
    named = sum(bool(_looks_named(row.cells[0])) for row in rows)
    if widest < 2 or named * 2 < len(rows):
        allowed = ", ".join(COLUMNS["reference"][:8])
        message = f"has no column of references; head it with one of {allowed}, and the values with value"
        raise DocumentError(Fault(name, "", message))
    return ("reference", "value", *("description",) * (widest - 2))


def _looks_named(cell: str) -> bool:
    found = expand(cell)
    return bool(found.names) and not found.refused and any(sign.isdigit() for sign in found.names[0])


def _roles(header: Sequence[str]) -> tuple[str, ...]:
    """Return what each column holds; a second column of the same sort, or an unknown one, holds "" (the rest)."""
    roles: list[str] = []
    for cell in header:
        role = _ROLES.get(_normal(cell), "")
        roles.append("" if role in roles and role != "description" else role)
    return tuple(roles)


Cells = tuple[dict[str, str], tuple[tuple[str, str], ...]]


def _take(
    found: PartsList,
    first_of: dict[str, Listed],
    row: Row,
    sorted_row: Cells,
    mark: str | None,
    before: dict[str, str],
) -> dict[str, str]:
    """Put one row where it belongs, reference by reference; return its cells, for a row that goes on with it."""
    cells, rest = sorted_row
    named = expand(cells.get("reference", ""))
    if named.names and not rest and _goes_on(cells, before):
        found.remarks.append(f"line {row.line} was taken to go on with the row above it: {cells['reference']}")
        cells = {**before, "reference": f"{before['reference']}, {cells['reference']}"}
    elif named.names or named.refused:
        found.remarks.extend(_miscounted(row.line, cells, named))
    for text, reason in named.refused:
        found.left_out.append(LeftOut(row.line, f"{text} ({_joined(row.cells)})", reason))
    if not named.names and not named.refused:
        found.left_out.append(LeftOut(row.line, _joined(row.cells), "names no reference"))
    for name in named.names:
        _take_part(found, first_of, Listed(name, row.line, cells, rest), row, absent=_not_fitted(cells, mark))
    return cells


def _take_part(found: PartsList, first_of: dict[str, Listed], part: Listed, row: Row, *, absent: bool) -> None:
    name = part.designator
    earlier = first_of.setdefault(name.casefold(), part)
    if absent:
        found.left_out.append(LeftOut(row.line, f"{name} ({_joined(row.cells)})", "is not fitted, the list says"))
    elif earlier is not part:
        same = "" if earlier.designator == name else f", there written {earlier.designator}"
        reason = f"is in line {earlier.line} already{same}; one of the two is wrong"
        found.left_out.append(LeftOut(row.line, f"{name} ({_joined(row.cells)})", reason))
    else:
        found.parts.append(part)


def _goes_on(cells: Mapping[str, str], before: Mapping[str, str]) -> bool:
    """Return whether a row that holds references alone goes on with one that counts more than it names."""
    said, named = before.get("quantity", ""), expand(before.get("reference", "")).names
    return (
        set(cells) == {"reference"} and said.isascii() and said.isdigit() and len(said) < 7 and int(said) > len(named)
    )


def _sorted(row: Row, header: Sequence[str], roles: Sequence[str]) -> Cells:
    """Return the cells of a row by role, and the others by their heading."""
    cells: dict[str, str] = {}
    rest: list[tuple[str, str]] = []
    for place, cell in enumerate(row.cells):
        role = roles[place] if place < len(roles) else ""
        if cell and role:
            cells[role] = f"{cells[role]} {cell}" if role in cells else cell
        elif cell:
            rest.append((header[place] if place < len(header) else "", cell))
    return cells, tuple(rest)


def _with_marks(header: Sequence[str], roles: Sequence[str]) -> str | None:
    """Return the heading of the column that says which parts are there, None where there is none."""
    return _normal(header[list(roles).index("fitted")]) if "fitted" in roles else None


def _not_fitted(cells: Mapping[str, str], heading: str | None) -> bool:
    if _NOT_FITTED.search(f"{cells.get('value', '')} {cells.get('fitted', '')}".casefold()):
        return True
    mark = cells.get("fitted", "").casefold()
    return heading is not None and mark in _MARKS[heading in _NEGATIVE]


def _miscounted(line: int, cells: Mapping[str, str], named: Expanded) -> Iterator[str]:
    said = cells.get("quantity", "")
    count = len(named.names) + len(named.refused)
    if said.isascii() and said.isdigit() and len(said) < 7 and int(said) != count:
        yield f"line {line} says {said} and names {count}: {cells.get('reference', 'no reference')}"


def _joined(cells: Sequence[str]) -> str:
    return " | ".join(filter(None, cells))
