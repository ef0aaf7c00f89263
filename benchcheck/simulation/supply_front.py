"""A simulated bench supply and electronic load in front of a virtual bench.

The supply limits current, latches over-voltage, rounds settings to its converter, reads back with an error, keeps
its output on when a client goes away, and loses everything in a mains interruption. The load sinks constant current.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchcheck.bench.functions import Function
from benchcheck.simulation.meter_error import error_of
from benchcheck.simulation.meter_front import MeterRange
from benchcheck.simulation.scpi_instrument import ScpiInstrument, number, numeric
from benchcheck.simulation.scpi_tree import ScpiFault
from benchcheck.simulation.world import OperatingPoint, Sink, Source, VirtualBench

__all__ = ["LoadFront", "ReadBack", "SupplyFront"]

CONSTANT_CURRENT, CONSTANT_VOLTAGE, OVER_VOLTAGE = 1, 2, 512


def _on_off(word: str) -> bool:
    if word.upper() not in ("0", "1", "ON", "OFF"):
        raise ScpiFault(-224, "Illegal parameter value")
    return word.upper() in ("1", "ON")


class ReadBack:
    """What an instrument shows of a true value: an error within its specification, always the same, then its digits.

    Without ranges it shows the truth.
    """

    def __init__(self, ranges: Sequence[MeterRange] = (), seed: int = 0, name: str = "") -> None:
        """Take the ranges of a read-back, smallest first; `seed` and `name` say whose error it is."""
        self._ranges, self._whose = tuple(ranges), (seed, name)

    def shown(self, function: Function, value: float) -> float:
        """Return what is shown for a true value, in SI."""
        known = [one for one in self._ranges if one.function is function]
        if not known:
            return value
        one = next((each for each in known if abs(value) <= each.ceiling), known[-1])
        whose = (*self._whose, function, one.full_scale)
        error = error_of(value, one.fraction, one.digits, one.resolution, *whose)
        return round((value + error) / one.resolution) * one.resolution


class SupplyFront(ScpiInstrument):
    """One channel, 0 to `maximum_volt` and `maximum_ampere`; after *RST 0 V and the current limit at full scale."""

    def __init__(
        self,
        bench: VirtualBench,
        identity: str = "Fenwater Instruments,S3205,200017,2.31",
        maximum_volt: float = 32.0,
        maximum_ampere: float = 5.0,
        step_volt: float = 1e-3,
        step_ampere: float = 1e-3,
        readback: ReadBack | None = None,
    ) -> None:
        """Connect the output to a bench; settings are rounded to `step_volt` and `step_ampere`."""
        self._bench, self._readback = bench, readback or ReadBack()
        self.maximum_volt, self.maximum_ampere = maximum_volt, maximum_ampere
        self._step_volt, self._step_ampere = step_volt, step_ampere
        self.voltage_volt, self.limit_ampere = 0.0, maximum_ampere
        self.over_voltage_volt = maximum_volt * 1.1
        self.output, self.tripped, self.current_protection = False, False, False
        self.output_after_power_on = False
        self.watchdog_s, self._watchdog_on, self._heard_s = 60.0, False, 0.0
        super().__init__(identity)
        self._add_settings()
        self._add_readback()

    def reset(self) -> None:
        """Return to 0 V, full current limit, output off."""
        self.voltage_volt, self.limit_ampere = 0.0, self.maximum_ampere
        self.over_voltage_volt = self.maximum_volt * 1.1
        self.output, self.tripped, self.current_protection = False, False, False
        self._apply()

    def power_cycle(self) -> None:
        """Lose the settings; the output comes back on where the supply is set up so."""
        super().power_cycle()
        self.output = self.output_after_power_on
        self._apply()

    def handle(self, message: str, now_s: float) -> str | None:
        """Look at the protections first, as the hardware would."""
        self.watch(now_s)
        self._heard_s = now_s
        return super().handle(message, now_s)

    def watch(self, now_s: float) -> None:
        """Trip on over-voltage, and on silence where the watchdog is armed."""
        self.now_s = now_s
        if self._watchdog_on and self.output and now_s - self._heard_s > self.watchdog_s:
            self._trip()
        if self.output and self._point().voltage_volt > self.over_voltage_volt + 1e-6:
            self._trip()

    def _trip(self) -> None:
        self.output, self.tripped = False, True
        self._apply()

    def _apply(self) -> None:
        self._bench.drive(Source(self.output, self.voltage_volt, self.limit_ampere), self.now_s)

    def _point(self) -> OperatingPoint:
        return self._bench.supply_point(self.now_s)

    def condition(self, register: str) -> int:
        """Return constant current, constant voltage and over-voltage in the questionable register."""
        if register != "QUEStionable":
            return 0
        held = (CONSTANT_CURRENT if self._point().limited else CONSTANT_VOLTAGE) if self.output else 0
        return held | (OVER_VOLTAGE if self.tripped else 0)

    def _add_settings(self) -> None:
        add, root = self.tree.add, "[SOURce:]"
        level = "[:LEVel][:IMMediate][:AMPLitude]"
        add(f"{root}VOLTage{level}", self._set_voltage, 1)
        add(f"{root}VOLTage{level}?", lambda *w: self._setting(self.voltage_volt, self.maximum_volt, w), 0, 1)
        add(f"{root}CURRent{level}", self._set_limit, 1)
        add(f"{root}CURRent{level}?", lambda *w: self._setting(self.limit_ampere, self.maximum_ampere, w), 0, 1)
        add(f"{root}VOLTage:PROTection[:LEVel]", self._set_over_voltage, 1)
        add(
            f"{root}VOLTage:PROTection[:LEVel]?",
            lambda *w: self._setting(self.over_voltage_volt, self.maximum_volt * 1.1, w),
            0,
            1,
        )
        add(f"{root}VOLTage:PROTection:TRIPped?", lambda: str(int(self.tripped)))
        add(f"{root}CURRent:PROTection:STATe", self._set_current_protection, 1)
        add(f"{root}CURRent:PROTection:STATe?", lambda: str(int(self.current_protection)))
        add(f"{root}CURRent:PROTection:TRIPped?", lambda: "0")
        add("APPLy", self._apply_both, 1, 2)
        add("APPLy?", lambda: f'"{self.voltage_volt:.4f},{self.limit_ampere:.4f}"')
        add("INSTrument:NSELect", lambda _: None, 1)
        add("INSTrument:NSELect?", lambda: "1")

    def _add_readback(self) -> None:
        add = self.tree.add
        add("OUTPut[:STATe]", self._set_output, 1, 2)
        add("OUTPut[:STATe]?", lambda *_: str(int(self.output)), 0, 1)
        add("OUTPut:PROTection:CLEar", self._clear_protection)
        add("OUTPut:PROTection:WDOG[:STATe]", self._set_watchdog, 1)
        add("OUTPut:PROTection:WDOG:DELay", self._set_watchdog_delay, 1)
        add("MEASure[:SCALar]:VOLTage[:DC]?", lambda *_: self._read(Function.DC_VOLTAGE), 0, 1)
        add("MEASure[:SCALar]:CURRent[:DC]?", lambda *_: self._read(Function.DC_CURRENT), 0, 1)

    def _read(self, function: Function) -> str:
        point = self._point()
        value = point.voltage_volt if function is Function.DC_VOLTAGE else point.current_ampere
        return number(self._readback.shown(function, value) * self.manner.readback_scaled)

    @staticmethod
    def _setting(value: float, maximum: float, words: tuple[str, ...]) -> str:
        if words:
            return number(numeric(words[0], 0.0, maximum))
        return number(value)

    def _kept(self, word: str, maximum: float, step: float, old: float) -> float:
        value = numeric(word, 0.0, maximum)
        if self.manner.settings_ignored:
            return old
        return round(value * self.manner.settings_scaled / step) * step

    def _set_voltage(self, word: str) -> None:
        value = self._kept(word, self.maximum_volt, self._step_volt, self.voltage_volt)
        if value > self.over_voltage_volt:
            raise ScpiFault(-222, "Data out of range; above over-voltage level")
        self.voltage_volt = value
        self._apply()

    def _set_limit(self, word: str) -> None:
        self.limit_ampere = self._kept(word, self.maximum_ampere, self._step_ampere, self.limit_ampere)
        self._apply()

    def _set_over_voltage(self, word: str) -> None:
        value = self._kept(word, self.maximum_volt * 1.1, self._step_volt, self.over_voltage_volt)
        if value < self.voltage_volt:
            raise ScpiFault(-222, "Data out of range; below the set voltage")
        self.over_voltage_volt = value

    def _apply_both(self, voltage: str, limit: str | None = None) -> None:
        if limit is not None:
            self._set_limit(limit)
        self._set_voltage(voltage)

    def _set_current_protection(self, word: str) -> None:
        self.current_protection = _on_off(word)

    def _set_output(self, word: str, _channel: str = "") -> None:
        on = _on_off(word)
        if on and self.tripped:
            raise ScpiFault(-221, "Settings conflict; clear the protection first")
        if (on and self.manner.on_ignored) or (not on and self.manner.off_ignored):
            return
        self.output = on
        self._apply()

    def _clear_protection(self) -> None:
        was, self.tripped = self.tripped, False
        if was and self.manner.clear_restores:
            self.output = True
            self._apply()

    def _set_watchdog(self, word: str) -> None:
        self._watchdog_on = _on_off(word)

    def _set_watchdog_delay(self, word: str) -> None:
        self.watchdog_s = numeric(word, 0.1, 3600.0)


class LoadFront(ScpiInstrument):
    """An electronic load in constant current, 0 to `maximum_ampere`."""

    def __init__(
        self,
        bench: VirtualBench,
        identity: str = "Fenwater Instruments,L150,300008,1.02",
        maximum_ampere: float = 10.0,
        readback: ReadBack | None = None,
    ) -> None:
        """Connect the input to a bench."""
        self._bench, self._readback = bench, readback or ReadBack()
        self._maximum_ampere = maximum_ampere
        self.input, self.current_ampere, self.mode = False, 0.0, "CURR"
        super().__init__(identity)
        add = self.tree.add
        add("[SOURce:]FUNCtion", self._set_mode, 1)
        add("[SOURce:]FUNCtion?", lambda: self.mode)
        add("[SOURce:]CURRent[:LEVel][:IMMediate][:AMPLitude]", self._set_current, 1)
        add("[SOURce:]CURRent[:LEVel][:IMMediate][:AMPLitude]?", lambda: number(self.current_ampere))
        add("INPut[:STATe]", self._set_input, 1)
        add("INPut[:STATe]?", lambda: str(int(self.input)))
        add("INPut:PROTection:CLEar", lambda: None)
        add("MEASure[:SCALar]:VOLTage[:DC]?", lambda: self._read(Function.DC_VOLTAGE))
        add("MEASure[:SCALar]:CURRent[:DC]?", lambda: self._read(Function.DC_CURRENT))

    def reset(self) -> None:
        """Return to input off, 0 A, constant current."""
        self.input, self.current_ampere, self.mode = False, 0.0, "CURR"
        self._apply()

    def _apply(self) -> None:
        self._bench.sink(Sink(self.input, self.current_ampere), self.now_s)

    def _point(self) -> OperatingPoint:
        return self._bench.load_point(self.now_s)

    def _read(self, function: Function) -> str:
        point = self._point()
        value = point.voltage_volt if function is Function.DC_VOLTAGE else point.current_ampere
        return number(self._readback.shown(function, value) * self.manner.readback_scaled)

    def _set_mode(self, word: str) -> None:
        if word.strip('"').upper() not in ("CURR", "CURRENT"):
            raise ScpiFault(-224, "Illegal parameter value")
        self.mode = "CURR"

    def _set_current(self, word: str) -> None:
        value = numeric(word, 0.0, self._maximum_ampere)
        if not self.manner.settings_ignored:
            self.current_ampere = round(value * self.manner.settings_scaled, 4)
        self._apply()

    def _set_input(self, word: str) -> None:
        on = _on_off(word)
        if (on and self.manner.on_ignored) or (not on and self.manner.off_ignored):
            return
        self.input = on
        self._apply()
