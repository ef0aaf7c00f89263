"""The quick way through a block gives what the TOML parser gives, and refuses what it refuses."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchcheck.document import parse_document, toml_value
from benchcheck.errors import RecordError
from benchcheck.record.lines import read_block

KEYS = st.from_regex(r"[a-z_]{1,8}", fullmatch=True)
PLAIN = (
    st.text(max_size=20)
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats(allow_nan=False)
    | st.booleans()
    | st.datetimes(datetime(1, 1, 1), datetime(9999, 12, 31), timezones=st.just(UTC))
    | st.dates()
)
VALUES = st.recursive(
    PLAIN,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


def same(one: object, two: object) -> bool:
    """Written alike by Python: the same type, digits and sign of zero all the way down, and nan for nan."""
    return repr(one) == repr(two)


@given(st.dictionaries(KEYS, VALUES, max_size=8))
def test_what_is_written_reads_the_same_either_way(values: dict[str, object]) -> None:
    text = "".join(f"{key} = {toml_value(value)}\n" for key, value in values.items())
    slow, quick = parse_document(text, "x").data, read_block(text, "x")
    assert list(quick) == list(slow)
    assert all(same(quick[key], slow[key]) for key in slow)


LINES = st.sampled_from(
    [
        "a = 1", "a = 2", "b = 01", "b = 1.", "b = .5", "b = -0", "b = -0.0", "b = 1e5", "b = 1E5", "b = +1",
        "b = 1_0", "m = '''", "b = '''",
        "b = 1e400", "b = 99999999999999999999", "c = 2026-02-30T00:00:00+00:00", "c = 2026-02-03T04:05:06+00:00",
        "c = 2026-02-03T04:05:06.123456+00:00", "c = 2026-02-03T04:05:06Z", 'd = "x" # y', 'd = "x"y"', "d = 'x'",
        'd = "\\u0041"', 'd = "tab\there"', "e = true", "e = True", "e = nan", "f = [1, 2]", "f = [1,", "]", "",
        "# remark", "[t]", "[[t]]", "g.h = 1", '"i" = 1', " j = 1", "k=1", "k = ", "l = { a = 1 }", 'm = """', '"""',
        "\u00e4 = 1", 'n = "\u2028"', 'n = "\x7f"', "o = inf", "a = [1]",
        'p = { a = "b = 1", c = [{ d = -0.5e-7 }, {}] }', "p = { a = 1, a = 2 }", "p = { a = 1, }", "p = [1, 2,]",
        "p = { a = null }", "p = [null]", 'p = { "a": 1 }', 'p = { "a" = 1 }', "p = { a = b = 1 }", "p = [01]",
        "p = [-0, -0.0, 1e400, 99999999999999999999]", "p = [1 2]", "p = [1", "p = ]", "p = [[]", "p = {} {}",
        "p = [true, false]", "p = { true = false }", "p = [2026-02-03]", 'p = ["\u0041"]', 'p = [""]',
        "p = [NaN]", "p = [Infinity]", "p = " + 9 * "[" + 9 * "]", "p = " + 40 * "[" + 40 * "]",
        "p = " + 40 * "{ a = " + "1" + 40 * " }", "p = [" + 5000 * "1" + "]", "p = [1] # remark", "p = { a.b = 1 }",
    ]
)  # fmt: skip


@given(st.lists(LINES, max_size=4), st.sampled_from(["\n", ""]))
def test_what_others_write_reads_the_same_either_way_or_is_refused_by_both(lines: list[str], end: str) -> None:
    text = "\n".join(lines) + end
    try:
        slow = parse_document(text, "x", error=RecordError).data
    except RecordError:
        with pytest.raises(RecordError):
            read_block(text, "x")
    else:
        quick = read_block(text, "x")
        assert list(quick) == list(slow)
        assert all(same(quick[key], slow[key]) for key in slow)
