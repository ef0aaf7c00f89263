"""Every error benchcheck raises on purpose, in one tree.

    BenchcheckError
    ├── InputError                what the user gave cannot be used; carries every Fault found (exit 2)
    │   ├── QuantityError         a text is not the quantity it should be
    │   ├── DocumentError         a file is not readable TOML of the expected format
    │   ├── SpecError             a board spec does not hold together
    │   ├── BenchError            a bench file does not hold together
    │   ├── ReadingsError         readings that cannot be accepted
    │   ├── RecordError           a record that cannot be read or written
    │   ├── PluginError           a plugin that cannot be registered
    │   └── UsageError            a command that cannot be carried out as given
    ├── MetrologyError            numbers that make no budget, interval or decision
    ├── CircuitError              a circuit that cannot be solved, named in words
    ├── InstrumentError           an instrument that does not do as asked (exit 4)
    │   └── OutputStateUnknown    nobody can say whether the output is off (exit 5)
    └── VisitInterrupted          stopped by the user; what was accepted is kept (exit 130)

A message says where, what was found, what is allowed and what to do.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "BenchError",
    "BenchcheckError",
    "CircuitError",
    "DocumentError",
    "Fault",
    "InputError",
    "InstrumentError",
    "MetrologyError",
    "OutputStateUnknown",
    "PluginError",
    "QuantityError",
    "ReadingsError",
    "RecordError",
    "SpecError",
    "UsageError",
    "VisitInterrupted",
    "close_match",
]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with an input: where it stands, which key it is, and the sentence about it.

    >>> print(Fault("specs/x.toml:14", "part.R14.tolerance", '"5 volts" is not a tolerance; write "5 %"'))
    specs/x.toml:14: part.R14.tolerance: "5 volts" is not a tolerance; write "5 %"
    """

    where: str
    key: str
    message: str

    def __str__(self) -> str:
        """Return the fault as one line; empty places are left out."""
        return ": ".join(word for word in (self.where, self.key, self.message) if word)


class BenchcheckError(Exception):
    """The root: catching it catches everything benchcheck raises on purpose."""

    exit_code = 2


class InputError(BenchcheckError):
    """Something the user gave cannot be used; `faults` holds every fault found, in file order."""

    def __init__(self, faults: str | Fault | Iterable[Fault]) -> None:
        if isinstance(faults, str):
            faults = Fault("", "", faults)
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


class QuantityError(InputError):
    """A text is not the quantity it should be."""


class DocumentError(InputError):
    """A file is not readable TOML of the expected format."""


class SpecError(InputError):
    """A board spec does not hold together."""


class BenchError(InputError):
    """A bench file does not hold together."""


class ReadingsError(InputError):
    """Readings that cannot be accepted: unknown checks, contradictions, magnitudes to be asked about."""


class RecordError(InputError):
    """A record that cannot be read or written."""


class PluginError(InputError):
    """A plugin that cannot be registered."""


class UsageError(InputError):
    """A command that cannot be carried out as given."""


class MetrologyError(BenchcheckError, ValueError):
    """Numbers that make no budget, interval or decision; the message names the contribution."""


class CircuitError(BenchcheckError):
    """A circuit that cannot be solved; the message names the nets or parts concerned."""


class InstrumentError(BenchcheckError):
    """An instrument that does not do as asked."""

    exit_code = 4


class OutputStateUnknown(InstrumentError):
    """Nobody can say whether the output is off: switch off by hand."""

    exit_code = 5


class VisitInterrupted(BenchcheckError):
    """The visit was stopped by the user; everything accepted is kept and can be resumed."""

    exit_code = 130


def close_match(word: str, allowed: Iterable[str]) -> str:
    """Return `; did you mean "x"?` for the nearest allowed word, or nothing when none is near.

    >>> close_match("tolerence", ["tolerance", "value"])
    '; did you mean "tolerance"?'
    """
    known = {name.casefold(): name for name in allowed}
    near = difflib.get_close_matches(word.casefold(), known, n=1, cutoff=0.6)
    return f'; did you mean "{known[near[0]]}"?' if near else ""
