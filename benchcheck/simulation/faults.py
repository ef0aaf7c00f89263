"""What may be wrong with a virtual unit or with the hand that measures it, from the words a user writes.

Faults of parts are those of the circuit room ("D3 reversed", "bridge GDR LX"); a part without a circuit model can be
open or short. Faults of the operator are words of their own; some of them name a check.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from benchcheck.circuit.devices import Device, Mosfet, Resistor, part_of
from benchcheck.circuit.faults import CODES, PartFault, faulty, parse_fault, possible_faults
from benchcheck.circuit.netlist import Netlist
from benchcheck.errors import CircuitError, Fault, UsageError, close_match

__all__ = ["OPERATOR_FAULTS", "FaultsOfUnit", "parse_faults"]

#: word -> what the hand or the meter does
OPERATOR_FAULTS: Mapping[str, str] = {
    "probes-swapped": "red and black are exchanged, always",
    "leads-not-nulled": "the resistance of the leads stays in every two-wire reading",
    "lead-open": "one lead is broken, whatever meter it is on: nothing is between the tips",
    "tips-joined": "the leads are joined ahead of the tips, whatever meter they are on",
    "charged-gate": "gates that nothing holds keep the charge of a touch",
    "residual-charge": "the capacitors still hold charge when the visit begins",
    "typed-1000": "one typed reading (its check may be named) has lost its prefix",
}
_OF_A_CHECK = "typed-1000"
#: of many names so many are told, and of the ways to write a fault so many.
_NAMED, _WRITTEN = 20, 3


@dataclass(frozen=True, slots=True)
class FaultsOfUnit:
    """The faults of parts in the order given, of parts without a model, and of the operator with their argument."""

    parts: tuple[PartFault, ...] = ()
    unmodelled: tuple[PartFault, ...] = ()
    operator: tuple[tuple[str, str], ...] = ()

    def operator_does(self, word: str) -> bool:
        """Return whether the operator has this fault."""
        return any(known == word for known, _ in self.operator)

    def argument(self, word: str) -> str:
        """Return what an operator fault names, "" for nothing."""
        return next((argument for known, argument in self.operator if known == word), "")

    def in_words(self) -> str:
        """Return every fault as it was written, "" for none."""
        said = [str(fault) for fault in (*self.parts, *self.unmodelled)]
        return ", ".join(said + [" ".join(filter(None, pair)) for pair in self.operator])

    def of_part(self, designator: str) -> tuple[PartFault, ...]:
        """Return the faults of one part, devices of an integrated circuit counted as the part."""
        every = (*self.parts, *self.unmodelled)
        return tuple(fault for fault in every if fault.designator.partition(":")[0] == designator)

    def applied_to(self, netlist: Netlist, pins: Mapping[str, Mapping[str, str]]) -> Netlist:
        """Return a netlist with all faults of parts; `pins` are the nets of parts without a model."""
        for fault in self.parts:
            netlist = faulty(netlist, fault)
        return netlist.adding(*(short for one in self.unmodelled for short in _shorts(one, pins)))


def _shorts(fault: PartFault, pins: Mapping[str, Mapping[str, str]]) -> tuple[Device, ...]:
    if fault.code != "short":
        return ()
    first, second = tuple(pins[fault.designator].values())[:2]
    return (Resistor(f"{fault.designator}:short", first, second, 0.05),)


def parse_faults(
    texts: Iterable[str], netlist: Netlist, unmodelled: Mapping[str, Any], checks: Collection[str] = ()
) -> FaultsOfUnit:
    """Return what a list of texts names; raises UsageError with every text that names nothing.

    `unmodelled` holds the parts that have pins but no circuit model, by designator; `checks` the names of what is
    typed.
    """
    parts: list[PartFault] = []
    others: list[PartFault] = []
    operator: list[tuple[str, str]] = []
    wrong: list[Fault] = []
    for text in texts:
        words = text.split()
        if words and words[0] in OPERATOR_FAULTS:
            operator.append((words[0], " ".join(words[1:])))
            wrong += [Fault("--fault", "", why) for why in _slip_refused(text, netlist, checks)]
        elif len(words) == 2 and words[0] in unmodelled and words[1] in ("open", "short"):
            others.append(PartFault("open" if words[1] == "open" else "short", words[0]))
        else:
            try:
                parts.append(parse_fault(text, netlist))
            except CircuitError as error:
                wrong.append(Fault("--fault", "", _refusal(text, str(error), netlist, unmodelled)))
    if wrong:
        raise UsageError(wrong)
    return FaultsOfUnit(tuple(parts), tuple(others), tuple(operator))


def _slip_refused(text: str, netlist: Netlist, checks: Collection[str]) -> Iterator[str]:
    """Yield why a fault of the operator cannot be, if it cannot."""
    word, _, named = text.strip().partition(" ")
    if named and word != _OF_A_CHECK:
        yield f'"{text}": this is done to every reading; write {word} alone'
    elif named and named.strip() not in checks:
        near = close_match(named.strip(), checks) or "; check-spec lists the board's checks"
        yield f'"{text}": the board has no such check{near}'
    if word == "charged-gate" and not any(isinstance(device, Mosfet) for device in netlist.devices):
        yield f'"{text}": no part of this board has a gate'


def _refusal(text: str, reason: str, netlist: Netlist, unmodelled: Mapping[str, Any]) -> str:
    """Return what is wrong with words that the circuit refuses for a reason, and what could be meant."""
    part, code, *where = (*text.split(), "", "")
    if code not in CODES or code == "bridge":
        return f"{reason}; of the hand: {', '.join(OPERATOR_FAULTS)}{close_match(text, OPERATOR_FAULTS)}"
    possible = possible_faults(netlist, bridges=())
    having = list(dict.fromkeys(fault.designator for fault in possible if fault.code == code))
    can = f"this fault can be on {_some(having)}" if having else "nothing on this board can have it"
    if part in netlist.by_designator:
        return reason if part in having else f"{reason}; {can}"
    if part in unmodelled:
        return f'"{text}": {part} has no circuit model, so it can be open or short and nothing else; {can}'
    inside = [name for name in netlist.by_designator if part_of(name) == part]
    if not inside:
        near = close_match(part, dict.fromkeys((*map(part_of, netlist.by_designator), *unmodelled)))
        return f'"{text}": there is no part "{part}"{near or f"; {can}"}'
    own = [fault for fault in possible if fault.code == code and fault.designator in inside]
    if not own:
        return f'"{text}": no pin of {part} can have this fault; {can}'
    meant = [fault for fault in own if where[0] and fault.designator == f"{part}:{where[0]}"] or own
    written = " or ".join(f'"{fault}"' for fault in meant[:_WRITTEN])
    return f'"{text}": faults of {part} are those of its pins, {_some(inside)}; write {written}'


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
