"""A simulated hand moved by lines of text, for a person or a program beside the one that measures.

A line is a check's id or two nets to place the probes, or one of a few words; every line has an answer in words.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.errors import QuantityError, close_match
from benchcheck.kinds.between import between_named, between_refused, is_between, with_nets_of
from benchcheck.kinds.check import Check
from benchcheck.kinds.session_checks import session_checks
from benchcheck.quantity.value import parse_value
from benchcheck.quantity.wording import brief_value
from benchcheck.simulation.hand import SimulatedHand

__all__ = ["HELP", "HandLines"]

#: what meters are asked before a unit: shorted leads, a known resistor, a diode, a cell.
_OWN = {check.id: check for check in session_checks() if check.function is not Function.TEMPERATURE}

HELP = """\
C9.capacitance     probes where this check wants them, switches and load too
meter.cell         probes on the known cell; likewise meter.leads_shorted,
                   meter.reference_resistor, meter.diode
VSW GND            red on VSW, black on GND
swap               red and black exchanged
lift               probes in the air
read C9.esr        what the display shows, for meters without a link;
                   of any two nets: read between.esr[VSW:GND]
look D3.orientation
                   what the eyes see
switch S1 open     a switch into position; the others go to rest
load VSW           the electronic load clipped to a rail
dummy VSW 47R      a resistor across a rail as its load; dummy VSW off ends it
discharge          every capacitor emptied through a resistor
faults             what is wrong with this unit
quit               the end"""


@dataclass(slots=True)
class HandLines:
    """Obeys lines; `done` once a line has asked for the end."""

    hand: SimulatedHand
    done: bool = False

    def obey(self, line: str) -> str:
        """Return what was done, or what is wrong with the line."""
        words = line.split()
        if not words:
            return ""
        wanted, do = _WORDS.get(words[0], (len(words) - 1, _PLACED.get(len(words))))
        if do is None or len(words) - 1 != wanted:
            return f'"{line.strip()}" is no line for the hand; write help'
        return do(self, *(words[1:] if words[0] in _WORDS else words))

    def _check(self, name: str) -> Check | None:
        return self.hand.unit.board.by_id.get(name) or _OWN.get(name) or self._of_two_nets(name)

    def _of_two_nets(self, name: str) -> Check | None:
        """Return a reading between two nets as `diagnose` names it, None where a net is not there."""
        nets = self.hand.unit.netlist.pins_on
        check = between_named(with_nets_of(name, nets)) if is_between(name) else None
        ends = () if check is None else (check.red, check.black)
        good = all(end is not None and end.net in nets for end in ends) and not between_refused(name, nets)
        return check if good else None

    def _unknown(self, name: str) -> str:
        if is_between(name) and (wrong := between_refused(name, self.hand.unit.netlist.pins_on)):
            return f"{name}: {wrong}"
        return f'there is no check "{name}"{close_match(name, (*self.hand.unit.board.by_id, *_OWN))}'

    def _place(self, name: str) -> str:
        check = self._check(name)
        if check is None:
            return self._unknown(name)
        if check.function is Function.VISUAL:
            return self._look(name)
        self.hand.place(check)
        return _where(check)

    def _between(self, red: str, black: str) -> str:
        nets = self.hand.unit.netlist.pins_on
        for name in (red, black):
            if name not in nets and name not in self.hand.unit.board.nets:
                return f'there is no net "{name}"{close_match(name, nets)}'
        self.hand.place_between(red, black)
        return f"red on {red}, black on {black}"

    def _swap(self) -> str:
        placement = self.hand.unit.placement
        if placement is None or placement.red is None or placement.black is None:
            return "the probes are not on two nets"
        return self._between(placement.black, placement.red)

    def _lift(self) -> str:
        self.hand.lift()
        return "probes lifted"

    def _discharge(self) -> str:
        self.hand.discharge()
        return "discharged through a resistor"

    def _look(self, name: str) -> str:
        check = self._check(name)
        if check is None:
            return self._unknown(name)
        return f"{check.why} {self.hand.look(check)}" if check.function is Function.VISUAL else _where(check)

    def _read(self, name: str) -> str:
        check = self._check(name)
        return self.hand.read(check) if check is not None else self._unknown(name)

    def _switch(self, name: str, position: str) -> str:
        switches = self.hand.unit.specimen.rest()
        if name not in switches or position not in ("open", "closed"):
            there = ", ".join(switches) or "none"
            return f"write a switch ({there}) and open or closed"
        self.hand.unit.switch({name: position})
        return f"{name} {position}"

    def _load(self, rail: str) -> str:
        if rail not in self.hand.unit.board.rails:
            return self._no_rail(rail)
        self.hand.unit.connect_load(rail)
        return f"load on {rail}"

    def _dummy(self, name: str, resistor: str) -> str:
        rail = self.hand.unit.board.rails.get(name)
        if rail is None:
            return self._no_rail(name)
        if resistor == "off":
            self.hand.unit.connect_dummy(name, math.inf)
            return f"no resistor across {name}"
        try:
            ohm = parse_value(resistor, "ohm")
        except QuantityError as reason:
            return str(reason)
        if ohm <= 0.0:
            return f"{resistor} is no resistor; write ohms above 0, or off"
        self.hand.unit.connect_dummy(name, ohm)
        volt, ampere = brief_value(rail.voltage, "V"), brief_value(abs(rail.voltage) / ohm, "A", 3)
        return f"{brief_value(ohm, 'ohm')} across {name}: {ampere} at {volt}"

    def _no_rail(self, name: str) -> str:
        return f'there is no rail "{name}"{close_match(name, self.hand.unit.board.rails)}'

    def _faults(self) -> str:
        return self.hand.unit.specimen.faults.in_words() or "nothing is wrong with this unit"

    def _quit(self) -> str:
        self.done = True
        return ""

    def _help(self) -> str:
        return HELP


def _where(check: Check) -> str:
    red, black = (probe.point if probe is not None else "nothing" for probe in (check.red, check.black))
    return f"red on {red}, black on {black}"


#: word -> how many words follow it, and what it does.
_WORDS: dict[str, tuple[int, Callable[..., str]]] = {
    "swap": (0, HandLines._swap),
    "lift": (0, HandLines._lift),
    "read": (1, HandLines._read),
    "look": (1, HandLines._look),
    "switch": (2, HandLines._switch),
    "load": (1, HandLines._load),
    "dummy": (2, HandLines._dummy),
    "discharge": (0, HandLines._discharge),
    "faults": (0, HandLines._faults),
    "quit": (0, HandLines._quit),
    "help": (0, HandLines._help),
}
#: what a line of so many words does that begins with none of these.
_PLACED: dict[int, Callable[..., str]] = {1: HandLines._place, 2: HandLines._between}
