"""The kit for reports: a text, the same for the same record, in which every stranger's text stays text."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

from benchcheck.conformance.sample import READINGS, require, sample_bench, sample_board, sample_record
from benchcheck.readings.reading import Session
from benchcheck.record.history import history_of
from benchcheck.report.offer import About, CardSubject, Report, report_faults
from benchcheck.score.capability import capabilities

__all__ = ["ReportKit"]

_HOSTILE = "<script>alert('7')</script> & \"Co\""
_FETCHES = re.compile(
    r"""<script|\bon\w+\s*=\s*["']|(?:src|href)\s*=\s*["']?(?:https?:)?//|@import|url\(\s*["']?http""", re.I
)


class ReportKit:
    """Subclass as `Test...` and give `report`.

    The kit makes a visit to a sample board in pytest's `tmp_path` and has the report made of it, of one by a unit
    with a hostile label, of one in which nothing was read, and of one made a second time.
    """

    report: ClassVar[Report]

    def subject(self, folder: Path, unit: str = "L-2 no. 7", readings: str = READINGS) -> Any:
        """Return what the report is about: a record, a history or a card's subject, as `About` says."""
        if self.report.about is About.BENCH:
            found = capabilities(sample_board().checks, sample_bench(), Session())
            return CardSubject(unit, tuple(found))
        record = sample_record(folder, unit, readings)
        return record if self.report.about is About.RECORD else history_of((record,))

    def test_it_has_all_a_report_needs(self) -> None:
        """Name, summary, what it is about, suffix and a function."""
        faults = tuple(report_faults(self.report))
        require(not faults, "; ".join(faults))

    def test_it_makes_a_text(self, tmp_path: Path) -> None:
        """A text that is not empty and ends with its last line."""
        text: Any = self.report.make(self.subject(tmp_path))
        require(isinstance(text, str), f"it made a {type(text).__name__}; a report is a text")
        require(text.strip() and text.endswith("\n"), "it is empty, or its last line does not end")

    def test_the_same_record_gives_the_same_text(self, tmp_path: Path) -> None:
        """No date of today, no chance, no order of sets: a report can be made again."""
        subject = self.subject(tmp_path)
        require(self.report.make(subject) == self.report.make(subject), "the same record gives another text")

    def test_it_leaves_the_record_alone(self, tmp_path: Path) -> None:
        """What a report is made of is not changed by it."""
        subject = self.subject(tmp_path)
        before = copy.deepcopy(subject)
        self.report.make(subject)
        require(subject == before, "making the report changed what it is about")

    def test_a_visit_without_readings_is_no_crash(self, tmp_path: Path) -> None:
        """An old or empty record must still print."""
        text: Any = self.report.make(self.subject(tmp_path, readings="check,reading\n"))
        require(isinstance(text, str) and text.strip(), "of a visit without readings it makes nothing")

    def test_strangers_texts_stay_text(self, tmp_path: Path) -> None:
        """In a page, a label like <script> is shown, not run; a page runs nothing and fetches nothing."""
        if self.report.suffix not in (".html", ".htm", ".svg", ".xml"):
            return
        text = self.report.make(self.subject(tmp_path, _HOSTILE))
        for found in self._live(text):
            raise AssertionError(f"the page holds {found!r}: escape what records say, and fetch nothing")

    def _live(self, text: str) -> Iterator[str]:
        yield from (match.group(0) for match in _FETCHES.finditer(text))
