"""The ranges of a meter's direct-current functions as plain numbers, ready for arrays."""

from __future__ import annotations

from dataclasses import dataclass

from .excitation import DiodeTest, Excitation, Ohms

__all__ = ["DrivenRange", "driven_ranges"]


@dataclass(frozen=True, slots=True)
class DrivenRange:
    """One range of one probe: A, V, what turns volt into the reading and what the leads add, full scale."""

    ampere: float
    volt: float
    factor: float
    leads: float
    full_scale: float

    @property
    def in_volt(self) -> bool:
        """Whether the range shows volts: diode mode."""
        return self.factor == 1.0


def driven_ranges(excitation: Excitation) -> tuple[DrivenRange, ...]:
    """Return the direct-current ranges of an excitation; none for the others."""
    match excitation:
        case Ohms(ranges=ranges, lead_resistance_ohm=leads):
            return tuple(
                DrivenRange(
                    r.test_current_a, r.compliance_v - leads * r.test_current_a, 1.0 / r.test_current_a, leads,
                    r.full_scale_ohm,
                )
                for r in ranges
            )  # fmt: skip
        case DiodeTest(ampere, volt, full_scale):
            return (DrivenRange(ampere, volt, 1.0, 0.0, full_scale),)
        case _:
            return ()
