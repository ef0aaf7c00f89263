"""What hypotheses do to a netlist, and readings under it: what is one circuit to direct current is solved once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchcheck.circuit.devices import Capacitor, Device, Diode, Resistor, Switch
from benchcheck.circuit.dictionary import edited_readings
from benchcheck.circuit.edited import EditedReadings
from benchcheck.circuit.faults import Edit, FaultSizes, PartFault, edit_of
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.settled import Settled
from benchcheck.circuit.table import Probe
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.diagnosis.spread import junction_moved
from benchcheck.errors import CircuitError

__all__ = ["NOTHING_SEEN", "Own", "edits_of", "read_edited", "switched"]

#: of the test current in the parts a fault changes, what may be neglected beside a meter's error.
NOTHING_SEEN = 1e-5


@dataclass(frozen=True, slots=True)
class Own:
    """What is a fault's own, by how much it strays: its resistance (a ratio), and the junction it leaves (volts)."""

    ohms: float = 1.0
    drop_v: float = 0.0
    ideality: float = 0.0


def edits_of(netlist: Netlist, hypotheses: Sequence[Hypothesis], own: Own = Own()) -> list[Edit]:
    """Return what each hypothesis but the first does to this netlist; nothing where it does not apply."""
    sizes = FaultSizes().times(own.ohms)
    every = ((_edit(netlist, fault, sizes) for fault in hypothesis.part_faults) for hypothesis in hypotheses[1:])
    return [_with_junctions(netlist, _merged(edits), own) for edits in every]


def _with_junctions(netlist: Netlist, edit: Edit, own: Own) -> Edit:
    """Return the edit with the junctions moved that are no part's of the board."""
    if not own.drop_v and not own.ideality:
        return edit
    added = (
        junction_moved(device, own.drop_v, own.ideality)
        if isinstance(device, Diode) and device.designator not in netlist.by_designator
        else device
        for device in edit.added
    )
    return replace(edit, added=tuple(added))


def _merged(edits: Iterable[Edit]) -> Edit:
    """Return edits as one; of two that change one device the first counts."""
    removed: tuple[str, ...] = ()
    added: dict[str, Device] = {}
    for edit in edits:
        if not set(edit.removed) & set(removed):
            removed += edit.removed
            for device in edit.added:
                added.setdefault(device.designator, device)
    return Edit(removed, tuple(added.values()))


def _edit(netlist: Netlist, fault: PartFault, sizes: FaultSizes) -> Edit:
    try:
        return edit_of(netlist, fault, sizes)
    except CircuitError:
        return Edit()  # a leak across a contact that is closed in this position


def read_edited(
    netlist: Netlist, probes: Sequence[Probe], edits: Sequence[Edit], *, alone: bool = True, leanings: bool = False,
    begin: Settled | None = None,
) -> EditedReadings:  # fmt: skip
    """Return readings under edits, those that are one to direct current solved once.

    Without `alone`, the few readings that take a solution of their own are not solved.
    """
    first: dict[object, int] = {}
    kept: list[Edit] = []
    row_of = []
    for edit in edits:
        key = _to_direct_current(netlist, edit)
        if key not in first:
            first[key] = len(kept)
            kept.append(edit)
        row_of.append(first[key] + 1)
    found = edited_readings(netlist, probes, kept, nothing=NOTHING_SEEN, alone=alone, leanings=leanings, begin=begin)
    return found.of_rows(np.array([0, *row_of], dtype=np.intp))


def _to_direct_current(netlist: Netlist, edit: Edit) -> tuple[frozenset[str], frozenset[Device]]:
    """Return what direct current sees of an edit: all shorts between two nets by capacitors are one."""
    removed = (name for name in edit.removed if not _blocks(netlist.device(name)))
    added = (_anonymous(device) for device in edit.added if not _blocks(device))
    return frozenset(removed), frozenset(added)


def _blocks(device: Device) -> bool:
    return isinstance(device, Capacitor) and not device.leakage_ohm


def _anonymous(device: Device) -> Device:
    if isinstance(device, Resistor) and device.a > device.b:
        device = replace(device, a=device.b, b=device.a)
    return replace(device, designator="")


def switched(netlist: Netlist, positions: Sequence[tuple[str, str]]) -> Netlist:
    """Return the netlist with switches in these positions."""
    wanted = dict(positions)
    moved = (
        replace(device, closed=wanted[device.designator] == "closed")
        if isinstance(device, Switch) and device.designator in wanted
        else device
        for device in netlist.devices
    )
    return Netlist(moved, sound=netlist.devices) if wanted else netlist
