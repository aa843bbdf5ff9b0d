"""The page in a real browser (Debian's chromium, without a window): no complaint, no overflow, prints.

Without chromium these are skipped, unless LENSBENCH_NEEDS_BROWSER=1 says that it must be there.
"""

import os
import re
import shutil
import subprocess

import pytest

from lensbench.reporter.page import page_text
from tests.reporter.invented import invented_report

CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None and os.environ.get("LENSBENCH_NEEDS_BROWSER") != "1",
    reason="chromium is not installed (apt-get install chromium)",
)
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--enable-logging=stderr",
    "--virtual-time-budget=2000",
]


def browse(folder, page, *options):
    """Open a page with a fresh profile; gives what it prints and what the page complained of."""
    assert CHROMIUM, "LENSBENCH_NEEDS_BROWSER=1, but chromium is not installed"
    command = [CHROMIUM, *QUIET, f"--user-data-dir={folder / 'profile'}", *options, page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return done.stdout, [line for line in done.stderr.splitlines() if ":CONSOLE" in line]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page_text(invented_report((2.8, 5.6), (1200, 800))), encoding="utf-8")
    return path


def test_page_prints_without_complaint(tmp_path, page):
    pdf = tmp_path / "report.pdf"
    _, complaints = browse(tmp_path, page, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    assert complaints == []
    text = pdf.read_bytes()
    assert text.startswith(b"%PDF")
    assert 4 <= len(re.findall(rb"/Type\s*/Page\b", text)) <= 12


@pytest.mark.parametrize("width", [500, 1280])
def test_page_fits_its_window(tmp_path, page, width):
    """Only what scrolls by itself (wide tables, the map) may be wider than the window."""
    measured = tmp_path / "measured.html"
    script = "<script>document.title = document.documentElement.scrollWidth + ' of ' + innerWidth</script></body>"
    measured.write_text(page.read_text().replace("</body>", script))
    dom, complaints = browse(tmp_path, measured, f"--window-size={width},900", "--dump-dom")
    needed, given = map(int, re.search(r"<title>(\d+) of (\d+)</title>", dom).groups())
    assert complaints == []
    assert given == width
    assert needed <= given


def test_a_complaint_would_be_heard(tmp_path):
    broken = tmp_path / "broken.html"
    broken.write_text("<!doctype html><title>x</title><script>nowhere.at.all</script>")
    assert browse(tmp_path, broken, "--dump-dom")[1]
