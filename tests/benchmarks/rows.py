"""A row of figures: ours, a named peer's beside it, their ratio and what is to be reached; kept for the table.

A benchmark calls `row` once a figure. Seconds are printed in the unit that reads best. Nothing passes or fails here:
a row only says whether it reaches what the design asks for.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ROWS", "Row", "duration", "row", "table"]


@dataclass(frozen=True, slots=True)
class Row:
    """One figure: `ours_s` and `peer_s` in seconds, `peer` in words; `reach` the most their ratio may be.

    With `faster`, ours is to be so many times faster: the ratio is the peer's over ours and `reach` the least. Where
    there is no peer, `peer_s` is the absolute time to reach.
    """

    what: str
    ours_s: float
    peer: str
    peer_s: float
    ratio: float
    reach: float
    faster: bool = False

    @property
    def reached(self) -> bool:
        """Whether the figure is what the design asks for."""
        return self.ratio >= self.reach if self.faster else self.ratio <= self.reach

    def __str__(self) -> str:
        """Return the row on one line."""
        sense = ">=" if self.faster else "<="
        state = "" if self.reached else "  NOT REACHED"
        told = f"{self.what}: {duration(self.ours_s)}; {self.peer} {duration(self.peer_s)}; "
        return f"{told}ratio {self.ratio:.3g} (reach {sense} {self.reach:g}){state}"


#: every row of this run, in the order measured.
ROWS: list[Row] = []


def row(
    what: str, ours_s: float, peer: str, peer_s: float, reach: float, *, ratio: float = 0.0, faster: bool = False
) -> Row:
    """Print and keep a row; `ratio` where it is not that of the two times (a median of rounds)."""
    plain = peer_s / ours_s if faster else ours_s / peer_s
    made = Row(what, ours_s, peer, peer_s, ratio or plain, reach, faster)
    ROWS.append(made)
    print(f"  {made}", flush=True)
    return made


def table(rows: list[Row]) -> list[str]:
    """Return the rows as a table of plain characters."""
    cells = [("what", "ours", "against", "takes", "ratio", "reach", "")]
    for one in rows:
        sense = ">=" if one.faster else "<="
        figures = (f"{one.ratio:.3g}", f"{sense} {one.reach:g}", "yes" if one.reached else "NO")
        cells.append((one.what, duration(one.ours_s), one.peer, duration(one.peer_s), *figures))
    widths = [max(len(line[column]) for line in cells) for column in range(len(cells[0]))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in cells]


def duration(seconds: float) -> str:
    """Return a time in the unit that reads best.

    >>> duration(0.0000123), duration(0.0421), duration(3.5)
    ('12.3 us', '42.1 ms', '3.5 s')
    """
    if seconds < 1e-3:
        return f"{seconds * 1e6:.3g} us"
    return f"{seconds * 1e3:.3g} ms" if seconds < 1.0 else f"{seconds:.3g} s"
