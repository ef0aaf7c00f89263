"""Gates that nothing but leakage holds: what a meter reads through such a transistor is what it left on the gate.

A gate joined to the rest by junctions that block settles in minutes, at what their leakages come to, which nobody
knows: a number worked out from them would be no expectation.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchcheck.circuit.netlist import Netlist
    from benchcheck.circuit.parameters import Key
    from benchcheck.circuit.shown import MeterReading

__all__ = ["floating_gates"]

#: a threshold that moves the reading by less than this share of it per volt is not in it.
_IN_IT = 0.01


def floating_gates(netlist: Netlist, found: MeterReading, slopes: Mapping[Key, float]) -> tuple[str, ...]:
    """Return the MOSFETs that the reading goes through whose gate is held by blocking junctions only."""
    from benchcheck.circuit.connectivity import Groups, conductive_pairs
    from benchcheck.circuit.devices import Mosfet

    in_it = [
        device
        for device in netlist.devices
        if isinstance(device, Mosfet)
        and abs(slopes.get((device.designator, device.VALUE), 0.0)) > _IN_IT * abs(found.value or 0.0)
    ]
    if not in_it:
        return ()
    conducts: dict[str, bool] = {}
    for state in found.junctions:
        conducts[state.designator] = conducts.get(state.designator, False) or state.state != "blocks"
    joined = Groups(netlist.nets)
    for device in netlist.devices:
        if conducts.get(device.designator, True):
            for one, other in conductive_pairs(device):
                joined.join(one, other)
    return tuple(
        device.designator
        for device in in_it
        if not joined.together(device.gate, device.source) and not joined.together(device.gate, device.drain)
    )
