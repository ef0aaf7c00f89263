"""One good board and its faulty variants, laid out so that all of them share one matrix pattern.

Every variant is the good board with a few devices out and a few in. Resistive changes are another column of constant
values; a junction or transistor that is changed is switched off in its place and comes back as an extra beside the
pattern. What does not fit (a transistor with resistances inside that changes) is marked and solved by itself.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .cards import Junction, bjt_arrays, junction_arrays, mosfet_arrays
from .compiled import Branch, Lists, placed
from .connectivity import Groups, conductive_pairs, ideal_short
from .devices import Bjt, Device, Mosfet
from .elimination import Elimination, elimination_of
from .faults import Edit
from .netlist import Netlist
from .physics import BOARD_LEAK_S, BjtArrays, Conditions, JunctionArrays, MosfetArrays
from .stamps import has_inner_resistances, maps, without_inner_resistances

__all__ = ["OPEN_OHM", "Extras", "Variants"]

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]

#: from a gate that nothing holds to its source: enough against the leak, nothing to a meter
_GATE_S = 1e-11
#: resistances below this, in ohm, are branches with a current of their own
_BRANCH_BELOW_OHM = 1.0
OPEN_OHM = 1e12  # a branch that is out


@dataclass(frozen=True, slots=True)
class Extras:
    """Changed devices of all variants: which variant has which (-1: none), their parameters and rows.

    At most one junction, one bipolar transistor and one channel a variant; `open_pin` is the transistor's lifted pin
    (0 collector, 1 base, 2 emitter; -1: none). `junction_names` and `bjt_names` are their designators.
    """

    junction_of: Indices
    junctions: JunctionArrays
    junction_rows: Indices
    bjt_of: Indices
    bjts: BjtArrays
    bjt_rows: Indices
    open_pin: Indices
    mosfet_of: Indices
    mosfets: MosfetArrays
    mosfet_rows: Indices
    junction_names: tuple[str, ...]
    bjt_names: tuple[str, ...]


@dataclass(slots=True)
class _Variant:
    """What one variant has beside the good board."""

    removed: frozenset[str]
    ohmic: list[tuple[int, int, float]]
    ohmic_names: tuple[str, ...]
    junctions: list[Junction]
    bjts: list[tuple[Bjt, tuple[int, int, int], int]]
    mosfets: list[tuple[Mosfet, tuple[int, int, int]]]
    ties: list[tuple[int, int]]
    fits: bool


class Variants:
    """The good board (variant 0) and one variant per edit.

    `at_rest` says whether the board is without power and charge, as the batch needs it, and `fits` which variants the
    batch can solve. `elimination` is the shared pattern, `entries` the (row, column) entries that each variant puts
    something into; `constant` the constant values (places x variants); `controls` turns net voltages into what
    devices see, `stamp` and `feed` turn their slopes and offsets into matrix values and right sides; `off_slopes` and
    `off_seen` (variants x k) list the rows a variant lacks; `has_extras` which variants have changed devices.
    """

    def __init__(self, netlist: Netlist, edits: Sequence[Edit], conditions: Conditions) -> None:
        self.conditions = conditions
        self.netlist = without_inner_resistances(netlist.expanded)
        self.row_of = _rows(self.netlist)
        self.nets = 1 + max(self.row_of.values(), default=-1)
        good = placed(self.netlist.devices, self.row_of)
        charged = any(isinstance(d, Mosfet) and d.stored_gate_v for d in self.netlist.devices)
        powered = good.currents or good.supplies or any(b.voltage_v for b in good.branches)
        self.at_rest = not (charged or powered)
        self._split(good)
        self._mosfets = [device for device in self.netlist.devices if isinstance(device, Mosfet)]
        self._pairs = [(device.designator, self._row_pairs(device)) for device in self.netlist.devices]
        self.junctions, self.bjts, self.mosfets = good.junctions, good.bjts, good.mosfets
        variants = [self._variant(edit) for edit in (Edit(), *edits)]
        self.removed = tuple(variant.removed for variant in variants)
        self.added_ohmic = tuple(tuple(variant.ohmic) for variant in variants)
        self.added_names = tuple(variant.ohmic_names for variant in variants)
        self.fits = np.array([variant.fits for variant in variants])
        self.ties_moved = np.array([variant.ties != variants[0].ties for variant in variants])
        self.size = self.nets + len(self.branches)
        self.entries = tuple(_entries(variant) for variant in variants)
        self.elimination = self._pattern()
        self._lay_out()
        self.constant = np.stack([self._column(variant) for variant in variants], axis=1)
        self.junction_arrays = junction_arrays(self.junctions, conditions)
        self.bjt_arrays = bjt_arrays([bjt for bjt, _ in self.bjts], conditions)
        self.mosfet_arrays = mosfet_arrays([mosfet for mosfet, _ in self.mosfets], conditions)
        self.controls, self.stamp, self.feed = maps(self.junctions, self.bjts, self.mosfets, self.elimination)
        self.off_slopes, self.off_seen = self._switched_off(variants)
        self.extras = self._extras(variants)
        changed = (self.extras.junction_of, self.extras.bjt_of, self.extras.mosfet_of)
        self.has_extras = np.any([index >= 0 for index in changed], axis=0)
        self.places = self._place_table()

    # what the board is made of ------------------------------------------------------------------------------

    def _split(self, good: Lists) -> None:
        """Sort resistances into conductances and, along a forest, branches; each branch has a net of its own."""
        ohmic = [(name, a, b, 1.0 / siemens) for name, a, b, siemens in good.conductances]
        ohmic += [(b.designator, b.plus, b.minus, b.resistance_ohm) for b in good.branches]
        forest = Groups()
        low: list[tuple[str, int, int, float]] = []
        self.conductances: list[tuple[str, int, int, float]] = []
        for name, a, b, ohm in ohmic:
            if ohm < _BRANCH_BELOW_OHM and forest.join(str(a), str(b)):
                low.append((name, a, b, ohm))
            else:
                self.conductances.append((name, a, b, 1.0 / ohm))
        joined = Counter(row for _, a, b, _ in self.conductances for row in (a, b))
        joined.update(row for j in good.junctions for row in (j.plus, j.minus))
        joined.update(row for _, rows in (*good.bjts, *good.mosfets) for row in rows)
        self.branches = list(_oriented(low, joined))

    def _variant(self, edit: Edit) -> _Variant:
        lists = placed(edit.added, self.row_of)
        ohmic = [(a, b, 1.0 / siemens) for _, a, b, siemens in lists.conductances]
        ohmic += [(b.plus, b.minus, b.resistance_ohm) for b in lists.branches]
        names = (*(name for name, *_ in lists.conductances), *(b.designator for b in lists.branches))
        bjts = [(bjt, rows, -1) for bjt, rows in lists.bjts]
        bjts += [lifted for device in edit.added if isinstance(device, Bjt) and (lifted := self._lifted(device))]
        bodies: list[Junction] = []
        inner = any(has_inner_resistances(device) for device in edit.added)
        for device in edit.added:
            # a MOSFET whose gate is lifted is its body diode; without drain or source it is nothing
            if isinstance(device, Mosfet) and device.gate not in self.row_of and device.stored_gate_v == 0:
                bodies += placed((replace(device, gate=device.source),), self.row_of).junctions
        junctions = [*lists.junctions, *bodies]
        fits = not (
            inner or lists.currents or lists.supplies or len(junctions) > 1 or len(bjts) > 1 or len(lists.mosfets) > 1
        )
        ties = self._ties(edit)
        removed = frozenset(edit.removed)
        return _Variant(removed, ohmic, names, junctions, bjts, lists.mosfets, ties, fits)

    def _lifted(self, device: Bjt) -> tuple[Bjt, tuple[int, int, int], int] | None:
        """Return a transistor with one pin on a net of its own, that pin standing in for another."""
        rows = [self.row_of.get(net) for net in (device.collector, device.base, device.emitter)]
        if rows.count(None) != 1:
            return None
        pin = rows.index(None)
        known = [row for row in rows if row is not None]
        if known[0] == known[1]:
            return None
        filled = [known[0] if row is None else row for row in rows]
        return device, (filled[0], filled[1], filled[2]), pin

    def _ties(self, edit: Edit) -> list[tuple[int, int]]:
        """Return the rows of gates that only their charge holds in a variant, with their sources' rows."""
        mosfets = [device for device in edit.added if isinstance(device, Mosfet)]
        mosfets += [m for m in self._mosfets if m.designator not in edit.removed]
        if not mosfets:
            return []
        joined = RowGroups(self.nets)
        for name, pairs in self._pairs:
            if name not in edit.removed:
                joined.join_all(pairs)
        for device in edit.added:
            joined.join_all(self._row_pairs(device))
        ties = []
        for mosfet in mosfets:
            gate, source = self.row_of.get(mosfet.gate), self.row_of.get(mosfet.source)
            if gate is not None and source is not None and joined.join(source, gate):
                ties.append((gate, source))
        return ties

    def _row_pairs(self, device: Device) -> list[tuple[int, int]]:
        rows = ((self.row_of.get(a), self.row_of.get(b)) for a, b in conductive_pairs(device))
        return [(a, b) for a, b in rows if a is not None and b is not None]

    # the pattern ----------------------------------------------------------------------------------------------

    def _pattern(self) -> Elimination:
        entries: dict[tuple[int, int], None] = {(net, net): None for net in range(self.nets)}
        pairs = [(a, b) for _, a, b, _ in self.conductances]
        pairs += [(j.plus, j.minus) for j in self.junctions]
        triples = [rows for _, rows in (*self.bjts, *self.mosfets)]
        for group in (*pairs, *triples):
            entries |= dict.fromkeys(_corners_of(group))
        entries |= dict.fromkeys(entry for added in self.entries for entry in sorted(added))
        for at, branch in enumerate(self.branches, self.nets):
            places = ((branch.plus, at), (branch.minus, at), (at, branch.plus), (at, branch.minus), (at, at))
            entries |= dict.fromkeys(places)
        first = tuple((at, branch.plus) for at, branch in enumerate(self.branches, self.nets))
        return elimination_of(self.size, tuple(entries), first)

    def _column(self, variant: _Variant) -> Floats:
        """Return the constant values of one variant, every sum made anew so that nothing is left of what is out."""
        places = self.elimination.places
        kept = [self._own_places, self._own_values]
        at, values, owners = self._conductance_entries
        if variant.removed:
            stays = ~np.isin(owners, [self._owner[name] for name in variant.removed if name in self._owner])
            at, values = at[stays], values[stays]
        more = [(a, b, 1.0 / ohm) for a, b, ohm in variant.ohmic] + [(a, b, _GATE_S) for a, b in variant.ties]
        added = [(places[row, col], sign * g) for a, b, g in more for row, col, sign in _corners(a, b)]
        spots = np.concatenate([kept[0], at, np.array([spot for spot, _ in added], dtype=np.intp)])
        amounts = np.concatenate([kept[1], values, np.array([amount for _, amount in added])])
        column = np.zeros(len(places)) + np.bincount(spots, amounts, len(places))
        for number, branch in enumerate(self.branches, self.nets):
            if branch.designator in variant.removed:
                column[places[number, number]] = -OPEN_OHM
        return column

    def _lay_out(self) -> None:
        """Work out once where the good board's constants go."""
        places = self.elimination.places
        self._owner = {name: number for number, (name, *_) in enumerate(self.conductances)}
        corners = [
            (places[row, col], sign * siemens, self._owner[name])
            for name, a, b, siemens in self.conductances
            for row, col, sign in _corners(a, b)
        ]
        self._conductance_entries = (
            np.array([spot for spot, _, _ in corners], dtype=np.intp),
            np.array([amount for _, amount, _ in corners]),
            np.array([owner for _, _, owner in corners], dtype=np.intp),
        )
        own = [(places[net, net], self.conditions.leak_s or BOARD_LEAK_S) for net in range(self.nets)]
        for at, branch in enumerate(self.branches, self.nets):
            own += [(places[at, branch.plus], 1.0), (places[at, branch.minus], -1.0)]
            own += [(places[branch.plus, at], 1.0), (places[branch.minus, at], -1.0)]
            own.append((places[at, at], -branch.resistance_ohm))
        self._own_places = np.array([spot for spot, _ in own], dtype=np.intp)
        self._own_values = np.array([amount for _, amount in own])

    # variants ---------------------------------------------------------------------------------------------------

    def _switched_off(self, variants: Sequence[_Variant]) -> tuple[Indices, Indices]:
        """Return which slope rows and which rows of what devices see each variant lacks, filled up with the last."""
        j, q, m = len(self.junctions), len(self.bjts), len(self.mosfets)
        slopes, seen = [], []
        for variant in variants:
            lacks_j = [at for at, junction in enumerate(self.junctions) if junction.designator in variant.removed]
            lacks_q = [at for at, (bjt, _) in enumerate(self.bjts) if bjt.designator in variant.removed]
            lacks_m = [at for at, (mosfet, _) in enumerate(self.mosfets) if mosfet.designator in variant.removed]
            pairs_q = [j + k * q + at for k in range(2) for at in lacks_q]
            pairs_m = [j + 2 * q + k * m + at for k in range(2) for at in lacks_m]
            seen.append([*lacks_j, *pairs_q, *pairs_m])
            fours = [j + k * q + at for k in range(4) for at in lacks_q]
            slopes.append([*lacks_j, *fours, *(at + 2 * q for at in pairs_m)])
        return _filled(slopes, j + 4 * q + 2 * m), _filled(seen, j + 2 * q + 2 * m)

    def _extras(self, variants: Sequence[_Variant]) -> Extras:
        junctions = [(v, junction) for v, variant in enumerate(variants) for junction in variant.junctions[:1]]
        bjts = [(v, bjt) for v, variant in enumerate(variants) for bjt in variant.bjts[:1]]
        mosfets = [(v, mosfet) for v, variant in enumerate(variants) for mosfet in variant.mosfets[:1]]
        count = len(variants)
        return Extras(
            junction_of=_index_of([v for v, _ in junctions], count),
            junctions=junction_arrays([junction for _, junction in junctions], self.conditions),
            junction_rows=np.array([(x.plus, x.minus) for _, x in junctions], dtype=np.intp).reshape(-1, 2),
            bjt_of=_index_of([v for v, _ in bjts], count),
            bjts=bjt_arrays([bjt for _, (bjt, _, _) in bjts], self.conditions),
            bjt_rows=np.array([rows for _, (_, rows, _) in bjts], dtype=np.intp).reshape(-1, 3),
            open_pin=np.array([pin for _, (_, _, pin) in bjts], dtype=np.intp),
            mosfet_of=_index_of([v for v, _ in mosfets], count),
            mosfets=mosfet_arrays([mosfet for _, (mosfet, _) in mosfets], self.conditions),
            mosfet_rows=np.array([rows for _, (_, rows) in mosfets], dtype=np.intp).reshape(-1, 3),
            junction_names=tuple(junction.designator for _, junction in junctions),
            bjt_names=tuple(bjt.designator for _, (bjt, _, _) in bjts),
        )

    def _place_table(self) -> Indices:
        table = np.full((self.size, self.size), -1, dtype=np.intp)
        for (row, col), place in self.elimination.places.items():
            table[row, col] = place
        return table


class RowGroups:
    """Rows in groups that are joined: a union-find over numbers."""

    def __init__(self, count: int) -> None:
        self._parent = list(range(count))

    def join(self, first: int, second: int) -> bool:
        """Join two groups; return False when they were one already."""
        parent = self._parent
        while parent[first] != first:
            parent[first] = first = parent[parent[first]]
        while parent[second] != second:
            parent[second] = second = parent[parent[second]]
        parent[second] = first
        return first != second

    def join_all(self, pairs: Iterable[tuple[int, int]]) -> None:
        """Join the groups of every pair."""
        for first, second in pairs:
            self.join(first, second)


def _entries(variant: _Variant) -> frozenset[tuple[int, int]]:
    """Return the rows and columns of what a variant has beside the good board."""
    pairs = [(a, b) for a, b, _ in variant.ohmic] + variant.ties + [(j.plus, j.minus) for j in variant.junctions]
    triples = [rows for _, rows, _ in variant.bjts] + [rows for _, rows in variant.mosfets]
    return frozenset(entry for group in (*pairs, *triples) for entry in _corners_of(group))


def _corners_of(rows: Sequence[int]) -> Iterable[tuple[int, int]]:
    """Return every pair of some rows, each with itself too."""
    return ((row, col) for row in rows for col in rows)


def _filled(lists: Sequence[Sequence[int]], by: int) -> Indices:
    width = max(map(len, lists), default=0)
    return np.array([[*rows, *[by] * (width - len(rows))] for rows in lists], dtype=np.intp).reshape(
        len(lists), width
    )


def _corners(a: int, b: int) -> tuple[tuple[int, int, float], ...]:
    """Return where a conductance between two rows goes, with signs."""
    return (a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)


def _index_of(owners: Sequence[int], count: int) -> Indices:
    index = np.full(count, -1, dtype=np.intp)
    index[list(owners)] = np.arange(len(owners))
    return index


def _rows(netlist: Netlist) -> dict[str, int]:
    """Return a row for every net; ideal shorts share one."""
    merged = Groups(netlist.nets)
    for device in netlist.devices:
        if pair := ideal_short(device):
            merged.join(*pair)
    numbers: dict[str, int] = {}
    for net in netlist.nets:
        numbers.setdefault(merged.find(net), len(numbers))
    return {net: numbers[merged.find(net)] for net in netlist.nets}


def _oriented(low: Sequence[tuple[str, int, int, float]], joined: Mapping[int, int]) -> Iterable[Branch]:
    """Yield the branches of a forest so that each one's plus net is no other's: away from a root.

    The roots are the nets that most else is joined to: their rows are kept to the last, and fill little.
    """
    beside: dict[int, list[int]] = {}
    for at, (_, a, b, _) in enumerate(low):
        beside.setdefault(a, []).append(at)
        beside.setdefault(b, []).append(at)
    seen: set[int] = set()
    for root in sorted(beside, key=lambda net: -joined.get(net, 0)):
        waiting = [] if root in seen else [root]
        seen.add(root)
        while waiting:
            net = waiting.pop()
            for at in beside[net]:
                name, a, b, ohm = low[at]
                child = b if a == net else a
                if child not in seen:
                    seen.add(child)
                    waiting.append(child)
                    yield Branch(name, child, net, ohm)
