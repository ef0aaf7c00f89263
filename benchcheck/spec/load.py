"""From a spec file to a board: every fault of the file at once, or a board that holds together.

Each table is read on its own, so that a fault in one does not hide those of the next; then what tables say of
each other, then the scope of safety, and at last the kinds make their checks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from benchcheck.document import Document, read_document
from benchcheck.errors import SpecError, close_match
from benchcheck.kinds.catalogue import KINDS
from benchcheck.kinds.isolation import Isolation
from benchcheck.kinds.part import Kind, Part
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.supply import Supply
from benchcheck.spec.assemble import Entries, assembled
from benchcheck.spec.board import Board
from benchcheck.spec.findings import Findings
from benchcheck.spec.references import check_names, check_nets, check_switches
from benchcheck.spec.sense import part_faults, rail_faults, supply_faults
from benchcheck.spec.structure import entry_of
from benchcheck.spec.tables import BoardTable, NetTable
from benchcheck.spec.words import Path as KeyPath
from benchcheck.spec.words import Wrong, describe, near, one_of

__all__ = ["FORMAT", "SECTIONS", "load_board"]

#: the version of the spec format this module reads.
FORMAT = 1
#: top-level key -> how a table of it is opened.
SECTIONS: Mapping[str, str] = {
    "board": "[board]",
    "net": "[net.NAME]",
    "supply": "[supply.NAME]",
    "rail": "[rail.NAME]",
    "part": "[part.NAME]",
    "isolation": "[[isolation]]",
}
#: what people call parts whose kind has another name here.
TRADE_WORDS = {
    "bead": "ferrite", "bulb": "winding", "cap": "capacitor", "cell": "battery", "ceramic": "capacitor",
    "chip": "ic", "choke": "inductor", "coil": "inductor", "fet": "mosfet", "film": "capacitor", "jack": "connector",
    "jumper": "resistor", "lamp": "winding", "link": "resistor", "loudspeaker": "winding", "motor": "winding",
    "npn": "bjt", "op-amp": "ic", "opamp": "ic", "plug": "connector", "pnp": "bjt", "polyfuse": "ptc",
    "pot": "resistor", "potentiometer": "resistor", "rectifier": "diode", "relay": "winding", "resonator": "crystal",
    "schottky": "diode", "speaker": "winding", "transformer": "winding", "transistor": "bjt",
}  # fmt: skip
#: top-level key -> what the file is, when it is another of benchcheck's own.
OTHER_FILES = {"benchcheck_bench": "a bench file", "benchcheck_record": "a record"}


def load_board(source: Path | str | Document, kinds: Iterable[Kind] = KINDS) -> Board:
    """Return the board a spec file (path) or an already read document describes.

    `kinds` are the kinds of part the spec may use. Raises DocumentError when the file is no TOML, SpecError
    with every fault otherwise: file and line, key path, what was found, what is allowed, what to do.
    """
    document = source if isinstance(source, Document) else read_document(Path(source))
    return _Loader(document, {kind.name: kind for kind in kinds}).board()


class _Loader:
    """One document on its way to a board; findings are kept until all of it has been seen."""

    def __init__(self, document: Document, kinds: Mapping[str, Kind]) -> None:
        self.document, self.data, self.kinds = document, document.data, kinds
        self.found = Findings(document)

    def board(self) -> Board:
        """Return the board, or raise SpecError with everything found."""
        self._check_format()
        self._check_top_level()
        table = self._board_table()
        nets, supplies, rails = (
            self._entries(section, cl) for section, cl in (("net", NetTable), ("supply", Supply), ("rail", Rail))
        )
        parts, isolations = dict(self._parts()), tuple(self._isolations())
        for check in (check_names, check_nets, check_switches):
            check(self.data, self.found)
        self._check_sense(supplies, rails, parts)
        if self.found or table is None:
            raise SpecError(self.found.faults)
        entries = Entries(table, nets, supplies, rails, parts, isolations)
        return assembled(self.document, entries, self.kinds, self.found)

    def _check_sense(
        self, supplies: Mapping[str, Supply], rails: Mapping[str, Rail], parts: Mapping[str, Part]
    ) -> None:
        names = self.data.get("supply")
        known = tuple(names) if isinstance(names, dict) else ()
        for name, supply in supplies.items():
            self._keep(supply_faults(name, supply))
        for name, rail in rails.items():
            self._keep(rail_faults(name, rail, known))
        for name, part in parts.items():
            self._keep(part_faults(name, part))

    def _keep(self, faults: Iterable[tuple[KeyPath, str]]) -> None:
        for path, message in faults:
            self.found.add(message, *path)

    def _check_format(self) -> None:
        """Find what is wrong with the version; another file of ours or a later version stops here."""
        version = self.data.get("benchcheck")
        write = f"write benchcheck = {FORMAT}"
        if version is None:
            other = next((what for key, what in OTHER_FILES.items() if key in self.data), None)
            if other:
                self._stop(f"is missing, and this looks like {other}; give a spec")
            self.found.add(f"is missing; {write} as the first line", "benchcheck")
        elif isinstance(version, bool) or not isinstance(version, int) or version < 1:
            self.found.add(f"{describe(version)} is no version of the spec format; {write}", "benchcheck")
        elif version > FORMAT:
            later = f"version {describe(version)} is later than the {FORMAT} this benchcheck reads"
            self._stop(f"{later}; install a later benchcheck")

    def _stop(self, message: str) -> None:
        """Raise at once: what else stands in the file cannot be judged."""
        self.found.add(message, "benchcheck")
        raise SpecError(self.found.faults)

    def _check_top_level(self) -> None:
        for key, value in self.data.items():
            if key == "benchcheck" or key in SECTIONS:
                continue
            if key in self.kinds:
                hint = f'; parts stand under [part.NAME] with kind = "{key}"'
            else:
                hint = close_match(key, SECTIONS) or f"; allowed are {', '.join(SECTIONS.values())}"
            what = "table" if isinstance(value, dict | list) else "key"
            self.found.add(f"is not a {what} of a spec{hint}", key)

    def _board_table(self) -> BoardTable | None:
        if "board" not in self.data:
            self.found.add('is missing; write [board] and below it model = "..."', "board")
            return None
        table: BoardTable | None = self._entry(self.data["board"], BoardTable, "board")
        return table

    def _entry(self, table: object, cl: Any, *path: str | int, kind: Kind | None = None) -> Any:
        """Return the entry of one table, None when something is wrong with it."""
        try:
            name = path[-1] if len(path) > 1 and isinstance(path[-1], str) else ""
            return entry_of(table, cl, name, kind)
        except Wrong as error:
            self.found.take(error, *path)
            return None

    def _tables(self, section: str) -> Iterator[tuple[str, Any]]:
        """Yield (name, table) of a section, keeping a fault for whatever is not a table."""
        opened = SECTIONS[section]
        entries = self.data.get(section, {})
        if not isinstance(entries, dict):
            self.found.add(f"{describe(entries)} is not what belongs here; open each table with {opened}", section)
            return
        for name, table in entries.items():
            if isinstance(table, dict):
                yield name, table
            else:
                hint = opened.replace("NAME", name if name.isidentifier() else "NAME")
                self.found.add(f"{describe(table)} is not a table; open one with {hint}", section, name)

    def _entries(self, section: str, cl: Any) -> dict[str, Any]:
        read = ((name, self._entry(table, cl, section, name)) for name, table in self._tables(section))
        return {name: entry for name, entry in read if entry is not None}

    def _parts(self) -> Iterator[tuple[str, Part]]:
        for name, table in self._tables("part"):
            kind = self._kind_of(name, table)
            entry = self._entry(table, kind.entry, "part", name, kind=kind) if kind else None
            if entry is not None:
                yield name, entry

    def _kind_of(self, name: str, table: Mapping[str, Any]) -> Kind | None:
        """Return the kind a part says it is; None, with a fault kept, when it says none there is."""
        given = table.get("kind")
        if isinstance(given, str) and given in self.kinds:
            return self.kinds[given]
        if given is None:
            says = next((key for key, value in table.items() if isinstance(value, str) and value in self.kinds), None)
            hint = f"; {says} should be kind" if says else f"; write {one_of(self.kinds)}"
            self.found.add(f"is missing{hint}", "part", name, "kind")
            return None
        usual = TRADE_WORDS.get(given.casefold(), "") if isinstance(given, str) else ""
        hint = f'; write kind = "{usual}"' if usual in self.kinds else near(given, self.kinds)
        self.found.add(
            f"{describe(given)} is not a kind{hint or f'; write {one_of(self.kinds)}'}", "part", name, "kind"
        )
        return None

    def _isolations(self) -> Iterator[Isolation]:
        pairs = self.data.get("isolation", [])
        if not isinstance(pairs, list):
            self.found.add(f"{describe(pairs)} is not a list; open each pair of nets with [[isolation]]", "isolation")
            return
        for place, table in enumerate(pairs):
            entry = self._entry(table, Isolation, "isolation", place)
            if entry is not None:
                yield entry
