"""Limits from known-good units: honest at one to five, the meter taken out, strangers named, comments kept."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from benchcheck.document import parse_document
from benchcheck.errors import RecordError, UsageError
from benchcheck.metrology import Budget, Contribution, Verdict
from benchcheck.record.limits import LearnedLimit, learn_limits
from benchcheck.record.limits_spec import with_limits
from benchcheck.record.model import Instrument
from benchcheck.record.store import Record, read_record
from benchcheck.score.model import Outcome, Score
from benchcheck.spec.board import Board
from benchcheck.spec.load import load_board
from tests.record.samples import HEAD, write_visit

SPEC = """# Our own remarks, which stay.
benchcheck = 1
[board]
model = "Marrowby PR-3 pocket receiver"
revision = "B"
hazards = []

[supply.BATT]
nets = { plus = "BATT", minus = "GND" }
voltage = "6 V"
to_ground = { min = "100 ohm" }     # safety

[part.R14] # the divider's lower half
kind = "resistor"
value = "4k7"
tolerance = "5 %"
nets = ["FB", "GND"]

[part.R24]
kind = "resistor"
value = "4k7"
tolerance = "5 %"
nets = ["FB2", "GND"]

[part.D3]
kind = "diode"
technology = "schottky"
nets = { anode = "LX", cathode = "VSW" }
forward_drop = { min = "0.15 V", max = "0.45 V", reason = "the old reason" }  # shop's habit

[part.L1]
kind = "inductor"
dc_resistance = { max = "0.4 ohm" }
nets = ["BSW", "LX"]
"""
DMM = Instrument("dmm", "handheld-6000", "serial 0815")


@pytest.fixture(scope="module")
def board() -> Board:
    return load_board(parse_document(SPEC, "pr-3.toml"))


@pytest.fixture(scope="module")
def unit(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Record]:
    """Makes records of known-good units without writing each of them."""
    base = read_record(write_visit(tmp_path_factory.mktemp("records"), replace(HEAD, instruments=(DMM,))))

    def make(label: str, *scores: Score, meter: Instrument = DMM, board: str = HEAD.board) -> Record:
        head = replace(base.head, unit=label, instruments=(meter,), board=board)
        return replace(base, head=head, scores=scores, all_results=(), head_seal=label.encode().hex())

    return make


def score(check: str, value: float | None, *, shared: float = 0.0, own: float = 0.0, unit: str = "ohm") -> Score:
    parts = (
        Contribution.from_standard("dmm.ohms.accuracy", "accuracy", shared),
        Contribution.from_standard(f"{check}.repeatability", "repeatability", own),
    )
    budget = Budget(value, unit, parts) if value is not None else None
    return Score(check, Outcome.MEASURED, unit, Verdict.PASS, value=value, budget=budget)


def limit_of(limits: tuple[LearnedLimit, ...], check: str) -> LearnedLimit:
    return next(limit for limit in limits if limit.check == check)


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_the_next_good_unit_lies_within_as_often_as_promised(
    board: Board, unit: Callable[..., Record], count: int
) -> None:
    """The spread itself is drawn as the prior says: 5 % limits, rectangular, 8 degrees of freedom.

    2000 draws of a share of 0.95 have a standard deviation of 0.005.
    """
    draws = random.Random(count)
    held = 0
    for _ in range(2000):
        chi_square_8 = draws.gammavariate(4.0, 2.0)
        spread = 0.05 * 4700.0 / 3**0.5 * (8.0 / chi_square_8) ** 0.5
        values = [draws.gauss(4700.0, spread) for _ in range(count + 1)]
        records = [unit(f"u{place}", score("R14.resistance", value)) for place, value in enumerate(values[:-1])]
        limit = learn_limits(records, board).limits[0]
        assert limit.lower is not None
        assert limit.upper is not None
        held += limit.lower <= values[-1] <= limit.upper
    assert held / 2000 == pytest.approx(0.95, abs=0.016)


def test_one_unit_alone_has_limits_as_wide_as_what_is_known_beforehand(
    board: Board, unit: Callable[..., Record]
) -> None:
    (limit,) = learn_limits([unit("one", score("R14.resistance", 4690.0))], board).limits
    assert limit.mean == 4690.0
    assert limit.spread == pytest.approx(0.05 * 4700.0 / 3**0.5)
    assert limit.lower is not None
    # Student's t for 8 degrees of freedom, two-sided 95 %: 2.306 (any table); times the root of 1 + 1/1
    assert limit.lower == pytest.approx(4690.0 - 2.306 * 2**0.5 * limit.spread, rel=1e-3)
    assert limit.units == ("one",)
    assert "from 1 value of 1 known-good unit and " in limit.origin


def test_a_difference_near_zero_is_not_known_to_a_fifth_of_itself(unit: Callable[..., Record]) -> None:
    """A drop difference of 2 mV on one good unit says nothing against 10 mV on the next; nor 0 against 0.1 ohm."""
    text = (
        SPEC
        + """
[part.Q4]
kind = "bjt"
polarity = "NPN"
nets = { base = "MUB", collector = "MUTE", emitter = "GND" }
[part.S1]
kind = "switch"
nets = ["BATT", "BSW"]
rest = "closed"
"""
    )
    board = load_board(parse_document(text, "pr-3.toml"))
    scores = (score("Q4.drop_difference", 0.002, unit="V"), score("S1.closed_resistance", 0.0, shared=0.06))
    limits = learn_limits([unit("one", *scores)], board).limits
    drop, contact = limit_of(limits, "Q4.drop_difference"), limit_of(limits, "S1.closed_resistance")
    assert drop.upper is not None
    assert drop.upper > 0.010
    assert drop.lower == 0.0, "collector and emitter swapped read below zero, and still fail"
    assert "the limits so far" in drop.origin
    # a rectangle from 0 to the 0.2 ohm so far, Student's t for 8 degrees of freedom 2.306, and 2 u of the meter
    assert contact.upper == pytest.approx(((2.306 * 2**0.5 * 0.1 / 3**0.5) ** 2 + 0.12**2) ** 0.5, rel=1e-3)


def test_the_meters_own_scatter_is_taken_out_of_the_spread(board: Board, unit: Callable[..., Record]) -> None:
    values = (4680.0, 4720.0, 4695.0, 4705.0, 4700.0)

    def spread(own: float) -> float:
        records = [unit(f"u{v}", score("R14.resistance", v, own=own)) for v in values]
        return learn_limits(records, board).limits[0].spread

    assert spread(30.0) < spread(0.0)
    prior_alone = 0.05 * 4700.0 / 3**0.5 * (8 / 12) ** 0.5
    assert spread(30.0) == pytest.approx(prior_alone, rel=1e-6), "all the scatter is the meter's"


def test_what_one_meter_gets_wrong_each_time_widens_the_limits(board: Board, unit: Callable[..., Record]) -> None:
    values = (4690.0, 4700.0, 4710.0)

    def half(shared: float, meters: tuple[Instrument, ...] = (DMM, DMM, DMM)) -> tuple[float, float]:
        pairs = zip(values, meters, strict=True)
        records = [unit(f"u{v}", score("R14.resistance", v, shared=shared), meter=m) for v, m in pairs]
        (limit,) = learn_limits(records, board).limits
        assert limit.upper is not None
        return limit.upper - limit.mean, limit.meter_part

    assert half(0.0)[1] == 0.0
    assert half(50.0)[1] == pytest.approx(100.0)
    assert half(50.0)[0] ** 2 == pytest.approx(half(0.0)[0] ** 2 + 100.0**2)
    others = (DMM, replace(DMM, identity="b"), replace(DMM, identity="c"))
    assert half(50.0, others)[1] == 0.0


def test_a_unit_that_does_not_belong_is_named_and_left_out(board: Board, unit: Callable[..., Record]) -> None:
    records = [unit(f"u{place}", score("R14.resistance", 4700.0 + place)) for place in range(4)]
    learned = learn_limits([*records, unit("stranger", score("R14.resistance", 6200.0))], board)
    (odd,) = learned.odd
    assert (odd.check, odd.unit, odd.value) == ("R14.resistance", "stranger", 6200.0)
    assert str(odd).startswith("R14.resistance: stranger reads 6200, the others say ")
    assert "stranger" not in learned.limits[0].units
    assert learned.limits[0].mean == pytest.approx(4701.5)


def test_a_second_meter_may_differ_by_its_accuracy_without_being_a_stranger(
    board: Board, unit: Callable[..., Record]
) -> None:
    near = [unit(f"u{place}", score("R14.resistance", 4700.0 + place, shared=300.0)) for place in range(3)]
    other = replace(DMM, identity="serial 4711")
    far = 5500.0
    same = learn_limits([*near, unit("x", score("R14.resistance", far, shared=300.0))], board)
    second = learn_limits([*near, unit("x", score("R14.resistance", far, shared=300.0), meter=other)], board)
    assert [odd.unit for odd in same.odd] == ["x"]
    assert second.odd == ()


def test_left_and_right_channel_count_for_each_other(board: Board, unit: Callable[..., Record]) -> None:
    record = unit("one", score("R14.resistance", 4690.0), score("R24.resistance", 4710.0))
    alone = learn_limits([record], board)
    paired = learn_limits([record], board, channels=[("R14", "R24")])
    assert limit_of(alone.limits, "R14.resistance").mean == 4690.0
    for check in ("R14.resistance", "R24.resistance"):
        assert limit_of(paired.limits, check).mean == 4700.0
        assert "from 2 values of 1 known-good unit (both channels) and" in limit_of(paired.limits, check).origin
    assert paired.remarks == ()


def test_two_channels_of_one_board_are_one_board(board: Board, unit: Callable[..., Record]) -> None:
    """What differs between boards is the same in both channels: 2000 draws, see above."""
    draws = random.Random(7)
    held = 0
    for _ in range(2000):
        spread = 0.05 * 4700.0 / 3**0.5 * (8.0 / draws.gammavariate(4.0, 2.0)) ** 0.5
        this, other = draws.gauss(4700.0, spread), draws.gauss(4700.0, spread)
        record = unit("one", score("R14.resistance", this), score("R24.resistance", this))
        limit = limit_of(learn_limits([record], board, channels=[("R14", "R24")]).limits, "R14.resistance")
        assert limit.lower is not None
        assert limit.upper is not None
        held += limit.lower <= other <= limit.upper
    assert held / 2000 >= 0.95 - 0.016


def test_a_channel_that_does_not_belong_is_named_once_and_as_itself(
    board: Board, unit: Callable[..., Record]
) -> None:
    good = unit("one", score("R14.resistance", 4690.0), score("R24.resistance", 4710.0))
    other = unit("two", score("R14.resistance", 4700.0), score("R24.resistance", 6200.0))
    learned = learn_limits([good, other], board, channels=[("R14", "R24")])
    assert [(odd.check, odd.unit, odd.value) for odd in learned.odd] == [("R24.resistance", "two", 6200.0)]


def test_of_two_values_too_far_apart_nobody_can_say_which_is_right(board: Board, unit: Callable[..., Record]) -> None:
    record = unit("one", score("R14.resistance", 4690.0), score("R24.resistance", 6200.0))
    learned = learn_limits([record], board, channels=[("R14", "R24")])
    assert learned.odd == ()
    words = "R14.resistance of one reads 4690 and R24.resistance of one reads 6200: more apart than good units are"
    assert learned.remarks == (f"{words}; one of them may not belong",)
    near = unit("one", score("R14.resistance", 4690.0), score("R24.resistance", 4790.0))
    assert learn_limits([near], board, channels=[("R14", "R24")]).remarks == ()


def test_a_value_that_failed_counts_and_is_named(board: Board, unit: Callable[..., Record]) -> None:
    failed = replace(score("R14.resistance", 5000.0), verdict=Verdict.FAIL)
    (remark,) = learn_limits([unit("one", failed)], board).remarks
    assert remark.startswith("R14.resistance: fail in ")
    assert remark.endswith(", and counts as good; leave the record out if it is not")


@pytest.mark.parametrize(
    ("channels", "words"),
    [
        ([("R14", "R99")], "--channel: R99: the board has no such part"),
        ([("R14", "R14")], "--channel: R14: is given 2 times; a part has one twin, and is not its own"),
        ([("R14", "R24"), ("R24", "R14")], "--channel: R24: is given 2 times"),
        ([("R14", "D3")], "--channel: R14 D3: are of kinds resistor and diode; channels are built alike"),
        ([("R14", "R31")], "--channel: R14 R31: are of values 4700.0 and 31.0; channels are built alike"),
        ([("R14", "R15")], "--channel: R14 R15: have no check in common"),
    ],
)
def test_channels_that_are_none_are_refused(
    unit: Callable[..., Record], channels: list[tuple[str, str]], words: str
) -> None:
    more = '[part.R31]\nkind = "resistor"\nvalue = "31"\ntolerance = "5 %"\nnets = ["A", "B"]\n'
    more += '[part.R15]\nkind = "resistor"\nvalue = "4k7"\nnets = ["C", "D"]\nneighbour = true\n'
    other = load_board(parse_document(SPEC + more, "pr-3.toml"))
    with pytest.raises(UsageError) as refusal:
        learn_limits([unit("one", score("R14.resistance", 4690.0))], other, channels=channels)
    assert words in str(refusal.value)


def test_of_a_unit_measured_twice_the_last_visit_counts(board: Board, unit: Callable[..., Record]) -> None:
    visits = [unit("one", score("R14.resistance", 4600.0)), unit("one", score("R14.resistance", 4700.0))]
    assert learn_limits(visits, board).limits[0].mean == 4700.0


def test_sides_stay_open_where_the_check_has_no_limit(board: Board, unit: Callable[..., Record]) -> None:
    drop = score("D3.forward_drop", 0.22, unit="V")
    limits = learn_limits([unit("one", score("L1.dc_resistance", 0.2), drop)], board).limits
    assert limit_of(limits, "L1.dc_resistance").lower is None
    assert limit_of(limits, "D3.forward_drop").lower is not None


def test_what_safety_rests_on_is_never_loosened(board: Board, unit: Callable[..., Record]) -> None:
    def learned(ohms: float) -> tuple[LearnedLimit, ...]:
        scores = (score("BATT.to_ground[red:BATT]", ohms), score("BATT.residual_voltage", 0.3, unit="V"))
        return learn_limits([unit("one", *scores)], board).limits

    assert learned(90.0) == ()
    (limit,) = learned(1000.0)
    assert limit.lower is not None
    assert limit.lower > 100.0
    assert limit.upper is None


def test_records_of_another_board_are_refused_all_at_once(board: Board, unit: Callable[..., Record]) -> None:
    with pytest.raises(RecordError) as refusal:
        learn_limits([unit("one", board="toaster"), unit("two", board="kettle")], board)
    assert len(refusal.value.faults) == 2
    assert 'is of the board "toaster" and the spec of "Marrowby PR-3 pocket receiver"' in str(refusal.value)


def test_a_value_that_is_none_teaches_nothing(board: Board, unit: Callable[..., Record]) -> None:
    records = [unit("one", score("R14.resistance", None)), unit("two", score("R14.resistance", 4700.0))]
    assert learn_limits(records, board).limits[0].units == ("two",)


# --- into the spec


def test_the_new_spec_keeps_comments_and_order_and_says_where_each_limit_came_from(
    board: Board, unit: Callable[..., Record]
) -> None:
    drop = score("D3.forward_drop", 0.22, unit="V")
    records = [unit("one", score("R14.resistance", 4690.0), drop), unit("two\n#", score("R14.resistance", 4710.0))]
    amended = with_limits(board, learn_limits(records, board))
    for remark in ("# Our own remarks, which stay.", "# safety", "# the divider's lower half", "# shop's habit"):
        assert remark in amended.text
    lines = amended.text.split("\n")
    place = next(number for number, line in enumerate(lines) if line.startswith("forward_drop"))
    assert lines[place - 1] == "# learned: mean 220.0 mV, from one"
    assert "# learned: mean 4.700 kΩ, from one, two #" in lines
    again = load_board(parse_document(amended.text, "new.toml"))
    check = again.by_id["D3.forward_drop"]
    learned = limit_of(amended.written, "D3.forward_drop")
    assert check.limits.lower == pytest.approx(learned.lower, rel=1e-3)
    assert check.limits.upper == pytest.approx(learned.upper, rel=1e-3)
    assert "holds the next good unit with 95 %" in check.limits.reason
    assert [c.id for c in again.checks] == [c.id for c in board.checks]
    unchanged = [line for line in SPEC.split("\n") if line and not line.startswith("forward_drop")]
    assert [line for line in lines if line in unchanged] == unchanged


def test_limits_the_spec_has_no_key_for_are_named(board: Board, unit: Callable[..., Record]) -> None:
    both = (score("BATT.to_ground[red:BATT]", 1000.0), score("BATT.to_ground[red:GND]", 2000.0))
    amended = with_limits(board, learn_limits([unit("one", *both)], board))
    assert amended.text == SPEC
    assert "BATT.to_ground[red:BATT]: supply.BATT.to_ground holds for several checks; not written" in amended.remarks


def test_nothing_learned_leaves_the_spec_as_it_was(board: Board) -> None:
    amended = with_limits(board, learn_limits([], board))
    assert (amended.text, amended.written, amended.remarks) == (SPEC, (), ())


def test_a_real_board_takes_every_limit_or_says_why(tmp_path: Path, unit: Callable[..., Record]) -> None:
    shipped = load_board(Path(__file__).parents[2] / "specs" / "quillmere-kr6.toml")
    scores = [
        score(check.id, check.expected or 1.0, unit=check.quantity_unit)
        for check in shipped.checks
        if check.quantity_unit != "text"
    ]
    record = unit("one", *scores, board=shipped.model)
    learned = learn_limits([record], shipped)
    amended = with_limits(shipped, learned)
    assert len(amended.written) > 10
    named = {remark.split(":")[0] for remark in amended.remarks} | {limit.check for limit in amended.written}
    assert {limit.check.split(":")[0] for limit in learned.limits} <= {name.split(":")[0] for name in named}
    load_board(parse_document(amended.text, "new.toml"))
