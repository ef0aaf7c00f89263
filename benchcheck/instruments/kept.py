"""Supply and load in the hands of the power keeper, as the main process sees them: the drivers' own methods."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, cast

from benchcheck.instruments.electronic_load import LoadPoint
from benchcheck.instruments.power_supply import SupplyPoint, SupplySettings

__all__ = ["KeptLoad", "KeptSupply"]


class KeptSupply:
    """The supply in the keeper's hands; every method does and raises what `PowerSupply` has."""

    def __init__(self, ask: Callable[..., Any]) -> None:
        """Take what sends a request to the keeper and returns its answer."""
        self._ask = ask

    def can(self, what: str) -> bool:
        """Return whether the supply has a command of its dialect."""
        return bool(self._ask("supply.can", {"what": what}))

    def settings(self) -> SupplySettings:
        """Return what the supply is set to."""
        return cast(SupplySettings, self._ask("supply.settings"))

    def set_current_limit(self, limit_ampere: float) -> None:
        """Set and verify the current limit."""
        self._ask("supply.set_current_limit", {"limit_ampere": limit_ampere})

    def set_voltage(self, voltage_volt: float) -> None:
        """Set and verify the voltage."""
        self._ask("supply.set_voltage", {"voltage_volt": voltage_volt})

    def set_over_voltage(self, level_volt: float) -> None:
        """Set and verify the over-voltage level."""
        self._ask("supply.set_over_voltage", {"level_volt": level_volt})

    def on(self) -> None:
        """Switch the output on and see it on."""
        self._ask("supply.on")

    def off(self) -> None:
        """Switch the output off and see it off."""
        self._ask("supply.off")

    def is_on(self) -> bool:
        """Return whether the supply says that its output is on."""
        return bool(self._ask("supply.is_on"))

    def measure(self) -> SupplyPoint:
        """Return voltage, current and mode at the output."""
        return cast(SupplyPoint, self._ask("supply.measure"))

    def steady(self) -> SupplyPoint:
        """Return what the output measures once it stands still."""
        return cast(SupplyPoint, self._ask("supply.steady"))

    def tripped(self) -> bool:
        """Return whether a protection has tripped."""
        return bool(self._ask("supply.tripped"))

    def clear_protection(self) -> None:
        """Clear a tripped protection with the output off."""
        self._ask("supply.clear_protection")


class KeptLoad:
    """The load in the keeper's hands; every method does and raises what `ElectronicLoad` has."""

    def __init__(self, ask: Callable[..., Any]) -> None:
        """Take what sends a request to the keeper and returns its answer."""
        self._ask = ask

    def set_constant_current(self) -> None:
        """Choose constant current with the input off."""
        self._ask("load.set_constant_current")

    def set_current(self, current_ampere: float) -> None:
        """Set and verify the level."""
        self._ask("load.set_current", {"current_ampere": current_ampere})

    def settings(self) -> float:
        """Return the level in ampere."""
        return float(self._ask("load.settings"))

    def on(self) -> None:
        """Switch the input on and see it on."""
        self._ask("load.on")

    def off(self) -> None:
        """Switch the input off and see it off."""
        self._ask("load.off")

    def is_on(self) -> bool:
        """Return whether the load says that its input is on."""
        return bool(self._ask("load.is_on"))

    def measure(self) -> LoadPoint:
        """Return voltage and current at the input."""
        return cast(LoadPoint, self._ask("load.measure"))

    def steady(self) -> LoadPoint:
        """Return what the input measures once it stands still."""
        return cast(LoadPoint, self._ask("load.steady"))
