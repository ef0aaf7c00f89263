"""Heads, events and results as blocks of a record, and back: the keys of format version 1."""

from __future__ import annotations

from benchcheck.checklist.waivers import Waiver
from benchcheck.record.codec import utc
from benchcheck.record.fields import Fields
from benchcheck.record.model import Event, EventKind, Head, Instrument, Result, Stage

__all__ = [
    "FORMAT_VERSION",
    "decode_event",
    "decode_head",
    "decode_result",
    "event_fields",
    "head_fields",
    "result_fields",
]

FORMAT_VERSION = 1


def head_fields(head: Head) -> dict[str, object]:
    """Return the keys of the head, without the line `benchcheck_record` that opens it."""
    return {
        "id": head.id,
        "unit": head.unit,
        "board": head.board,
        "revision": head.revision,
        "stage": str(head.stage),
        "date": utc(head.date),
        "operator": head.operator,
        "ambient_c": head.ambient_c,
        "spec_digest": head.spec_digest,
        "bench_digest": head.bench_digest,
        "decision_rule": head.decision_rule,
        "guard_band": head.guard_band,
        "coverage": head.coverage,
        "instruments": [_instrument_fields(instrument) for instrument in head.instruments],
        "waivers": [{"check": waiver.check, "reason": waiver.reason} for waiver in head.waivers],
        "cautions": list(head.cautions),
        "keep_until": head.keep_until,
        "versions": [{"name": name, "version": version} for name, version in head.versions],
        "parents": list(head.parents or ()),
    }


def decode_head(fields: Fields) -> Head:
    """Return the head of a record; raises RecordError naming the key that is not what it should be."""
    return Head(
        id=fields.text("id"),
        unit=fields.needed("unit"),
        board=fields.text("board"),
        stage=fields.word("stage", Stage),
        spec_digest=fields.text("spec_digest"),
        revision=fields.text("revision"),
        bench_digest=fields.text("bench_digest"),
        date=fields.moment("date"),
        operator=fields.text("operator"),
        ambient_c=fields.number("ambient_c"),
        decision_rule=fields.text("decision_rule"),
        guard_band=fields.text("guard_band"),
        coverage=fields.text("coverage"),
        instruments=tuple(map(_decode_instrument, fields.tables("instruments"))),
        waivers=tuple(Waiver(one.needed("check"), one.text("reason")) for one in fields.tables("waivers")),
        cautions=fields.texts("cautions"),
        versions=tuple((one.needed("name"), one.text("version")) for one in fields.tables("versions")),
        parents=fields.texts("parents"),
        keep_until=fields.day("keep_until"),
    )


def event_fields(event: Event) -> dict[str, object]:
    """Return the keys of an `[[event]]` block."""
    return {
        "kind": str(event.kind),
        "check": event.check,
        "text": event.text,
        "amends": list(event.amends),
        "operator": event.operator,
        "at": utc(event.at),
    }


def decode_event(fields: Fields) -> Event:
    """Return the event of a block; raises RecordError naming the key that is not what it should be."""
    return Event(
        kind=fields.word("kind", EventKind),
        check=fields.text("check"),
        text=fields.text("text"),
        amends=fields.texts("amends"),
        operator=fields.text("operator"),
        at=fields.moment("at"),
    )


def result_fields(result: Result) -> dict[str, object]:
    """Return the keys of a `[[result]]` block."""
    return {
        "exit_code": result.exit_code,
        "counts": dict(result.counts),
        "at": utc(result.at),
        "last_seal": result.last_seal,
    }


def decode_result(fields: Fields) -> Result:
    """Return the result of a block; raises RecordError naming the key that is not what it should be."""
    counts = fields.table("counts")
    return Result(
        exit_code=fields.count("exit_code", 0),
        counts=tuple((word, counts.count(word, 0)) for word in counts.values) if counts else (),
        at=fields.moment("at"),
        last_seal=fields.text("last_seal"),
    )


def _instrument_fields(instrument: Instrument) -> dict[str, object]:
    keys: dict[str, object] = {
        "name": instrument.name,
        "model": instrument.model,
        "identity": instrument.identity,
        "calibration_due": instrument.calibration_due,
        "self_check": instrument.self_check,
    }
    return {key: value for key, value in keys.items() if value not in (None, "")}


def _decode_instrument(fields: Fields) -> Instrument:
    return Instrument(
        name=fields.text("name"),
        model=fields.text("model"),
        identity=fields.text("identity"),
        calibration_due=fields.day("calibration_due"),
        self_check=fields.text("self_check"),
    )
