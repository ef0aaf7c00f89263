"""What the tables of a spec say of each other: names used once, nets and switches that exist.

It reads the TOML as it stands, so that a fault in one value does not hide those of the names around it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from benchcheck.errors import close_match
from benchcheck.quantity.units import shown
from benchcheck.spec.findings import Findings, key_text
from benchcheck.spec.pins import check_name
from benchcheck.spec.words import Path, Wrong, describe

__all__ = ["MOST_HINTS", "Mention", "check_names", "check_nets", "check_switches", "lone_nets", "mentions"]

#: subjects of checks that belong to no part.
RESERVED = ("meter", "isolation", "ambient")
#: sections whose names share one namespace, in any case.
NAMED_SECTIONS = ("part", "rail", "supply")
#: parts whose position a check may set.
SWITCHES = ("switch", "connector")
#: nearest names are looked for this often in a file, so that a hopeless one is refused in seconds.
MOST_HINTS = 50
Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Mention:
    """One place where a net is named, and in which section of the file."""

    net: str
    section: str
    path: Path


def tables_of(data: Data, section: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield (name, table) of a section, leaving out what is no table."""
    entries = data.get(section)
    for name, table in entries.items() if isinstance(entries, dict) else ():
        if isinstance(table, dict):
            yield name, table


def check_names(data: Data, found: Findings) -> None:
    """Find names that ids cannot hold, and parts, rails and supplies that share one."""
    seen: dict[str, Path] = {}
    for section in (*NAMED_SECTIONS, "net"):
        for name, _ in tables_of(data, section):
            try:
                check_name(name, f"a {section}")
            except Wrong as error:
                found.take(error, section, name)
            if section == "net":
                continue
            if name.casefold() in RESERVED:
                found.add(f"{name} is a word benchcheck keeps to itself; choose another name", section, name)
            earlier = seen.setdefault(name.casefold(), (section, name))
            if earlier != (section, name):
                also = f"is named like {key_text(earlier)} in line {found.line(*earlier)}"
                found.add(f"{also}; parts, rails and supplies need names of their own in any case", section, name)


def mentions(data: Data) -> tuple[Mention, ...]:
    """Return every place of the file where a net is named."""
    places: list[Mention] = []
    for section in NAMED_SECTIONS:
        for name, table in tables_of(data, section):
            places.extend(_named_nets(table.get("nets"), section, (section, name, "nets")))
    pairs = data.get("isolation")
    for place, table in enumerate(pairs if isinstance(pairs, list) else ()):
        if isinstance(table, dict):
            places.extend(_named_nets(table.get("nets"), "isolation", ("isolation", place, "nets")))
    places.extend(Mention(name, "net", ("net", name)) for name, _ in tables_of(data, "net"))
    return tuple(places)


def _named_nets(nets: object, section: str, path: Path) -> Iterator[Mention]:
    if isinstance(nets, list | dict):
        for step, net in nets.items() if isinstance(nets, dict) else enumerate(nets):
            if isinstance(net, str):
                yield Mention(net, section, (*path, step))


def check_nets(data: Data, found: Findings) -> None:
    """Find nets spelt in two cases, and nets of rails, isolation and net tables that nothing is on.

    A part or a supply brings its nets into being; otherwise two tables must name a net before it exists. In
    a file whose parts name no nets at all, rails bring theirs.
    """
    places = mentions(data)
    _check_spelling(places, found)
    sections = {"part", "supply"} if any(place.section == "part" for place in places) else {"supply", "rail"}
    there = {place.net for place in places if place.section in sections}
    tables = Counter(net for net, _ in {(place.net, place.path[:2]) for place in places})
    lost = [place for place in places if place.net not in there and tables[place.net] < 2]
    for count, place in enumerate(lost):
        near = close_match(place.net, there) if count < MOST_HINTS else ""
        hint = near or "; name it in the nets of a part, or take it out here"
        found.add(f"no part or supply is on net {shown(place.net)}{hint}", *place.path)


def _check_spelling(places: tuple[Mention, ...], found: Findings) -> None:
    uses = Counter(place.net for place in places)
    usual: dict[str, str] = {}
    for net in sorted(uses, key=lambda net: -uses[net]):
        usual.setdefault(net.casefold(), net)
    for place in places:
        spelling = usual[place.net.casefold()]
        if spelling != place.net:
            message = f"net {shown(place.net)} is written {shown(spelling)} elsewhere; write one spelling"
            found.add(message, *place.path)


def lone_nets(data: Data) -> tuple[tuple[Path, str], ...]:
    """Return (path, remark) for nets that only one pin of one part is on: legal, and often a misspelling."""
    places = mentions(data)
    uses = Counter(place.net for place in places if place.section != "net")
    others = [net for net in uses if uses[net] > 1]
    alone = [place for place in places if place.section == "part" and uses[place.net] == 1]
    return tuple(
        (
            place.path,
            f'nothing else is on net "{place.net}"{close_match(place.net, others) if n < MOST_HINTS else ""}',
        )
        for n, place in enumerate(alone)
    )


def check_switches(data: Data, found: Findings) -> None:
    """Find positions for parts that are no switch, wherever a table says `switches`."""
    kinds = {name: table.get("kind") for name, table in tables_of(data, "part")}
    known = [name for name, kind in kinds.items() if kind in SWITCHES]
    there = f"; switches here are {', '.join(known[:MOST_HINTS])}" if known else "; it has no switches"
    strangers = [(path, name) for path, name in _positions(data) if kinds.get(name) not in SWITCHES]
    for count, (path, name) in enumerate(strangers):
        hint = (close_match(name, known) if count < MOST_HINTS else "") or there
        if name in kinds:
            found.add(f"{name} is of kind {describe(kinds[name])}, no switch or connector{hint}", *path)
        else:
            found.add(f"is no part of this board{hint}", *path)


def _positions(data: Data) -> Iterator[tuple[Path, str]]:
    """Yield (path, designator) of every position set: in an entry, or in one of its limits."""
    for path, table in _all_tables(data):
        yield from _set_in(path, table)
        for key, limit in table.items():
            if key != "switches" and isinstance(limit, dict):
                yield from _set_in((*path, key), limit)


def _all_tables(data: Data) -> Iterator[tuple[Path, Mapping[str, Any]]]:
    for section in NAMED_SECTIONS:
        yield from (((section, name), table) for name, table in tables_of(data, section))
    pairs = data.get("isolation")
    for place, table in enumerate(pairs if isinstance(pairs, list) else ()):
        if isinstance(table, dict):
            yield ("isolation", place), table


def _set_in(path: Path, table: Mapping[str, Any]) -> Iterator[tuple[Path, str]]:
    switches = table.get("switches")
    if isinstance(switches, dict):
        yield from (((*path, "switches", name), name) for name in switches)
