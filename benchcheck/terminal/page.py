"""Lines of a page laid out for the width of a window: tables too, of which no column is lost.

A budget is a table as wide as a sheet. Where the window is a little narrower its names are folded; where it is much
narrower each row is said in words.
"""

from __future__ import annotations

import re

from benchcheck.terminal.wrapping import wrapped

__all__ = ["folded_page"]

_ROW = re.compile(r"\S {2,}\S.* {2,}\S")
_HEAD = re.compile(r"contribution +figure .* dof")
_BUDGET = re.compile(
    r"(?P<name>\S.*?) +(?P<figure>\S+) +(?P<shape>\S+) +(?P<by>[\d.e+-]+) +(?P<unc>\S+) +(?P<sens>\S+) +"
    r"(?P<share>\d+%) +(?P<dof>inf|\d+)"
)
#: columns of a name in a budget, and how few of them still hold one.
_NAME, _LEAST_NAME = 26, 18


def folded_page(words: str, columns: int) -> list[str]:
    """Return a line of a page as it is where it fits, else folded with its indent kept; a row keeps its columns.

    >>> folded_page("R14                        23.5ohm rectangular  1.732   13.57ohm      1   97%  inf", 40)
    ['R14', '  23.5ohm, rectangular, by 1.732: std.', '  unc. 13.57ohm, sens. 1, share 97%, dof', '  inf']
    """
    if len(words) <= columns:
        return [words]
    row = _BUDGET.fullmatch(words)
    if row is not None or _HEAD.fullmatch(words):
        return _budget_row(words, row, columns)
    indent = words[: len(words) - len(words.lstrip())][: columns // 2]
    listed = words.lstrip().startswith("- ") or bool(_ROW.search(words))
    return wrapped(words, indent, indent + "  " * listed, columns)


def _budget_row(words: str, row: re.Match[str] | None, columns: int) -> list[str]:
    """Return a row of a budget; its head is left out where every row says what its figures are."""
    room = _NAME - (len(words) - columns)
    if room >= _LEAST_NAME:
        first, *rest = wrapped(words[:_NAME], "", "", room)
        return [f"{first:<{room}}{words[_NAME:]}", *(f"  {one}" for one in rest)]
    if row is None:
        return []
    figures = (
        f"{row['figure']}, {row['shape']}, by {row['by']}: std. unc. {row['unc']}, sens. {row['sens']}, "
        f"share {row['share']}, dof {row['dof']}"
    )
    return [*wrapped(row["name"], "", "  ", columns), *wrapped(figures, "  ", "  ", columns)]
