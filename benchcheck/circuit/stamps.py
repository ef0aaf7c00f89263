"""Where devices touch a shared matrix: sparse maps from net voltages to devices, and from devices back.

Rows of what devices see: junction voltages, V_BE of all, V_BC of all, V_GS of all, V_DS of all. Columns of slopes:
junctions, collector currents by V_BE and V_BC, base currents likewise, channels by V_GS and V_DS. Columns of offsets:
junctions, collectors, bases, channels.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from scipy.sparse import csr_array

from .cards import Junction
from .devices import Bjt, Device, Mosfet, Resistor, pins, reconnect
from .elimination import Elimination
from .netlist import Netlist

__all__ = ["has_inner_resistances", "maps", "without_inner_resistances"]

Places = Mapping[tuple[int, int], int]
Placed = Sequence[tuple[Bjt, tuple[int, int, int]]]
PlacedMosfets = Sequence[tuple[Mosfet, tuple[int, int, int]]]
Term = tuple[int, float]
#: the sign of each device's polarity, and its rows.
Signed = tuple[tuple[float, tuple[int, int, int]], ...]


class _Map:
    """A sparse map being written down, line by line."""

    def __init__(self) -> None:
        self._lines: list[tuple[Term, ...]] = []

    def add(self, *terms: Term) -> None:
        self._lines.append(terms)

    def by_rows(self, width: int) -> csr_array:
        """Return the map with one row a line."""
        rows = [at for at, line in enumerate(self._lines) for _ in line]
        cols = [place for line in self._lines for place, _ in line]
        values = [value for line in self._lines for _, value in line]
        return csr_array((values, (rows, cols)), shape=(len(self._lines), width), dtype=float)

    def by_columns(self, height: int) -> csr_array:
        """Return the map with one column a line."""
        return csr_array(self.by_rows(height).T)


def maps(
    junctions: Sequence[Junction], bjts: Placed, mosfets: PlacedMosfets, elimination: Elimination
) -> tuple[csr_array, csr_array, csr_array]:
    """Return three maps, to be read alone: nets to what devices see, slopes to matrix places, offsets to right sides.

    They depend on where devices are and not on their values: those of a board strayed are those of the board.
    """
    return _maps(
        tuple((j.plus, j.minus) for j in junctions),
        tuple((1.0 if bjt.polarity == "NPN" else -1.0, rows) for bjt, rows in bjts),
        tuple((1.0 if mosfet.channel == "N" else -1.0, rows) for mosfet, rows in mosfets),
        elimination,
    )


@lru_cache(maxsize=64)
def _maps(
    junctions: tuple[tuple[int, int], ...], bjts: Signed, mosfets: Signed, elimination: Elimination
) -> tuple[csr_array, csr_array, csr_array]:
    see, stamp, feed = _Map(), _Map(), _Map()
    places, size = elimination.places, elimination.size
    for plus, minus in junctions:
        see.add((plus, 1.0), (minus, -1.0))
        stamp.add(*_driven(places, plus, minus, plus, minus))
        feed.add((plus, -1.0), (minus, 1.0))
    _map_bjts(bjts, places, see, stamp, feed)
    _map_mosfets(mosfets, places, see, stamp, feed)
    return see.by_rows(size), stamp.by_columns(len(places)), feed.by_columns(size)


def _map_bjts(signed: Signed, places: Places, see: _Map, stamp: _Map, feed: _Map) -> None:
    for other in (2, 0):
        for sign, rows in signed:
            see.add((rows[1], sign), (rows[other], -sign))
    for terminal in (0, 1):
        for other in (2, 0):
            for _, rows in signed:
                stamp.add(*_driven(places, rows[terminal], rows[2], rows[1], rows[other]))
        for sign, rows in signed:
            feed.add((rows[terminal], -sign), (rows[2], sign))


def _map_mosfets(signed: Signed, places: Places, see: _Map, stamp: _Map, feed: _Map) -> None:
    for other in (1, 0):
        for sign, rows in signed:
            see.add((rows[other], sign), (rows[2], -sign))
            stamp.add(*_driven(places, rows[0], rows[2], rows[other], rows[2]))
    for sign, rows in signed:
        feed.add((rows[0], -sign), (rows[2], sign))


def _driven(places: Places, into: int, out: int, plus: int, minus: int) -> tuple[Term, ...]:
    """Return the places of a current from `into` to `out` driven by the voltage from `plus` to `minus`."""
    spread = ((into, plus, 1.0), (into, minus, -1.0), (out, plus, -1.0), (out, minus, 1.0))
    return tuple((places[row, col], sign) for row, col, sign in spread)


_BJT_INNER = (("collector", "collector_resistance_ohm"), ("base", "base_resistance_ohm"),
              ("emitter", "emitter_resistance_ohm"))  # fmt: skip


def has_inner_resistances(device: Device) -> bool:
    """Return whether a transistor has resistances inside (a MOSFET's drain resistance not counted: see expanded)."""
    match device:
        case Bjt(model=model):
            return any(getattr(model, field) for _, field in _BJT_INNER)
        case Mosfet(model=channel):
            return channel.source_resistance_ohm > 0
        case _:
            return False


def without_inner_resistances(netlist: Netlist) -> Netlist:
    """Return the netlist with the resistances inside transistors as parts of their own."""
    return Netlist((part for device in netlist.devices for part in _opened(device)), sound=netlist.devices)


def _opened(device: Device) -> Iterable[Device]:
    match device:
        case Bjt() if has_inner_resistances(device):
            yield from _opened_bjt(device)
        case Mosfet() if has_inner_resistances(device):
            # the body diode moves behind the resistance too: microvolts where it conducts
            net, model = f"{device.designator}:inner source", device.model
            yield Resistor(f"{device.designator}:source resistance", device.source, net, model.source_resistance_ohm)
            yield replace(device, source=net, model=replace(model, source_resistance_ohm=0.0))
        case _:
            yield device


def _opened_bjt(bjt: Bjt) -> Iterable[Device]:
    inner: Device = bjt
    for pin, field in _BJT_INNER:
        if ohm := getattr(bjt.model, field):
            net = f"{bjt.designator}:inner {pin}"
            yield Resistor(f"{bjt.designator}:{pin} resistance", pins(bjt)[pin], net, ohm)
            inner = reconnect(inner, **{pin: net})
    plain = replace(bjt.model, collector_resistance_ohm=0.0, base_resistance_ohm=0.0, emitter_resistance_ohm=0.0)
    assert isinstance(inner, Bjt)
    yield replace(inner, model=plain)
