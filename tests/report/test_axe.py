"""The pages before the rules of axe-core, an accessibility engine (WCAG 2.0 to 2.2 and its own best practices)."""

from __future__ import annotations

import html
import importlib.util
import json
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from benchcheck.record.history import history_of
from benchcheck.record.record import read_record
from benchcheck.report.card import probe_card_html
from benchcheck.report.html import history_page, sheet_page
from tests.record.samples import write_visit
from tests.report.hostile import hostile_record
from tests.report.test_card import RESISTOR, found
from tests.report.test_chromium import CHROMIUM, browse, written

_ENGINE = importlib.util.find_spec("axe_core_python")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None or _ENGINE is None, reason="needs the browser chromium and the package axe-core-python"
)

_RUN = """axe.run().then(found => {
const told = document.createElement("pre"); told.id = "told";
told.textContent = JSON.stringify({passes: found.passes.length,
 violations: found.violations.map(one => [one.id, one.nodes.map(node => node.target.join(" "))])});
document.body.append(told)})"""


@dataclass(frozen=True, slots=True)
class Told:
    passes: int
    violations: list[tuple[str, list[str]]]


def examined(folder: Path, page: str) -> Told:
    """Return what the engine says of a page; the ban on scripts is lifted from the copy it runs in."""
    assert _ENGINE is not None
    assert _ENGINE.origin is not None
    engine = (
        (Path(_ENGINE.origin).parent / "axe.min.js").read_text(encoding="utf-8").replace("</script", "<\\/script")
    )
    copy = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    before, _, _ = copy.rpartition("</body>")
    path = written(folder, "examined.html", f"{before}<script>{engine}</script><script>{_RUN}</script></body></html>")
    ran = browse(folder, path, "--dump-dom", "--virtual-time-budget=60000")
    told = re.search(r'<pre id="told">(.*?)</pre>', ran.stdout, re.DOTALL)
    assert told is not None
    return Told(**json.loads(html.unescape(told[1])))


def test_the_engine_finds_what_is_wrong(tmp_path: Path) -> None:
    page = "<!DOCTYPE html><html><head><title>x</title></head><body><p>grey</p></body></html>"
    assert "html-has-lang" in [rule for rule, _ in examined(tmp_path, page).violations]


@pytest.mark.parametrize("kind", ["sheet", "hostile sheet", "history", "card"])
def test_a_page_breaks_no_rule(tmp_path: Path, kind: str) -> None:
    record = read_record(write_visit(tmp_path / "records"))
    make = {
        "sheet": lambda: sheet_page(record),
        "hostile sheet": lambda: sheet_page(hostile_record(tmp_path / "hostile")),
        "history": lambda: history_page(history_of((record,) * 3)),
        "card": lambda: probe_card_html("Ellwick T-1", found(RESISTOR)),
    }
    told = examined(tmp_path, make[kind]())
    assert told.violations == []
    assert told.passes > 10
