"""A simulated bench multimeter in front of a virtual bench.

Ranges, autorange, settling after a change, an error within its specification, rounding to its resolution, and
9.9E37 beyond full scale or compliance. The error is fixed per instrument and range (seeded), as a real meter's is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchcheck.bench.functions import Function
from benchcheck.simulation.meter_error import error_of, never_below_zero
from benchcheck.simulation.scpi_instrument import ScpiInstrument, number, numeric
from benchcheck.simulation.scpi_tree import ScpiFault
from benchcheck.simulation.world import Excitation, VirtualBench

__all__ = ["MeterFront", "MeterRange", "usual_ranges"]

OVERLOAD = 9.9e37
OVER_RANGE = 1.2  # a 100 ohm range shows up to 120 ohm
SETTLED_S = 30e-3


@dataclass(frozen=True, slots=True)
class MeterRange:
    """One range: full scale, resolution and test current in SI; accuracy as a fraction and in digits.

    `over_range` is how far beyond full scale it still shows numbers, as a ratio.
    """

    function: Function
    full_scale: float
    resolution: float
    fraction: float = 0.0001
    digits: float = 5.0
    test_current_ampere: float = 0.0
    compliance_volt: float = 0.0
    frequency_hz: float = 0.0
    over_range: float = OVER_RANGE - 1.0

    @property
    def ceiling(self) -> float:
        """The largest value it shows."""
        return self.full_scale * (1.0 + self.over_range) * (1.0 + 1e-12)

    @property
    def excitation(self) -> Excitation:
        """What it does to what is probed."""
        return Excitation(
            self.function, self.test_current_ampere, self.compliance_volt, self.frequency_hz, self.full_scale
        )


NODES = {
    Function.DC_VOLTAGE: ("VOLTage[:DC]", "VOLT"),
    Function.AC_VOLTAGE: ("VOLTage:AC", "VOLT:AC"),
    Function.DC_CURRENT: ("CURRent[:DC]", "CURR"),
    Function.OHMS: ("RESistance", "RES"),
    Function.OHMS_4W: ("FRESistance", "FRES"),
    Function.DIODE: ("DIODe", "DIOD"),
    Function.CONTINUITY: ("CONTinuity", "CONT"),
    Function.CAPACITANCE: ("CAPacitance", "CAP"),
    Function.TEMPERATURE: ("TEMPerature", "TEMP"),
}
WORDS = {"VOLT": "VOLT", "VOLT:DC": "VOLT", "CURR:DC": "CURR"}


def usual_ranges() -> tuple[MeterRange, ...]:
    """Return the ranges of a 5.5-digit meter (common practice, no source)."""
    ohms = {100.0: 1e-3, 1e3: 1e-3, 1e4: 1e-4, 1e5: 1e-5, 1e6: 5e-6, 1e7: 5e-7, 1e8: 5e-8}
    made = [
        MeterRange(function, full, full * 1e-5, 0.0001, 5.0, current, 6.0)
        for function in (Function.OHMS, Function.OHMS_4W)
        for full, current in ohms.items()
    ]
    made += [MeterRange(Function.DC_VOLTAGE, full, full * 1e-5) for full in (0.1, 1.0, 10.0, 100.0)]
    made += [MeterRange(Function.AC_VOLTAGE, full, full * 1e-5, 0.006) for full in (0.1, 1.0, 10.0, 100.0)]
    made += [MeterRange(Function.DC_CURRENT, full, full * 1e-5, 0.0005) for full in (1e-3, 1e-2, 0.1, 1.0)]
    made += [
        MeterRange(Function.CAPACITANCE, full, full * 1e-4, 0.01) for full in (1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3)
    ]
    made.append(MeterRange(Function.DIODE, 2.0, 1e-5, 0.0001, 5.0, 1e-3, 5.0))
    made.append(MeterRange(Function.CONTINUITY, 1e3, 1e-2, 0.001, 5.0, 1e-3, 6.0))
    made.append(MeterRange(Function.TEMPERATURE, 1e3, 1e-2))
    return tuple(made)


class MeterFront(ScpiInstrument):
    """The meter; `reading_time_s` is how long one reading takes, `autorange` whether it chooses itself."""

    def __init__(
        self,
        bench: VirtualBench,
        identity: str = "Fenwater Instruments,M55,100042,1.07",
        ranges: tuple[MeterRange, ...] | None = None,
        reading_time_s: float = 0.002,
        settling_s: float = SETTLED_S,
        seed: int = 1,
        name: str = "dmm",
    ) -> None:
        """Connect the probes to a bench; `settling_s` is the time constant after a change of function or range."""
        self._bench = bench
        self._ranges = tuple(one for one in ranges or usual_ranges() if one.function in NODES)
        self.reading_time_s, self.settling_s, self._seed = reading_time_s, settling_s, seed
        self._name = name
        self.function = Function.DC_VOLTAGE
        self.autorange = True
        self.chosen = self._of(self.function)[-1]
        self._changed_s = -math.inf
        self._stored: str | None = None
        super().__init__(identity)
        self._add_functions()
        self._add_triggers()

    def reset(self) -> None:
        """Return to DC volts, autorange."""
        self._configure(Function.DC_VOLTAGE, None)

    def front_panel(self, function: Function) -> None:
        """Change the function as somebody at the keys would."""
        self._configure(function, None)

    def probes_moved(self) -> None:
        """Start settling anew, as after the probes were placed somewhere else."""
        self._changed_s = self.now_s

    def _of(self, function: Function) -> tuple[MeterRange, ...]:
        return tuple(known for known in self._ranges if known.function is function)

    def _add_functions(self) -> None:
        add = self.tree.add
        for function, (node, _) in NODES.items():
            if not self._of(function):
                continue
            add(f"MEASure[:SCALar]:{node}?", lambda *given, f=function: self._measure(f, given), 0, 2)
            add(f"CONFigure[:SCALar]:{node}", lambda *given, f=function: self._configure(f, given[:1]), 0, 2)
            add(f"[SENSe:]{node}:RANGe[:UPPer]?", lambda *_, f=function: number(self._range_of(f)), 0, 1)
            add(f"[SENSe:]{node}:RANGe[:UPPer]", lambda value, f=function: self._set_range(f, value), 1)
            add(f"[SENSe:]{node}:RANGe:AUTO?", lambda: str(int(self.autorange)))
            add(f"[SENSe:]{node}:RANGe:AUTO", self._set_autorange, 1)
            add(f"[SENSe:]{node}:NPLCycles", lambda _: None, 1)
            add(f"[SENSe:]{node}:NPLCycles?", lambda: "1.0")
            add(f"[SENSe:]{node}:RESolution?", lambda f=function: number(self.chosen.resolution))
        add("[SENSe:]FUNCtion[:ON]?", lambda: f'"{NODES[self.function][1]}"')
        add("[SENSe:]FUNCtion[:ON]", self._set_function, 1)
        add("CONFigure?", self._configuration)

    def _add_triggers(self) -> None:
        add = self.tree.add
        add("READ?", self._read)
        add("INITiate[:IMMediate]", self._initiate)
        add("FETCh?", self._fetch)
        for header in ("TRIGger:SOURce", "TRIGger:COUNt", "TRIGger:DELay", "TRIGger:DELay:AUTO", "SAMPle:COUNt"):
            add(header, lambda _: None, 1)
        add("[SENSe:]ZERO:AUTO", lambda _: None, 1)
        add("INPut:IMPedance:AUTO", lambda _: None, 1)

    def _configure(self, function: Function, given: tuple[str, ...] | None) -> None:
        if function is not self.function or given:
            self._changed_s = self.now_s
        self.function = function
        word = given[0] if given else "AUTO"
        if word.upper() in ("AUTO", "DEF"):
            self.autorange = True
            self.chosen, _ = self._fitting()
        else:
            self._set_range(function, word)
        self._stored = None

    def _set_range(self, function: Function, word: str) -> None:
        known = self._of(function)
        wanted = numeric(word, 0.0, known[-1].ceiling, known[-1].full_scale)
        self.chosen = next(one for one in known if wanted <= one.ceiling)
        self.function, self.autorange, self._changed_s = function, False, self.now_s

    def _set_autorange(self, word: str) -> None:
        self.autorange = word.upper() in ("1", "ON")

    def _set_function(self, word: str) -> None:
        name = word.strip("\"'").upper()
        name = WORDS.get(name, name)
        for function, (_, known) in NODES.items():
            if known == name and self._of(function):
                self._configure(function, None)
                return
        raise ScpiFault(-224, "Illegal parameter value")

    def _range_of(self, function: Function) -> float:
        return self.chosen.full_scale if function is self.function else self._of(function)[-1].full_scale

    def _configuration(self) -> str:
        chosen = self.chosen
        return f'"{NODES[self.function][1]} {chosen.full_scale:+.6E},{chosen.resolution:+.6E}"'

    def _measure(self, function: Function, given: tuple[str, ...]) -> str:
        self._configure(function, given[:1])
        return self._read()

    def _initiate(self) -> None:
        self._stored = self._read()

    def _fetch(self) -> str:
        if self._stored is None:
            raise ScpiFault(-230, "Data corrupt or stale")
        return self._stored

    def _read(self) -> str:
        self.delay_s += self.reading_time_s
        self.now_s += self.reading_time_s
        if self.autorange:
            self.chosen, true = self._fitting()
        else:
            true = self._true(self.chosen)
        chosen = self.chosen
        if not abs(true) <= chosen.ceiling:
            return number(math.copysign(OVERLOAD, true))
        whose = (self._seed, self._name, chosen.function, chosen.full_scale)
        error = error_of(true, chosen.fraction, chosen.digits, chosen.resolution, *whose)
        shown = never_below_zero(chosen.function, true, true + error)
        shown *= 1.0 - math.exp(-max(0.0, self.now_s - self._changed_s) / self.settling_s)
        return number(round(shown / chosen.resolution) * chosen.resolution)

    def _true(self, chosen: MeterRange) -> float:
        return self._bench.probed(chosen.excitation, self.now_s)

    def _fitting(self) -> tuple[MeterRange, float]:
        """Return the lowest range that is not overloaded, from the one in use, and the true value on it."""
        known = self._of(self.function)
        at = known.index(self.chosen) if self.chosen in known else len(known) - 1
        true = self._true(known[at])
        while abs(true) > known[at].ceiling and at + 1 < len(known):
            at += 1
            true = self._true(known[at])
        while at > 0 and abs(true) <= known[at - 1].ceiling:
            lower = self._true(known[at - 1])
            if abs(lower) > known[at - 1].ceiling:
                break
            at, true = at - 1, lower
        return known[at], true
