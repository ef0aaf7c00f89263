"""The kit for an instrument dialect: commands that drive, read back and switch off, an identity of its own."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import fields
from typing import Any, ClassVar

from benchcheck.conformance.sample import require
from benchcheck.instruments.catalogue import Catalogue, shipped_catalogue
from benchcheck.instruments.dialect import Dialect, LoadDialect, MeterDialect, SupplyDialect
from benchcheck.instruments.dialect_table import DialectTable, table_faults

__all__ = ["DialectKit"]

_PLACEHOLDERS = {"v", "ch", "range", "token"}
#: identities no dialect of somebody else may claim: the invented ones of the simulated bench, and nothing at all.
_OTHERS = ("", "Fenwater Instruments,S3205,200017,2.31", "Brackenholt,MM-61,1001,1.0")
_SUPPLY_MUST = ("set_v", "set_i", "get_v", "get_i", "on", "off", "out", "meas_v", "meas_i")
_LOAD_MUST = ("mode_cc", "set_i", "get_i", "on", "off", "meas_v", "meas_i")


class DialectKit:
    """Subclass as `Test...` and give `dialect`, and `identity` where it has a `match`: an answer to *IDN?.

    >>> class TestTarn(DialectKit):
    ...     dialect = DialectTable("tarn-40", {"match": "^TARNWORKS,M40", "dmm": {"r2w": "RES?"}})
    ...     identity = "TARNWORKS,M40,0001,1.2"
    >>> TestTarn().test_it_is_chosen_by_its_identity()
    """

    dialect: ClassVar[DialectTable]
    identity: ClassVar[str] = ""

    def built(self) -> tuple[Dialect, Catalogue]:
        """Return the dialect, and a catalogue with it beside the shipped ones."""
        shipped = shipped_catalogue()
        if self.dialect.name in {one.name for one in shipped.dialects}:
            return shipped.named(self.dialect.name), shipped
        catalogue = shipped.extended({self.dialect.name: self.dialect.table}, self.dialect.where)
        return catalogue.named(self.dialect.name), catalogue

    def test_its_table_is_one(self) -> None:
        """Every key is known and every value of the right type."""
        faults = tuple(table_faults(self.dialect))
        require(not faults, "; ".join(faults))

    def test_it_says_what_it_is_for(self) -> None:
        """It has a table `dmm`, `psu` or `load`, so that a meter is never taken for a supply."""
        roles = {"dmm", "psu", "load"} & set(self.dialect.table)
        require(roles, "it has no table dmm, psu or load; give the one of its instruments, empty if as generic")

    def test_it_is_chosen_by_its_identity(self) -> None:
        """The identity picks this dialect and no other, in each of its roles."""
        dialect, catalogue = self.built()
        require(
            bool(dialect.match) == bool(self.identity), "give the kit an identity when, and only when, it has a match"
        )
        for role in dialect.roles if self.identity else ():
            chosen = catalogue.choose(self.identity, "", role).dialect.name
            require(chosen == dialect.name, f'"{self.identity}" is taken for {chosen}; a shipped family comes first')

    def test_it_claims_nobody_elses_instruments(self) -> None:
        """Its pattern fits its own family, not everything: driving by guess is not harmless."""
        dialect, _ = self.built()
        for other in _OTHERS:
            require(not dialect.matches(other), f'its match "{dialect.match}" also fits "{other}"; make it narrower')

    def test_placeholders_are_known(self) -> None:
        """Commands hold no placeholder but {v}, {ch}, {range} and {token}."""
        for key, command in self._commands():
            strange = set(re.findall(r"\{(\w*)\}", command)) - _PLACEHOLDERS
            require(not strange, f"{key} holds {{{', '.join(strange)}}}; known are {sorted(_PLACEHOLDERS)}")

    def test_settings_carry_a_value(self) -> None:
        """What sets something says where the number goes."""
        for key, command in self._commands():
            setting = key.split(".")[1] in ("set_v", "set_i", "ovp_set", "ocp_set") and command
            require(not setting or "{v}" in command, f'{key} = "{command}" has no {{v}}, so it sets nothing')

    def test_channels_are_told_apart(self) -> None:
        """With several channels, commands name one, or one is selected and the choice read back."""
        dialect, _ = self.built()
        if dialect.psu.channels > 1 and "psu" in dialect.roles:
            named = "{ch}" in dialect.psu.set_v or dialect.psu.select
            require(named, "psu has several channels, and neither select nor {ch} in set_v says which")
            require(not dialect.psu.select or dialect.psu.select_query, "psu.select is never read back: select_query")

    def test_a_supply_can_be_set_seen_and_switched_off(self) -> None:
        """Nothing is driven that cannot be read back, and off is always there."""
        self._has("psu", _SUPPLY_MUST)

    def test_a_load_can_be_set_seen_and_switched_off(self) -> None:
        """Likewise for a load."""
        self._has("load", _LOAD_MUST)

    def test_a_meter_reads_something(self) -> None:
        """A meter has at least one function."""
        dialect, _ = self.built()
        require("dmm" not in dialect.roles or dialect.dmm.functions(), "dmm has no function it could read")

    def test_it_reaches_the_power_keeper(self) -> None:
        """The table survives the way into another process."""
        try:
            there = json.loads(json.dumps(_plain(self.dialect.table)))
        except (TypeError, ValueError) as error:
            raise AssertionError(f"the table is not plain data: {error}") from error
        again = Catalogue(shipped_catalogue().dialects).extended({self.dialect.name: there})
        require(again.named(self.dialect.name) == self.built()[0], "the table comes out of JSON as another dialect")

    def _has(self, role: str, keys: tuple[str, ...]) -> None:
        dialect, _ = self.built()
        missing = [key for key in keys if not getattr(getattr(dialect, role), key)]
        told = f"{role} has no {', '.join(missing)}; what cannot be set, read back and switched off is not driven"
        require(role not in dialect.roles or not missing, told)

    def _commands(self) -> Iterator[tuple[str, str]]:
        """Yield (key, command) of every command in the tables of the dialect's roles."""
        dialect, _ = self.built()
        parts: dict[str, MeterDialect | SupplyDialect | LoadDialect] = {
            "dmm": dialect.dmm,
            "psu": dialect.psu,
            "load": dialect.load,
        }
        for role in dialect.roles:
            for item in fields(parts[role]):
                value = getattr(parts[role], item.name)
                for command in value if isinstance(value, tuple) else (value,):
                    if isinstance(command, str):
                        yield f"{role}.{item.name}", command


def _plain(value: Any) -> Any:
    return {key: _plain(item) for key, item in value.items()} if isinstance(value, dict) else value
