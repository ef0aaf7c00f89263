"""The fault dictionary: what every probe pair reads under every fault.

Three ways, cheapest first. A reading in which the fault's parts carry nothing stays what it was. The others go
through the batch, starting from the good board's solution. What the batch cannot do (power on the board, a circuit
that does not arrive, capacitance and series resistance) is solved alone. How each was found is counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchcheck.errors import CircuitError

from .edited import EditedReadings
from .faults import Edit, FaultSizes, PartFault, edit_of
from .in_turn import fill_in_turn
from .netlist import Netlist
from .physics import Conditions, on_a_board
from .screening import NOTHING
from .settled import Settled
from .table import Probe, Progress, Table

__all__ = ["FaultDictionary", "edited_readings", "fault_dictionary"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class FaultDictionary:
    """Readings by fault and probe, in the units of the probes' functions; NaN stands for OL.

    `good` (probes), `readings` and `solved` (faults x probes); what is not solved is NaN too and no OL.
    `counts`: how many readings were untouched, solved in the batch, solved alone, and could not be solved.
    """

    probes: tuple[Probe, ...]
    faults: tuple[PartFault, ...]
    good: Floats
    readings: Floats
    solved: Bools
    counts: dict[str, int]

    def reading(self, fault: int, probe: int) -> float | None:
        """Return one reading, None for OL; raises CircuitError where it could not be solved."""
        if not self.solved[fault, probe]:
            where = self.probes[probe]
            raise CircuitError(
                f"{self.faults[fault]}: the reading from {where.red} to {where.black} cannot be solved"
            )
        value = float(self.readings[fault, probe])
        return None if np.isnan(value) else value


def fault_dictionary(
    netlist: Netlist,
    probes: Iterable[Probe],
    faults: Iterable[PartFault],
    conditions: Conditions | None = None,
    *,
    sizes: FaultSizes | None = None,
    progress: Progress | None = None,
) -> FaultDictionary:
    """Return what every probe reads on the good board and under every fault.

    `progress` is called with readings done and readings in all. Raises CircuitError for nets and parts that are not
    there and faults a part cannot have.

    The time is: the good board once, then per moved reading about ten eliminations whose operations grow with the
    parts (not with their cube, boards being sparse), and per fault one look at all probes.
    """
    wanted, known = tuple(probes), tuple(faults)
    for probe in wanted:
        netlist.require_nets(probe.red, probe.black)
    edits = [edit_of(netlist, fault, sizes or FaultSizes()) for fault in known]
    table = Table(netlist, wanted, edits, on_a_board(conditions), progress)
    _fill(table)
    rows = table.row_of_edit
    return FaultDictionary(wanted, known, table.value[0], table.value[rows], table.solved[rows], dict(table.counts))


def edited_readings(
    netlist: Netlist,
    probes: Iterable[Probe],
    edits: Iterable[Edit],
    conditions: Conditions | None = None,
    *,
    nothing: float = NOTHING,
    alone: bool = True,
    leanings: bool = False,
    begin: Settled | None = None,
) -> EditedReadings:
    """Return what every probe reads on the board as it is and under every edit of it.

    An edit whose parts carry less than `nothing` of the test current leaves a reading where it is: about as much of
    the reading is neglected, more only behind a transistor that conducts. Without `alone`, what the batch cannot do
    is left unsolved but on the board as it is: one such reading may cost as much as a thousand others. `begin` is
    where a board much like this one settled.

    Raises CircuitError for nets that are not there.
    """
    wanted, changes = tuple(probes), list(edits)
    for probe in wanted:
        netlist.require_nets(probe.red, probe.black)
    table = Table(netlist, wanted, changes, on_a_board(conditions))
    _fill(table, nothing, alone=alone, lean=leanings, begin=begin)
    return table.readings().of_rows(np.concatenate([np.zeros(1, np.intp), table.row_of_edit]))


def _fill(
    table: Table, nothing: float = NOTHING, *, alone: bool = True, lean: bool = False, begin: Settled | None = None
) -> None:
    """Read everything; without `alone` leave out, of edits, what the batch cannot do."""
    direct = table.last >= 0
    table.alone[:, ~direct] = True
    table.open[:, direct] = True
    if direct.any():
        fill_in_turn(table, nothing, patient=alone, lean=lean, begin=begin)
    if not alone:
        table.alone[1:] = False
    table.fill_alone()
