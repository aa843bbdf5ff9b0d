"""The page in a real browser: Debian's chromium without a window, driven by Playwright.

Without chromium these tests are skipped, unless LENSBENCH_NEEDS_BROWSER=1 says that it must be there.
"""

import os
import shutil
from contextlib import contextmanager

import numpy as np
import pytest

from lensbench.reporter.page import page_text
from lensbench.reporter.tile_view import FoundEdge, TileView
from tests.reporter.invented import invented_report

CHROMIUM = shutil.which("chromium")
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]

SIZE = (1200, 800)


def invented_views(report):
    """A small picture of every tile of an invented report: a JPEG of one grey, its edges along its borders."""
    import imageio.v3 as iio

    picture = bytes(iio.imwrite("<bytes>", np.full((30, 40, 3), 90, np.uint8), extension=".jpeg"))
    corners = {
        "along": ((5.0, 5.0), (35.0, 5.0)),
        "across": ((5.0, 5.0), (5.0, 25.0)),
        "slant": ((35.0, 5.0), (5.0, 25.0)),
    }
    mtf = tuple(np.linspace(1, 0, 65))
    edges = tuple(FoundEdge(leg, *ends, mtf) for leg, ends in corners.items())
    tiles = {(e.shot, e.column, e.row) for s in report.settings if s.sharpness for e in s.sharpness.edges}
    return [TileView(*tile, picture, (40, 30), 2.0, edges) for tile in sorted(tiles)]


@pytest.fixture(scope="session")
def browser():
    if CHROMIUM is None and os.environ.get("LENSBENCH_NEEDS_BROWSER") != "1":
        pytest.skip("chromium is not installed (apt-get install chromium)")
    assert CHROMIUM, "LENSBENCH_NEEDS_BROWSER=1, but chromium is not installed"
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def invented_page(tmp_path_factory):
    """The page of two apertures with everything that a page may show."""
    path = tmp_path_factory.mktemp("page") / "report.html"
    report = invented_report((2.8, 5.6), SIZE)
    path.write_text(page_text(report, None, invented_views(report)), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def opened(browser):
    """Open a file: gives a context manager of the page; whatever the browser complains of fails the test."""

    @contextmanager
    def open_file(path, width=1280, height=900, **options):
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        page, complaints = context.new_page(), []
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "request", lambda request: request.url.startswith(("file:", "data:")) or complaints.append(request.url)
        )
        page.goto(path.as_uri())
        yield page
        context.close()
        assert complaints == []

    return open_file
