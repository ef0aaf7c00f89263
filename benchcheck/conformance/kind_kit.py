"""The kit for a part kind: what every kind keeps to, so that the rest of the house can rely on it."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from typing import Any, ClassVar, get_args

from benchcheck.bench.functions import Function
from benchcheck.circuit.devices import Device
from benchcheck.conformance.sample import require, sample_board
from benchcheck.errors import SpecError
from benchcheck.kinds.catalogue import part_checks
from benchcheck.kinds.check import Check, Phase
from benchcheck.kinds.part import Kind, kind_faults
from benchcheck.spec.board import Board
from benchcheck.spec.schema import json_schema

__all__ = ["KindKit"]

_ORIGINS = ("the spec", "standard:", "data sheets:", "computed:", "common practice")
_ID = re.compile(r"[A-Za-z0-9_+\-./]+(\[[A-Za-z0-9_+\-./:]+\])?")
#: functions that take no probes.
_UNTOUCHED = (Function.VISUAL, Function.DERIVED, Function.TIME)


class KindKit:
    """Subclass as `Test...` and give `kind` and `entry`, what stands under `[part.X1]` in a spec of yours.

    Nets of the sample board an entry may use: VIN (12 V), OUT (5 V), LMP, GND; any other is a new one.

    >>> from benchcheck.kinds.catalogue import KINDS
    >>> class TestResistor(KindKit):
    ...     kind, entry = KINDS[0], {"value": "10k", "nets": ["OUT", "GND"]}
    >>> TestResistor().test_it_gives_checks()
    """

    kind: ClassVar[Kind]
    entry: ClassVar[Mapping[str, Any]]

    def board(self, name: str = "X1", **more: Any) -> Board:
        """Return the sample board with the entry on it, under a designator, with further keys."""
        try:
            return sample_board({"kind": self.kind.name, **self.entry, **more}, self.kind, name)
        except SpecError as error:
            raise AssertionError(f"the sample board refuses it: {error}") from error

    def checks(self, name: str = "X1") -> tuple[Check, ...]:
        """Return the checks the kind makes of the entry."""
        board = self.board(name)
        return part_checks(self.kind, board.parts[name], board)

    def test_it_has_all_a_kind_needs(self) -> None:
        """Name, entry class, pins, functions and summary are there and of the right type."""
        faults = tuple(kind_faults(self.kind))
        require(not faults, "; ".join(faults))
        require(self.kind.entry.__doc__, "the entry class has no docstring; editors and people read it")

    def test_it_gives_checks(self) -> None:
        """An entry gives at least one check, each a frozen `Check` about that very part."""
        made = self.checks()
        require(made, "the entry gives no check at all")
        for one in made:
            require(isinstance(one, Check), f"{one!r} is no benchcheck.kinds.check.Check")
            require(one.subject == "X1", f'{one.id} is about "{one.subject}"; a kind speaks of its own part')
            require(one.id.startswith(f"X1.{one.measurand}"), f"{one.id} does not begin with X1.{one.measurand}")

    def test_ids_are_different_and_can_be_typed(self) -> None:
        """Ids are unique and hold nothing that a command line or pytest's -k would take for its own."""
        ids = [one.id for one in self.checks()]
        require(len({one.casefold() for one in ids}) == len(ids), f"an id comes twice: {', '.join(ids)}")
        for one in ids:
            require(_ID.fullmatch(one), f'"{one}" holds a sign that no id may: letters, digits, _ + - . / and []')

    def test_ids_follow_the_designator(self) -> None:
        """The same part under another designator gives the same checks about that one."""
        renamed = [one.id.replace("X1.", "QQ-7.", 1) for one in self.checks()]
        found = [one.id for one in self.checks("QQ-7")]
        require(found == renamed, f"under QQ-7 it gives {found}, under X1 {renamed}")

    def test_every_limit_says_where_it_comes_from(self) -> None:
        """Origins begin with what vouches for them; lower limits lie below upper ones."""
        for one in self.checks():
            limits = one.limits
            known = limits.origin.startswith(_ORIGINS)
            bare = limits.lower is None and limits.upper is None
            require(
                known or bare, f'{one.id}: "{limits.origin}" vouches for nothing; begin with {", ".join(_ORIGINS)}'
            )
            if limits.lower is not None and limits.upper is not None:
                require(limits.lower <= limits.upper, f"{one.id}: {limits.lower:g} is above {limits.upper:g}")

    def test_every_check_can_be_judged(self) -> None:
        """A check has a limit, or answers of which the first is the good one, or a formula with its sources."""
        for one in self.checks():
            bounded = one.limits.lower is not None or one.limits.upper is not None
            require(bounded or one.answers, f"{one.id} has neither a limit nor answers: nothing could fail it")
            require(not one.sources or one.formula, f"{one.id} has sources and no formula")
            require(one.function is not Function.VISUAL or one.answers, f"{one.id} is looked at, with no answers")

    def test_quantity_units_are_those_of_the_function(self) -> None:
        """Limits count in the quantity unit in which the function's display does."""
        for one in self.checks():
            require(isinstance(one.function, Function), f"{one.id}: {one.function!r} is no Function")
            require(isinstance(one.phase, Phase), f"{one.id}: {one.phase!r} is no Phase")
            unit = one.function.quantity_unit
            free = one.function in _UNTOUCHED
            require(
                free or one.quantity_unit == unit, f"{one.id} is in {one.quantity_unit}; {one.function} in {unit}"
            )

    def test_it_says_where_probes_go_and_why(self) -> None:
        """Red and black have a place, nets that are named belong to the part or the ground, and why is said."""
        board = self.board()
        nets = {*board.parts["X1"].pins.values(), board.ground()}
        for one in self.checks():
            require(one.why.strip(), f"{one.id} does not say why; a person at the bench asks")
            if one.function in _UNTOUCHED:
                continue
            require(one.red is not None and one.red.point, f"{one.id} does not say where red goes")
            for probe in (one.red, one.black):
                strange = probe is not None and probe.net is not None and probe.net not in nets
                require(not strange, f"{one.id} sends a probe to {probe}, which is not at this part")

    def test_sources_of_derived_checks_are_there(self) -> None:
        """What a derived check is computed from is checked too."""
        ids = {one.id for one in self.checks()}
        for one in self.checks():
            missing = [name for name in one.sources if name not in ids]
            require(not missing, f"{one.id} is computed from {', '.join(missing)}, which the kind does not give")

    def test_it_keeps_nothing_between_boards(self) -> None:
        """The same entry gives the same checks again, and entry and board are left as they were."""
        board = self.board()
        before = copy.deepcopy(board)
        first = self.kind.checks(board.parts["X1"], board)
        second = self.kind.checks(board.parts["X1"], board)
        require(first == second, "the same entry gives other checks the second time")
        require(board == before, "making the checks changed the board")

    def test_a_neighbour_is_not_checked(self) -> None:
        """`neighbour = true` makes it shape readings without being checked, where it can be read that way."""
        board = self.board(neighbour=True)
        require(not part_checks(self.kind, board.parts["X1"], board), "a neighbour gives checks")
        require(not [one.id for one in board.checks if one.subject == "X1"], "a neighbour is on the checklist")

    def test_its_devices_belong_to_a_circuit(self) -> None:
        """`devices`, where given, are devices of `benchcheck.circuit.devices` on the part's own nets."""
        if self.kind.devices is None:
            return
        part = self.board().parts["X1"]
        for one in self.kind.devices(part):
            require(isinstance(one, get_args(Device)), f"{one!r} is no device of benchcheck.circuit.devices")

    def test_editors_can_complete_it(self) -> None:
        """The JSON Schema for specs can be drawn with the kind in it."""
        require(self.kind.name in str(json_schema((self.kind,))), "the schema does not know the kind")
