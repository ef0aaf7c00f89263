"""What a meter does to all readings of one range alike, beside the GUM's example of correlated input quantities."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchcheck.bench.functions import Function
from benchcheck.bench.load import load_bench
from benchcheck.diagnosis.engine import Engine
from benchcheck.diagnosis.evidence import Seen, evidence_of
from benchcheck.diagnosis.fits import joint
from benchcheck.diagnosis.likelihood import Held, hold
from benchcheck.diagnosis.shots import Shot
from benchcheck.document import parse_document
from benchcheck.readings.reading import Session

from . import boards


def held_of(engine: Engine, *seen: Seen) -> Held:
    return hold(engine.predictions, seen, engine.errors, 0.2)


def covariance(held: Held) -> np.ndarray:
    return np.asarray(held.shared.T @ held.shared + np.diag(held.alone**2))


def ohms(engine: Engine, *values: float, meter: str = "") -> tuple[Seen, ...]:
    shot = next(each for each in engine.predictions.shots if each.function is Function.OHMS)
    return tuple(Seen(str(at), shot, value, 1.0, "6k", meter=meter) for at, value in enumerate(values))


def test_ten_readings_of_one_range_are_off_together(engine: Engine) -> None:
    """JCGM 100:2008, 5.2.2, EXAMPLE: ten resistors by one standard, in series, are off by 1 ohm and not by 0.32."""
    held = held_of(engine, *ohms(engine, *[1000.0] * 10))
    one, sum_of_all = math.sqrt(covariance(held)[0, 0]), math.sqrt(covariance(held).sum())
    assert 0.97 * 1.0 < sum_of_all / (10.0 * one) <= 1.0
    assert one >= held.meter[0] * 0.98  # no reading by itself is surer for that


def test_two_readings_side_by_side_differ_by_what_each_has_alone(engine: Engine) -> None:
    held = held_of(engine, *ohms(engine, 1000.0, 1001.0))
    between = np.array([1.0, -1.0]) @ covariance(held) @ np.array([1.0, -1.0])
    assert math.sqrt(between) == pytest.approx(math.hypot(*held.alone), rel=1e-3)
    assert math.sqrt(between) < 0.4 * math.hypot(*held.meter)


def test_nothing_is_shared_by_two_ranges_or_two_meters_or_by_one_reading(engine: Engine) -> None:
    one, other = ohms(engine, 1000.0, 1000.0)
    pairs = [
        (one, replace(other, value=100.0, resolution=0.1, meter_range="600")),
        (one, replace(other, meter="another")),
        (one, replace(other, value=math.nan)),
        (one,),
    ]
    for pair in pairs:
        held = held_of(engine, *pair)
        assert not held.shared.size
        assert held.alone == pytest.approx(held.meter)


@pytest.mark.parametrize("gain", [0.988, 1.0, 1.012])
@pytest.mark.parametrize("swapped", [True, False])
def test_what_tells_by_the_difference_of_two_drops_tells_on_a_meter_that_is_off(
    engine: Engine, gain: float, swapped: bool
) -> None:
    """Emitter for collector exchanges two drops 6 mV apart, on a meter good for 15 mV (its class; unit invented)."""
    name = "Q1 swapped-pins collector emitter"
    row = next(at for at, one in enumerate(engine.hypotheses) if str(one) == name)
    taken = [one for one in boards.readings(engine, name if swapped else "good") if one.check in DROPS]
    changed = {one.check: f"{(one.display.value or 0.0) * gain:.4g}" for one in taken}
    again = [one for one in boards.readings(engine, "good", changed) if one.check in DROPS]
    held = hold(engine.predictions, evidence_of(engine.board, again, Session()).seen, engine.errors)
    assert held.meter.min() > 1.2 * 0.0058 * gain  # each by itself tells next to nothing
    told = joint(engine.predictions, held, row).log_likelihood - joint(engine.predictions, held, 0).log_likelihood
    assert told * (1.0 if swapped else -1.0) > 2.0


@pytest.mark.parametrize("further", [(), (375.0,), (5.0, -40.0)])
def test_whatever_else_was_read_a_reading_is_as_uncertain_as_its_limit_of_error_says(
    engine: Engine, further: tuple[float, ...]
) -> None:
    held = held_of(engine, *ohms(engine, 5900.0, 5800.0, *further))
    assert np.sqrt(np.diagonal(covariance(held))) == pytest.approx(held.meter, rel=1e-9)


def test_readings_of_nothing_on_a_meter_without_an_offset_are_right_but_for_their_digit(engine: Engine) -> None:
    diode = '[[meter.dmm.range]]\nfunction = "diode"\nfull_scale = "3 V"\nresolution = "1 mV"\naccuracy = "1.5 %"\n'
    bare = Engine(boards.board(), load_bench(parse_document(boards.BENCH + diode + DRIVEN, "bench.toml")))
    shot = Shot("BASE", "GND", Function.DIODE)
    held = held_of(bare, Seen("a", shot, 0.0, 1e-3), Seen("b", shot.reversed, 0.7, 1e-3))
    assert held.shared[:, 0] == pytest.approx(0.0)
    assert np.sqrt(np.diagonal(covariance(held))) == pytest.approx(held.meter, rel=1e-9)


DRIVEN = 'test_current = "1 mA"\ncompliance = "3 V"\n'


def test_what_the_bench_reads_with_is_meant_where_nobody_says(engine: Engine) -> None:
    one, other = ohms(engine, 1000.0, 1001.0)
    assert held_of(engine, one, replace(other, meter="dmm")).shared.any()


def test_a_reading_repeated_by_hand_is_of_the_meter_that_took_it_first(engine: Engine) -> None:
    typed = boards.typed("R1.resistance", "4.7k", "ohm")
    (seen,) = evidence_of(engine.board, [replace(typed, meter="dmm"), replace(typed, repeat=2)], Session()).seen
    assert seen.meter == "dmm"


DROPS = ("Q1.be_drop", "Q1.bc_drop")


def test_diode_mode_is_one_range_too(engine: Engine) -> None:
    shot = Shot("BASE", "GND", Function.DIODE)
    held = held_of(engine, Seen("a", shot, 0.7, 1e-3), Seen("b", shot.reversed, 0.3, 1e-3))
    gain, offset, _ = held.shared
    assert gain[0] / gain[1] == pytest.approx(0.7 / 0.3)
    assert offset[0] == offset[1] > 0.0
