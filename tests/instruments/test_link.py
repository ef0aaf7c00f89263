"""A link takes no answer on trust: tokens, deadlines, caps, and a dirty state that only recovery ends."""

from __future__ import annotations

import itertools
import threading

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.errors import InstrumentError
from benchcheck.instruments.dialect import LinkManners
from benchcheck.instruments.recovery import drain_errors, recover
from benchcheck.instruments.reply import read_number
from tests.instruments.fakes import IDENTITY, FakeTransport, answers, honest, open_link

ONE_BY_ONE = LinkManners(join="", token="")


def test_an_answer_belongs_to_its_question_by_its_token() -> None:
    link, transport, _ = open_link(answers(READ="1.5"))
    assert link.exchange("READ?") == ("1.5",)
    assert transport.sent == ["READ?;*ESE 1;*ESE?"]


def test_a_stale_line_with_another_token_is_passed_over() -> None:
    def reply(message: str) -> list[tuple[float, bytes]]:
        return [(0.001, b"7.7;99\n7.7\n"), (0.002, honest(message, {"READ": "1.5"}).encode() + b"\n")]

    link, _, _ = open_link(reply)
    assert link.exchange("READ?") == ("1.5",)


def test_without_tokens_a_line_too_many_makes_the_link_dirty() -> None:
    link, _, _ = open_link(lambda _: [(0.001, b"7.7\n1.5\n")], ONE_BY_ONE)
    with pytest.raises(InstrumentError, match="came on top of the answer"):
        link.exchange("READ?")
    assert link.state.dirty


def test_without_tokens_something_unasked_is_refused_before_anything_is_sent() -> None:
    link, transport, clock = open_link(answers(READ="1.5"), ONE_BY_ONE)
    transport.queue.append((clock.monotonic_s(), b"7.7\n"))
    with pytest.raises(InstrumentError, match="without being asked"):
        link.exchange("READ?")
    assert transport.sent == []


def test_a_declared_noise_line_is_dropped() -> None:
    manners = LinkManners(join="", token="", drop_lines=(r"^\*\*",))
    link, _, _ = open_link(lambda _: [(0.001, b"** fan slow\n1.5\n")], manners)
    assert link.exchange("READ?") == ("1.5",)


def test_the_deadline_is_absolute_however_slowly_bytes_come() -> None:
    link, _, clock = open_link(lambda _: [(0.1 * n, b"1") for n in range(1, 200)])
    with pytest.raises(InstrumentError, match="no complete answer in time, only"):
        link.exchange("READ?", timeout_s=1.0)
    assert clock.monotonic_s() == pytest.approx(1.0, abs=0.25)


def test_an_endless_answer_ends_at_the_byte_cap() -> None:
    link, _, _ = open_link(lambda _: [(1e-6 * n, b"1" * 4096) for n in range(1, 100)])
    with pytest.raises(InstrumentError, match="more than 65536 bytes"):
        link.exchange("READ?")


def test_a_late_answer_is_never_read_as_the_answer_to_the_next_question() -> None:
    """The late reply of a timed-out question dies with its connection."""
    late = [True]

    def reply(message: str) -> list[tuple[float, bytes]]:
        line = honest(message, {"READ": "7.7", "VOLT": "5.0"}).encode() + b"\n"
        delay_s = 3.0 if late and "READ" in message and late.pop() else 0.001
        return [(delay_s, line)]

    link, _, _ = open_link(reply)
    with pytest.raises(InstrumentError, match="READ"):
        link.exchange("READ?", timeout_s=1.0)
    with pytest.raises(InstrumentError, match="out of step"):
        link.exchange("VOLT?")
    recover(link)
    assert link.exchange("VOLT?") == ("5.0",)


def test_an_interrupt_makes_the_link_dirty() -> None:
    link, _, _ = open_link(lambda _: [])

    def press() -> None:
        raise KeyboardInterrupt

    link.while_waiting = press
    with pytest.raises(KeyboardInterrupt):
        link.exchange("READ?")
    assert "KeyboardInterrupt" in link.state.dirty


def test_an_answer_of_another_shape_makes_the_link_dirty() -> None:
    link, _, _ = open_link(answers(READ="LATE"))
    with pytest.raises(InstrumentError, match="'LATE' is not a number"):
        link.query("READ?", read_number)
    assert link.state.dirty


def test_bytes_that_are_no_text_make_the_link_dirty() -> None:
    link, _, _ = open_link(lambda _: [(0.001, b"\xfe\x91\n")])
    with pytest.raises(InstrumentError, match="no text"):
        link.exchange("READ?")
    assert link.state.dirty


def test_the_minimum_gap_between_messages_is_kept() -> None:
    link, transport, _ = open_link(answers(READ="1.5"), LinkManners(min_gap_ms=80.0))
    for _ in range(3):
        link.exchange("READ?")
    gaps = [after - before for before, after in itertools.pairwise(transport.sent_at)]
    assert min(gaps) >= 0.08


def test_an_instrument_without_terminators_is_read_up_to_a_gap() -> None:
    manners = LinkManners(write_term="", terminated=False, join="", token="")
    link, _, _ = open_link(lambda _: [(0.001, b"05"), (0.02, b".00")], manners)
    assert link.exchange("VOUT1?") == ("05.00",)


def test_an_acknowledgement_is_expected_where_the_dialect_has_one() -> None:
    link, _, _ = open_link(lambda _: [(0.001, b"NACK\n")], LinkManners(join="", token="", set_ack="OK"))
    with pytest.raises(InstrumentError, match="'NACK' instead of 'OK'"):
        link.exchange("PV 5")


def test_two_threads_never_get_each_others_answers() -> None:
    """Measured on a bare pyvisa session: two threads on one session mix up most answers without any error."""
    link, _, _ = open_link(answers(A="1.0", B="2.0"))
    wrong: list[str] = []

    def ask(question: str, expected: str) -> None:
        wrong.extend(answer for _ in range(200) for answer in link.exchange(question) if answer != expected)

    threads = [threading.Thread(target=ask, args=pair) for pair in (("A?", "1.0"), ("B?", "2.0"))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_a_link_is_not_used_by_another_process(monkeypatch: pytest.MonkeyPatch) -> None:
    link, _, _ = open_link(answers())
    monkeypatch.setattr("benchcheck.instruments.link.os.getpid", lambda: -1)
    with pytest.raises(InstrumentError, match="belongs to another process"):
        link.exchange("READ?")


def test_recovery_refuses_another_identity() -> None:
    link, _, _ = open_link(answers())
    link.state.identity = "Somebody Else,1,1,1"
    link.mark("test")
    with pytest.raises(InstrumentError, match='where "Somebody Else,1,1,1" did before'):
        recover(link)
    assert link.state.dirty


def test_recovery_reads_past_stale_lines_until_the_identity_comes_twice() -> None:
    stale = [b"7.7\n"]

    def reply(message: str) -> list[tuple[float, bytes]]:
        lines = [stale.pop()] if stale else []
        return [(0.001, line) for line in (*lines, honest(message, {}).encode() + b"\n")]

    link, _, _ = open_link(reply)
    assert recover(link).identity == IDENTITY
    assert not link.state.dirty


def test_recovery_notices_that_the_instrument_was_restarted() -> None:
    def reply(message: str) -> list[tuple[float, bytes]]:
        return [(0.001, honest(message, {}).replace("0;", "128;", 1).encode() + b"\n")]

    link, _, _ = open_link(reply)
    assert recover(link).restarted


def test_an_error_queue_that_never_ends_is_not_read_for_ever() -> None:
    def reply(message: str) -> list[tuple[float, bytes]]:
        return [(0.001, honest(message, {}).replace("0,", "-240,").encode() + b"\n")]

    link, _, _ = open_link(reply)
    with pytest.raises(InstrumentError, match="without end"):
        drain_errors(link)


def test_blurting_sends_whatever_the_state_is_and_leaves_the_link_dirty() -> None:
    link, transport, _ = open_link(answers())
    link.mark("waiting for something")
    assert link.blurt("OUTP OFF")
    assert transport.sent == ["OUTP OFF"]
    assert link.state.dirty


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 60), max_size=8), st.sampled_from([b"\n", b"\r\n", b"\n\r", b"\0\n"]))
def test_an_answer_may_come_in_any_pieces_with_any_usual_terminator(cuts: list[int], ending: bytes) -> None:
    def reply(message: str) -> list[tuple[float, bytes]]:
        data = honest(message, {"READ": "+1.23456789E-03"}).encode() + ending
        places = sorted({0, len(data), *(cut for cut in cuts if cut < len(data))})
        return [(0.001 * n, data[a:b]) for n, (a, b) in enumerate(itertools.pairwise(places), start=1)]

    link, _, _ = open_link(reply)
    for _ in range(3):
        assert link.exchange("READ?") == ("+1.23456789E-03",)


def test_a_definite_block_is_counted_not_cut_at_its_line_feeds() -> None:
    manners = LinkManners(join="", token="")
    link, _, _ = open_link(lambda _: [(0.001, b"#15a\nb"), (0.01, b"\nc\n")], manners)
    assert link.exchange("DATA?") == ("#15a\nb\nc",)


def test_the_transcript_says_what_was_sent_and_received() -> None:
    link, _, _ = open_link(answers(READ="1.5"))
    link.exchange("READ?")
    assert [message.direction for message in link.transcript.messages[-2:]] == ["sent", "received"]
    assert len(link.transcript.digest) == 64


def test_the_fake_itself_ends_like_a_closed_connection() -> None:
    link, transport, _ = open_link(lambda _: [(0.001, b"")])
    assert isinstance(transport, FakeTransport)
    with pytest.raises(InstrumentError, match="ended"):
        link.exchange("READ?")
