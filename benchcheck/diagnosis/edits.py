"""What hypotheses do to a netlist, and readings under it: what is one circuit to direct current is solved once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from benchcheck.circuit.devices import Capacitor, Device, Resistor, Switch
from benchcheck.circuit.dictionary import Probe, edited_readings
from benchcheck.circuit.edited import EditedReadings
from benchcheck.circuit.faults import Edit, FaultSizes, PartFault, edit_of
from benchcheck.circuit.netlist import Netlist
from benchcheck.circuit.settled import Settled
from benchcheck.diagnosis.hypotheses import Hypothesis
from benchcheck.errors import CircuitError

__all__ = ["NOTHING_SEEN", "edits_of", "read_edited", "switched"]

#: of the test current in the parts a fault changes, what may be neglected beside a meter's error.
NOTHING_SEEN = 1e-5


def edits_of(netlist: Netlist, hypotheses: Sequence[Hypothesis]) -> list[Edit]:
    """Return what each hypothesis but the first does to this netlist; nothing where it does not apply."""
    return [_merged(_edit(netlist, fault) for fault in hypothesis.part_faults) for hypothesis in hypotheses[1:]]


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


def _edit(netlist: Netlist, fault: PartFault) -> Edit:
    try:
        return edit_of(netlist, fault, FaultSizes())
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
