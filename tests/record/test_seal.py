"""The seals: computed as the format says, and never a wrong value or a lost block, whatever befalls the file."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchcheck.errors import RecordError
from benchcheck.record.record import Entry, Record, read_record_bytes
from benchcheck.record.seal import read_chain, seal_line, seal_of
from tests.record.samples import READINGS, RESULT, SCORES, write_visit

SEAL_LINE = re.compile(rb'^seal = "[0-9a-f]{64}"$', re.MULTILINE)


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_visit(tmp_path_factory.mktemp("records"))


@pytest.fixture(scope="module")
def data(path: Path) -> bytes:
    return path.read_bytes()


def read(data: bytes) -> Record | None:
    try:
        return read_record_bytes(data, Path("pr-3/x.toml"))
    except RecordError:
        return None


def prefix_of(record: Record, whole: Record) -> bool:
    """Whether everything a record shows is, block for block, what the undamaged one shows."""
    shown, written = ([(one.number, one.seal, one.value) for one in blocks(record)] for record in (record, whole))
    return record.head == whole.head and all(one in written for one in shown)


def blocks(record: Record) -> Iterator[Entry[object]]:
    yield from record.all_readings
    yield from record.all_scores
    yield from record.all_events
    yield from record.all_results


def test_a_seal_is_the_sha256_of_the_seal_before_and_the_block_as_the_format_says(data: bytes) -> None:
    """Recomputed here by the letter of the format, without the code under test."""
    previous, start = b"", 0
    lines = list(SEAL_LINE.finditer(data))
    for line in lines:
        block = data[start : line.start()].lstrip(b"\n")
        expected = hashlib.sha256(previous + block).hexdigest().encode("ascii")
        assert line[0] == b'seal = "' + expected + b'"'
        previous, start = expected, line.end() + 1
    assert len(lines) == 11
    assert start == len(data)


def test_the_first_line_is_the_format_version_and_blocks_have_no_sub_tables(data: bytes) -> None:
    lines = data.decode("utf-8").split("\n")
    assert lines[0] == "benchcheck_record = 1"
    headers = [line for line in lines if line.startswith("[")]
    assert set(headers) == {"[[reading]]", "[[score]]", "[[event]]", "[[result]]"}


def test_a_whole_file_is_valid_toml_to_any_reader(data: bytes) -> None:
    document = tomllib.loads(data.decode("utf-8"))
    assert [entry["check"] for entry in document["reading"]] == [reading.check for reading in READINGS]
    assert document["result"][0]["exit_code"] == RESULT.exit_code


def test_cut_at_every_byte_no_value_is_wrong_and_no_sealed_block_is_lost(data: bytes) -> None:
    whole = read(data)
    assert whole is not None
    ends = [line.end() for line in SEAL_LINE.finditer(data)]
    for cut in range(len(data)):
        complete = sum(end <= cut for end in ends)
        record = read(data[:cut])
        assert (record is None) == (complete == 0), cut
        if record is not None:
            assert record.blocks == complete, cut
            assert prefix_of(record, whole), cut
            at_a_seal = not data[ends[complete - 1] : cut].strip()
            assert record.sealed == at_a_seal, cut
            assert bool(record.problems) != at_a_seal, cut


def test_a_bit_flipped_at_every_byte_is_named_and_shows_no_wrong_value(data: bytes) -> None:
    whole = read(data)
    assert whole is not None
    ends = [line.end() for line in SEAL_LINE.finditer(data)]
    for place in range(len(data)):
        damaged = bytearray(data)
        damaged[place] ^= 1 << (place % 8)
        record = read(bytes(damaged))
        before = sum(end < place for end in ends)
        assert (record is None) == (before == 0), place
        if record is not None:
            assert record.blocks >= before, place
            assert prefix_of(record, whole), place
            assert record.problems, place
            assert not record.sealed, place


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_any_edit_shows_no_value_that_was_not_written(data: bytes, draw: st.DataObject) -> None:
    whole = read(data)
    assert whole is not None
    start = draw.draw(st.integers(0, len(data)))
    end = draw.draw(st.integers(start, min(len(data), start + 400)))
    put = draw.draw(st.binary(max_size=40) | st.sampled_from([data[:90], data[-200:], data[400:900]]))
    record = read(data[:start] + put + data[end:])
    if record is not None:
        assert prefix_of(record, whole)


@given(st.binary(max_size=300))
def test_reading_a_chain_never_raises(noise: bytes) -> None:
    read_chain(noise)
    chain = read_chain(b"benchcheck_record = 1\n" + noise)
    assert not chain.proven


def test_a_changed_block_in_the_middle_is_named_and_all_after_it_is_not_shown(data: bytes) -> None:
    edited = data.replace(b"value = 8.97\n", b"value = 9.02\n")
    record = read(edited)
    assert record is not None
    assert record.changed
    assert not record.torn
    assert record.blocks == 3
    assert record.scores == ()
    line = edited[: edited.index(b'check = "VSW.voltage[120mA]"')].count(b"\n")
    found = "block 4 of 11 does not carry its seal"
    advice = "everything from there on is not proven and not shown; the 3 before are"
    assert [str(problem) for problem in record.problems] == [f"pr-3/x.toml:{line}: {found}; {advice}"]


def test_a_block_taken_out_or_put_twice_breaks_the_chain(data: bytes) -> None:
    ends = [line.end() + 1 for line in SEAL_LINE.finditer(data)]
    without = read(data[: ends[2]] + data[ends[3] :])
    twice = read(data[: ends[3]] + data[ends[2] :])
    assert without is not None
    assert without.changed
    assert without.blocks == 3
    assert twice is not None
    assert twice.changed
    assert twice.blocks == 4


@pytest.mark.parametrize("place", range(1, 9))
def test_a_damaged_seal_line_reads_as_an_edit_and_not_as_a_torn_write(data: bytes, place: int) -> None:
    """Else a resume would set accepted readings aside."""
    line = list(SEAL_LINE.finditer(data))[place]
    record = read(data[: line.start() + 10] + b"z" + data[line.start() + 11 :])
    assert record is not None
    assert record.blocks == place
    assert record.changed


def test_a_text_between_blocks_is_named_and_the_blocks_around_it_hold(data: bytes) -> None:
    end = list(SEAL_LINE.finditer(data))[1].end() + 1
    record = read(data[:end] + b"# looks fine to me\n" + data[end:])
    whole = read(data)
    assert record is not None
    assert whole is not None
    assert record.readings == whole.readings
    assert record.scores == whole.scores
    assert not record.sealed
    line = data[:end].count(b"\n") + 1
    assert [str(problem) for problem in record.problems] == [
        f"pr-3/x.toml:{line}: stands between two blocks, outside every seal; it is passed over"
    ]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda data: data.replace(b"\n", b"\r\n"), "line ends are CR LF"),
        (lambda data: b"\xef\xbb\xbf" + data, "a byte-order mark stands in front"),
    ],
)
def test_line_ends_and_marks_of_other_programs_are_named_and_prove_the_same(
    data: bytes, spoil: Callable[[bytes], bytes], words: str
) -> None:
    record = read(spoil(data))
    assert record is not None
    assert record.sealed
    assert len(record.scores) == len(SCORES)
    assert words in str(record.problems[0])


def test_a_seal_line_is_what_it_says() -> None:
    seal = seal_of("", b"benchcheck_record = 1\n")
    assert seal_line(seal) == f'seal = "{seal}"\n'.encode()
    assert seal_of(seal, b"x") != seal_of("", b"x")
