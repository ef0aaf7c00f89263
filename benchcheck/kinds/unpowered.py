"""What rails and supplies have in common before power: no charge left, and no short in either direction."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from benchcheck.bench.functions import Function
from benchcheck.kinds import phrases
from benchcheck.kinds.build import check, chosen, merged_switches
from benchcheck.kinds.check import Check, Limits, Phase
from benchcheck.kinds.fields import Ohms, Volts, Window
from benchcheck.kinds.part import Surroundings
from benchcheck.kinds.paths import pad

__all__ = ["Fed", "residual_check", "to_ground_checks"]

_SHORT = Limits(10.0, None, "common practice, no source: below 10 ohm investigate")
_NO_CHARGE = Limits(
    -phrases.REST_CHARGE_V, phrases.REST_CHARGE_V, "common practice, no source: 50 mV or less before ohms"
)


class Fed(Protocol):
    """A rail or a supply, as far as these checks need to know it."""

    @property
    def name(self) -> str:
        """Its name."""
        ...

    @property
    def nets(self) -> Mapping[str, str]:
        """Its nets, `plus` and `minus`."""
        ...

    @property
    def switches(self) -> Mapping[str, str]:
        """Switch positions, by designator."""
        ...

    @property
    def residual_voltage(self) -> Window[Volts] | None:
        """The limit given for it."""
        ...

    @property
    def to_ground(self) -> Window[Ohms] | None:
        """The limit given for it."""
        ...


def residual_check(fed: Fed, around: Surroundings) -> Check:
    """Return `residual_voltage`, red on plus."""
    return check(
        fed.name,
        "residual_voltage",
        Function.DC_VOLTAGE,
        Phase.RESIDUAL_VOLTAGE,
        chosen(fed.residual_voltage, _NO_CHARGE),
        pad(fed.nets["plus"], around),
        pad(fed.nets["minus"], around),
        expected=0.0,
        switches=merged_switches(fed.residual_voltage, fed.switches),
        first_step="take every cell and the supply out",
        why=phrases.CHARGED,
        workaround=phrases.DISCHARGE,
    )


def to_ground_checks(fed: Fed, around: Surroundings) -> tuple[Check, Check]:
    """Return `to_ground` with red on either net, the plus first."""
    nets = fed.nets["plus"], fed.nets["minus"]
    return _to_ground(fed, nets, around), _to_ground(fed, (nets[1], nets[0]), around)


def _to_ground(fed: Fed, nets: tuple[str, str], around: Surroundings) -> Check:
    red, black = nets
    return check(
        fed.name,
        "to_ground",
        Function.OHMS,
        Phase.TO_GROUND,
        chosen(fed.to_ground, _SHORT),
        pad(red, around),
        pad(black, around),
        bracket=f"red:{red}",
        switches=merged_switches(fed.to_ground, fed.switches),
        first_step="take every cell and the supply out; wait until it has stopped climbing",
        why="No power into a short. Climbing is charge; the same near zero at once and both ways is metal.",
        workaround="Force at most 0.2 V from a limited supply and follow the millivolts: they fall toward the short.",
        settle=True,
    )
