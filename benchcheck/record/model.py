"""What a record holds beside readings and scores: its head, what was noted on the way, and its results.

Nothing here names a host, an address or a path: a record may be handed on whole.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date as day
from datetime import datetime
from enum import StrEnum

from benchcheck.checklist.waivers import Waiver

__all__ = ["Event", "EventKind", "Head", "Instrument", "Result", "Stage"]


class Stage(StrEnum):
    """Which part of a unit's stay on the bench a record is about."""

    AS_FOUND = "as-found"
    AS_LEFT = "as-left"
    RETURN = "return"


@dataclass(frozen=True, slots=True)
class Instrument:
    """What took readings or gave power: its name on the bench, its class or model, and what vouches for it.

    `identity` is maker, model and serial number as the instrument or its label gives them, "" if unknown.
    """

    name: str
    model: str = ""
    identity: str = ""
    calibration_due: day | None = None
    self_check: str = ""


@dataclass(frozen=True, slots=True)
class Head:
    """What was known when the record was begun.

    `id` is the short id of the file name, drawn by the journal: it keeps records apart that two benches begin
    in one second. `date` is in UTC, None until the journal stamps it; `ambient_c` in degree Celsius. `parents`
    are the seals of the unit's earlier records, None until the journal looks them up. `versions` are pairs of
    what ran and its version, benchcheck and plugins alike. `keep_until` is the day until which the record
    should be kept (ISO/IEC 17025:2017 8.4 asks for a retention time; warranty plus two years is common
    practice).
    """

    unit: str
    board: str
    stage: Stage
    spec_digest: str
    revision: str = ""
    bench_digest: str = ""
    date: datetime | None = None
    operator: str = ""
    ambient_c: float | None = None
    decision_rule: str = ""
    guard_band: str = ""
    coverage: str = ""
    instruments: tuple[Instrument, ...] = ()
    waivers: tuple[Waiver, ...] = ()
    cautions: tuple[str, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
    parents: tuple[str, ...] | None = None
    keep_until: day | None = None
    id: str = ""


class EventKind(StrEnum):
    """What was noted between readings."""

    UNDO = "undo"
    SKIP = "skip"
    LATER = "later"
    WAIVER = "waiver"
    NOTE = "note"
    TRY = "try"  # a reading that was refused: what the display showed
    PHOTO = "photo"
    RESUMED = "resumed"
    AMENDMENT = "amendment"
    INSTRUMENT = "instrument"  # what was set, switched, watched or lost


@dataclass(frozen=True, slots=True)
class Event:
    """One thing noted: its kind, the check it is about, a text, and the seals of the blocks it amends.

    An undo takes back the blocks it amends, and an undo of an undo brings them back; the others add words. The
    text of a photo is its file name and SHA-256, that of a skip, waiver or amendment the reason, that of an
    instrument what it was set to or did (power on and off, stop rules, drift since earlier visits).
    """

    kind: EventKind
    check: str = ""
    text: str = ""
    amends: tuple[str, ...] = ()
    operator: str = ""
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """How a run ended: exit code, how many checks had which verdict in words, and the seal before.

    `last_seal` is that of the block before the result, so that the result names all it sums up; the journal
    fills it in.
    """

    exit_code: int
    counts: tuple[tuple[str, int], ...] = field(default=())
    at: datetime | None = None
    last_seal: str = ""
