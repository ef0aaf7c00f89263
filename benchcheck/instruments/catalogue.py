"""The dialects there are: the shipped ones, those of plugins and those a user wrote, found by name or identity.

An identity picks the most specific family (the longest pattern), a shipped one before one of a plugin. A supply or
load nobody knows is not driven until the user names a dialect: reading is harmless, driving by guess is not.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from benchcheck.document import Document
from benchcheck.errors import BenchError, Fault, close_match
from benchcheck.instruments.dialect import Dialect, build_dialect
from benchcheck.instruments.dialect_table import DialectTable, shipped_tables

__all__ = ["Catalogue", "Choice", "catalogue_of", "shipped_catalogue"]

ROLES = {"dmm": "multimeter", "psu": "supply", "load": "electronic load"}


@dataclass(frozen=True, slots=True)
class Choice:
    """The dialect to use; `known` says that a family or the user named it, so that the instrument may be driven."""

    dialect: Dialect
    known: bool


@dataclass(frozen=True, slots=True)
class Catalogue:
    """A set of dialects, `generic` among them."""

    dialects: tuple[Dialect, ...]

    def named(self, name: str, where: str = "") -> Dialect:
        """Return a dialect by name; BenchError with a close match when there is none."""
        for dialect in self.dialects:
            if dialect.name == name:
                return dialect
        names = [dialect.name for dialect in self.dialects]
        hint = close_match(name, names)
        allowed = ", ".join(sorted(names))
        raise BenchError(Fault(where, "dialect", f'there is no dialect "{name}"{hint}; known: {allowed}'))

    def family(self, identity: str) -> Dialect | None:
        """Return the most specific family an identity belongs to.

        A shipped family comes before one of a plugin: its commands drive what was driven so before, and only a
        dialect named in the bench file takes its place.
        """
        found = [dialect for dialect in self.dialects if dialect.matches(identity)]
        shipped = [dialect for dialect in found if dialect.name in _shipped_names()]
        return max(shipped or found, key=lambda dialect: len(dialect.match), default=None)

    def choose(self, identity: str, name: str, role: str) -> Choice:
        """Return the dialect for an instrument; BenchError when it is somebody else than it should be.

        `name` is the dialect of the bench file ("" for none), `role` one of dmm, psu, load.
        """
        family = self.family(identity)
        if family is not None and role not in family.roles:
            others = " or ".join(ROLES[other] for other in family.roles)
            raise BenchError(
                f'"{identity}" answers there, which is a {others}, not a {ROLES[role]}; '
                "check the resource in the bench file"
            )
        if not name:
            return Choice(family or self.named("generic"), family is not None)
        dialect = self.named(name)
        if dialect.match and family is not None and family.name != name and not dialect.matches(identity):
            raise BenchError(
                f'"{identity}" answers there, which speaks {family.name}, not {name}; '
                "check the resource, or name the dialect it speaks"
            )
        return Choice(dialect, True)

    def extended(self, tables: Mapping[str, Any], where: str = "") -> Catalogue:
        """Return a catalogue with further dialects, each an override of generic; later ones win by name."""
        generic = self.named("generic")
        made = [build_dialect(name, table, generic, where) for name, table in tables.items()]
        names = {dialect.name for dialect in made}
        return Catalogue((*(old for old in self.dialects if old.name not in names), *made))

    def with_document(self, document: Document, tables: Mapping[str, Any] | None = None) -> Catalogue:
        """Return a catalogue with the dialects of a document, or those of its `tables`.

        BenchError with the line of every fault.
        """
        faults: list[Fault] = []
        catalogue = self
        for name, table in (document.data if tables is None else tables).items():
            if not isinstance(table, Mapping):
                faults.append(
                    Fault(document.where(name), name, "must be a table: [name] with link, dmm, psu or load")
                )
                continue
            try:
                catalogue = catalogue.extended({name: table}, document.name)
            except BenchError as reason:
                faults += [Fault(_place(document, fault.key), fault.key, fault.message) for fault in reason.faults]
        if faults:
            raise BenchError(faults)
        return catalogue


def _place(document: Document, key: str) -> str:
    return document.where(*key.split("."))


def catalogue_of(tables: Iterable[DialectTable]) -> Catalogue:
    """Return the catalogue of dialect tables, `generic` the first; BenchError with every fault of a table."""
    generic, *rest = tables
    catalogue = Catalogue((build_dialect(generic.name, generic.table, where=generic.where),))
    for one in rest:
        catalogue = catalogue.extended({one.name: one.table}, one.where)
    return catalogue


@functools.cache
def shipped_catalogue() -> Catalogue:
    """Return the dialects that come with benchcheck."""
    return catalogue_of(shipped_tables())


@functools.cache
def _shipped_names() -> frozenset[str]:
    return frozenset(table.name for table in shipped_tables())
