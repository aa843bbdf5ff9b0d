"""Builds compared, as drawn and as a page: which zones are which colour, and what stands on it."""

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from matplotlib.colors import to_rgb

from lensbench import frame
from lensbench.findings import Build
from lensbench.reporter.page.comparison import comparison_text
from lensbench.reporter.plots import canvas, style
from lensbench.reporter.plots.difference_map import draw_comparison, draw_differences
from lensbench.verdicts.comparison import compare_builds
from tests.findings.alter import alter
from tests.verdicts.comparison.drawn_builds import drawn_report

SIZE = (6000, 4000)


@pytest.fixture(scope="module")
def comparison():
    """Corners of the later build a third sharper, its centre a quarter softer; shot four times each."""
    before, after = (drawn_report(np.random.default_rng(seed), 4) for seed in (1, 2))
    alter(before, build=Build("first", date="2026-01-01"))
    alter(after, build=Build("second", ["a shim"], "0.1 mm shim under the rear group", "2026-02-01"))
    for setting in after.settings:
        for zone in setting.sharpness.zones:
            factor = {"corner": 1.33, "centre": 0.75}.get(zone.zone.split(" ")[0], 1.0)
            for name in ("mtf50", "mtf50_lp_mm"):
                figure = getattr(zone, name)
                if figure:
                    alter(zone, **{name: figure.scaled(factor, figure.unit)})
    return compare_builds([before, after])


def drawn(aperture):
    sheet = canvas.new_drawing(6, 4)
    axes = canvas.axes_in(sheet, 0, 0, 6, 4)
    draw_differences(axes, aperture, SIZE, 20.0)
    return axes


def test_sharper_zones_are_yellow_and_softer_ones_blue(comparison):
    """Yellow has more red than blue, the scale's other end less; what does not count is near paper."""
    aperture = comparison.changes[0].apertures[0]
    axes = drawn(aperture)
    rows = {one.part: one for one in aperture.zones if one.what == "sharpness"}
    patches = [patch for patch in axes.patches if patch.get_zorder() < 9][: len(frame.ZONES)]
    counted = 0
    for zone, patch in zip(frame.ZONES, patches, strict=True):
        red, _, blue = to_rgb(patch.get_facecolor())
        if not rows[zone].counts:
            assert min(red, blue) > 0.65
            continue
        counted += 1
        assert (red > blue) == (rows[zone].after.value > rows[zone].before.value), zone
    assert rows["centre"].counts
    assert rows["centre"].better is False
    assert counted >= 3


def test_signs_stand_beside_the_numbers(comparison):
    said = {text.get_text() for text in drawn(comparison.changes[0].apertures[0]).texts}
    assert any(text.startswith("−") for text in said)
    assert any(text.startswith("+") for text in said)


def test_the_picture_says_which_builds_and_fits_its_sheet(comparison):
    with style.house_style():
        sheet = draw_comparison([(comparison.changes[0], SIZE)])
        sheet.canvas.draw()
    said = [text.get_text() for text in sheet.texts]
    assert "first (2026-01-01)  →  second (2026-02-01)" in said
    assert max(text.get_window_extent().x1 for text in sheet.texts) <= sheet.bbox.x1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_in_a_browser(comparison, opened, tmp_path, scheme):
    evil = "<script>window.hit=1</script>\"'&lt;"
    change = comparison.changes[0]
    alter(change, after=Build(evil, [evil], evil, evil), unlike=[evil])
    path = tmp_path / "comparison.html"
    path.write_text(comparison_text(comparison, [SIZE]), encoding="utf-8")
    with opened(path, width=360, color_scheme=scheme) as page:
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert page.evaluate("window.hit") is None
        assert page.locator("body").inner_text().count(evil) >= 4
        assert page.locator("h2").first.inner_text() == "Better in some, worse in others"
        assert Axe().run(page).response["violations"] == []
