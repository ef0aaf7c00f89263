"""The pages in a real browser: nothing runs, nothing is complained about, nothing sticks out on a phone."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from benchcheck.record.history import history_of
from benchcheck.record.record import read_record
from benchcheck.report.html import history_page, sheet_page
from tests.record.samples import write_visit
from tests.report.hostile import hostile_record

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs the browser chromium on the PATH")

#: says in its title how wide the page in the frame is.
_FRAME = """<!DOCTYPE html><html lang="en"><head><title>waiting</title></head>
<body style="margin:0"><iframe src="{page}" style="width:{width}px;height:800px;border:0" onload="
document.title = this.contentDocument.documentElement.scrollWidth"></iframe></body></html>"""


def browse(folder: Path, page: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Return what the browser printed of a page: its tree on standard output, the console on standard error."""
    command = [
        str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--allow-file-access-from-files",
        "--enable-logging=stderr", f"--user-data-dir={folder / 'profile'}", *arguments, page.as_uri(),
    ]  # fmt: skip
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=120, check=True)


def console(ran: subprocess.CompletedProcess[str]) -> list[str]:
    return [line for line in ran.stderr.splitlines() if "CONSOLE" in line]


def title(ran: subprocess.CompletedProcess[str]) -> str:
    found = re.search(r"<title>(.*?)</title>", ran.stdout, re.DOTALL)
    assert found is not None
    return found[1]


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_the_console_is_heard(tmp_path: Path) -> None:
    page = written(tmp_path, "page.html", "<!DOCTYPE html><title>x</title><script>console.error('heard')</script>")
    assert "heard" in "".join(console(browse(tmp_path, page, "--dump-dom")))


def test_a_hostile_sheet_runs_nothing_and_the_console_stays_empty(tmp_path: Path) -> None:
    page = written(tmp_path, "page.html", sheet_page(hostile_record(tmp_path / "records")))
    ran = browse(tmp_path, page, "--dump-dom")
    assert "broken out" not in title(ran).replace("document.title='broken out'", "")
    assert title(ran).startswith("&lt;/title&gt;")
    assert console(ran) == []


@pytest.mark.parametrize("width", [320, 390, 1024])
@pytest.mark.parametrize("kind", ["sheet", "history"])
def test_nothing_sticks_out_sideways(tmp_path: Path, width: int, kind: str) -> None:
    """WCAG 2.1, 1.4.10: no scrolling in two directions down to a width of 320 CSS pixels."""
    record = read_record(write_visit(tmp_path / "records"))
    text = sheet_page(record) if kind == "sheet" else history_page(history_of((record,) * 3))
    written(tmp_path, "page.html", text)
    frame = written(tmp_path, "frame.html", _FRAME.format(page="page.html", width=width))
    assert float(title(browse(tmp_path, frame, "--dump-dom", "--virtual-time-budget=3000"))) <= width


def test_a_sheet_prints(tmp_path: Path) -> None:
    page = written(tmp_path, "page.html", sheet_page(read_record(write_visit(tmp_path / "records"))))
    browse(tmp_path, page, f"--print-to-pdf={tmp_path / 'page.pdf'}")
    data = (tmp_path / "page.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    sizes = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", data)
    assert {(round(float(width)), round(float(height))) for width, height in sizes} == {(595, 842)}  # A4, ISO 216
