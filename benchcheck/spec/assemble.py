"""From sound entries to the finished board: its nets, its scope, and the checks its kinds make of it."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

from benchcheck.document import Document
from benchcheck.errors import InputError, SpecError
from benchcheck.kinds.catalogue import KINDS, part_checks
from benchcheck.kinds.check import Check
from benchcheck.kinds.isolation import Isolation
from benchcheck.kinds.isolation import checks as isolation_checks
from benchcheck.kinds.part import Kind, Part
from benchcheck.kinds.rail import Rail
from benchcheck.kinds.rail import checks as rail_checks
from benchcheck.kinds.supply import Supply
from benchcheck.kinds.supply import checks as supply_checks
from benchcheck.spec.board import Board, Net
from benchcheck.spec.findings import Findings, key_text
from benchcheck.spec.references import mentions
from benchcheck.spec.remarks import remarks
from benchcheck.spec.scope import beyond_scope, missing_for_power
from benchcheck.spec.sense import potential_faults
from benchcheck.spec.tables import BoardTable, NetTable
from benchcheck.spec.words import Path

__all__ = ["Entries", "assembled"]

_OURS = frozenset(map(id, KINDS))


@dataclass(frozen=True, slots=True)
class Entries:
    """Everything a document holds, read and sound each by itself, by name."""

    board: BoardTable
    nets: Mapping[str, NetTable]
    supplies: Mapping[str, Supply]
    rails: Mapping[str, Rail]
    parts: Mapping[str, Part]
    isolations: tuple[Isolation, ...]


def assembled(document: Document, entries: Entries, kinds: Mapping[str, Kind], found: Findings) -> Board:
    """Return the finished board; raises SpecError for what only the whole shows."""
    board = _bare(document, entries, kinds)
    _compare_voltages(board, found)
    checks = _checks(document, board, found)
    _find_doubles(checks, found)
    if found:
        raise SpecError(found.faults)
    beyond = beyond_scope(board, (check for _, check in checks))
    refusals = (*beyond, *missing_for_power(board))
    kept = tuple(check for _, check in checks if not (beyond and check.powered))
    by_id = {check.id: check for check in kept}
    withheld = frozenset(check.id for _, check in checks if check.id not in by_id)
    notes = Findings(document)
    for path, message in remarks(board, document):
        notes.add(message, *path)
    return replace(board, checks=kept, by_id=by_id, power_refusals=refusals, withheld=withheld, notes=notes.faults)


def _bare(document: Document, entries: Entries, kinds: Mapping[str, Kind]) -> Board:
    """Return the board without checks; every net that is named anywhere is in `nets`."""
    return Board(
        name=document.name,
        digest=document.digest,
        source=document.text,
        model=entries.board.model,
        revision=entries.board.revision,
        ambient_c=entries.board.ambient,
        hazards=entries.board.hazards,
        nets={
            place.net: _net(place.net, entries.nets.get(place.net, NetTable())) for place in mentions(document.data)
        },
        supplies=entries.supplies,
        rails=entries.rails,
        parts=entries.parts,
        isolations=entries.isolations,
        kinds={part.kind: kinds[part.kind] for part in entries.parts.values()},
    )


def _net(name: str, table: NetTable) -> Net:
    return Net(name, table.complete, table.voltage, table.max_probe_voltage, table.ac_voltage, table.peak_voltage)


def _compare_voltages(board: Board, found: Findings) -> None:
    fed: dict[Path, Rail | Supply] = {("rail", name): rail for name, rail in board.rails.items()}
    fed |= {("supply", name): supply for name, supply in board.supplies.items()}
    stated = {name: net.voltage for name, net in board.nets.items() if net.voltage is not None}
    known = {name: volts for name in board.nets if (volts := board.voltage(name)) is not None}
    for path, message in potential_faults(fed, stated, known):
        found.add(message, *path)


def _checks(document: Document, board: Board, found: Findings) -> list[tuple[Path, Check]]:
    """Return (table it comes from, check) in file order; what a kind refuses becomes a finding of its table."""
    made: list[tuple[Path, Check]] = []
    for path, make in _makers(document, board):
        try:
            made.extend((path, check) for check in _sound(make(), path))
        except InputError as error:
            for fault in error.faults:
                found.add(fault.message, *path, *(fault.key,) * bool(fault.key))
        except Exception as error:  # a stranger's kind
            found.add(f"its kind makes no checks of it: {type(error).__name__}: {error}", *path)
    return made


def _sound(checks: object, path: Path) -> Iterator[Check]:
    """Yield what a kind made, as long as it is checks, and a part's speak of that part; TypeError for the rest."""
    if not isinstance(checks, tuple):
        raise TypeError(f"a {type(checks).__name__} instead of a tuple of checks")
    for check in checks:
        if not isinstance(check, Check):
            raise TypeError(f"a {type(check).__name__} among the checks")
        if path[0] == "part" and not check.id.startswith(f"{path[1]}."):
            raise ValueError(f"the check {check.id}, which is not one of this part")
        yield check


Maker = Callable[[], tuple[Check, ...]]


def _makers(document: Document, board: Board) -> Iterator[tuple[Path, Maker]]:
    """Yield (table, what makes its checks), sections in file order."""
    makers: Mapping[str, Callable[[Board], Iterator[tuple[Path, Maker]]]] = {
        "part": _part_makers,
        "rail": _rail_makers,
        "supply": _supply_makers,
        "isolation": _isolation_makers,
    }
    for section in document.data:
        if section in makers:
            yield from makers[section](board)


def _part_makers(board: Board) -> Iterator[tuple[Path, Maker]]:
    apart: Board | None = None  # what a stranger's kind is shown: nothing it does there reaches the board
    for name, part in board.parts.items():
        kind, around = board.kinds[part.kind], board
        if id(kind) not in _OURS:
            around = apart = apart or copy.deepcopy(board)
        yield ("part", name), partial(part_checks, kind, around.parts.get(name, part), around)


def _rail_makers(board: Board) -> Iterator[tuple[Path, Maker]]:
    for name, rail in board.rails.items():
        yield ("rail", name), partial(rail_checks, rail, tuple(board.supplies.values()), board)


def _supply_makers(board: Board) -> Iterator[tuple[Path, Maker]]:
    supplies = tuple(board.supplies.values())
    for name, supply in board.supplies.items():
        fed = tuple(rail for rail in board.rails.values() if rail.fed_by(supplies) is supply)
        yield ("supply", name), partial(supply_checks, supply, fed, board)


def _isolation_makers(board: Board) -> Iterator[tuple[Path, Maker]]:
    for place, pair in enumerate(board.isolations):
        yield ("isolation", place), partial(isolation_checks, pair, board)


def _find_doubles(checks: list[tuple[Path, Check]], found: Findings) -> None:
    seen: dict[str, Path] = {}
    for path, check in checks:
        first = seen.setdefault(check.id.casefold(), path)
        if first != path:
            found.add(
                f"gives the check {check.id} a second time, after {key_text(first)}; keep one of the two", *path
            )
