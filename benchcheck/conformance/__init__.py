"""Kits for plugin authors: hand one the thing you made, and pytest tells which rule it breaks and what to do.

Each kit is a class to subclass in a test file; three lines are a whole suite:

    from benchcheck.conformance import KindKit
    class TestLamp(KindKit):
        kind, entry = KIND, {"value": "6 V", "nets": ["LMP", "GND"]}

The kits hold for what benchcheck itself ships, and its own tests run them over all of it. pytest is not imported
here; whatever collects classes named `Test...` will do.
"""

from __future__ import annotations

from benchcheck.conformance.dialect_kit import DialectKit
from benchcheck.conformance.kind_kit import KindKit
from benchcheck.conformance.report_kit import ReportKit
from benchcheck.conformance.source_kit import FileSourceKit, SourceKit

__all__ = ["DialectKit", "FileSourceKit", "KindKit", "ReportKit", "SourceKit"]
