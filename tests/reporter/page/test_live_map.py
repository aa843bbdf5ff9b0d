"""The living map: what is pointed at, tapped or reached by keys shows its figures, its curve and its picture."""

import json
import re

import pytest

from lensbench import frame
from lensbench.findings import Build, Camera, Dust, Report, Setting
from lensbench.formatting import with_interval
from lensbench.reporter.page import page_text
from lensbench.reporter.page.live import live_map
from lensbench.reporter.page.live._tiles import MOST_BYTES, pictures_within
from tests.findings.alter import alter
from tests.reporter.conftest import SIZE, invented_views
from tests.reporter.invented import invented_report, lone_direction

REPORT = invented_report((2.8, 5.6), SIZE)
START = 1
"""The page opens at f/5.6, which is sharper."""


def zone_figure(setting, zone, direction="mean", channel="green"):
    rows = REPORT.settings[setting].sharpness.zones
    return next(
        with_interval(r.mtf50_lp_mm, unit=False)
        for r in rows
        if (r.zone, r.direction, r.channel) == (zone, direction, channel)
    )


def panel(page):
    return re.sub(r"\s+", " ", page.locator(".panel").inner_text())


def test_a_zone_shows_its_figures_curve_and_picture(opened, invented_page):
    with opened(invented_page) as page:
        page.locator('[data-place="zone:outer top-right"]').hover()
        shown = panel(page)
        assert "Outer top right at f/5.6" in shown
        for direction in ("sagittal", "tangential", "mean"):
            assert zone_figure(START, "outer top-right", direction) in shown
        assert page.locator(".panel .curve .line").count() == 2
        assert "spatial frequency, lp/mm" in page.locator(".panel .curve").text_content()
        assert "contrast, %" in page.locator(".panel .curve").text_content()
        assert page.locator(".panel .crop image").get_attribute("href").startswith("data:image/jpeg;base64,")
        assert page.locator(".panel .crop .found").count() == 3


def test_keys_go_from_zone_to_zone(opened, invented_page):
    with opened(invented_page) as page:
        page.locator('[data-place="zone:centre"]').focus()
        page.keyboard.press("ArrowRight")
        there = page.evaluate("document.activeElement.dataset.place")
        assert re.fullmatch(r"zone:inner (top|bottom)-right", there)
        assert frame.ZONES.index(there[5:]) > 0
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.dataset.place").startswith("zone:")
        page.keyboard.press("Enter")
        held = page.evaluate("document.activeElement.dataset.place")
        assert page.locator(f'[data-place="{held}"]').get_attribute("aria-pressed") == "true"
        page.locator('[data-place="zone:centre"]').hover()
        assert "Centre at" not in panel(page)
        page.keyboard.press("Escape")
        assert page.locator(f'[data-place="{held}"]').get_attribute("aria-pressed") == "false"


def test_a_tapped_tile_says_why_an_edge_was_left_out(opened, invented_page):
    with opened(invented_page, width=360, has_touch=True) as page:
        page.select_option("[data-choice=unit]", "tiles")
        page.locator('[data-place="tile:3,4"]').tap()
        shown = panel(page)
        assert "Tile, column 3, row 4 at f/5.6" in shown
        assert "tangential, green: left out: softer than the edges around it (by 41 %)" in shown
        assert page.locator(".panel .found.out").count() == 1


@pytest.mark.parametrize(
    ("choice", "value", "zone", "figure"),
    [
        ("setting", "0", "corner top-left", lambda: zone_figure(0, "corner top-left")),
        ("channel", "red", "centre", lambda: zone_figure(START, "centre", channel="red")),
        ("direction", "sagittal", "centre", lambda: zone_figure(START, "centre", "sagittal")),
        (
            "quantity",
            "falloff",
            "corner bottom-left",
            lambda: with_interval(
                next(z.stops for z in REPORT.settings[START].falloff.zones if z.zone == "corner bottom-left")
            ),
        ),
    ],
)
def test_every_choice_changes_the_map(opened, invented_page, choice, value, zone, figure):
    with opened(invented_page) as page:
        place = page.locator(f'[data-place="zone:{zone}"]')
        before = place.get_attribute("aria-label")
        page.select_option(f"[data-choice={choice}]", value)
        after = place.get_attribute("aria-label")
        assert before != after
        assert figure() in after


def test_it_opens_at_the_aperture_that_the_page_names_first():
    assert REPORT.verdict.aperture[0].ranked[0].settings[0] == live_map(REPORT)["start"] == START


def test_a_zone_measured_in_one_direction_shows_that_one(opened, tmp_path):
    report = invented_report((5.6,), SIZE)
    lone_direction(report.settings[0], "corner top-left", "tangential")
    path = tmp_path / "lone.html"
    path.write_text(page_text(report), encoding="utf-8")
    with opened(path) as page:
        place = page.locator('[data-place="zone:corner top-left"]')
        assert "corner top left: tangential alone " in place.get_attribute("aria-label")
        assert place.locator("path").get_attribute("fill") is None
        assert page.locator(".livemap .leg.inner").count() == 2 * len(frame.ZONES) - 1


def test_fringing_is_signed_and_of_one_colour(opened, invented_page):
    with opened(invented_page) as page:
        page.select_option("[data-choice=quantity]", "fringing")
        page.select_option("[data-choice=channel]", "blue")
        page.select_option("[data-choice=direction]", "outward")
        rows = REPORT.settings[START].fringing.zones
        figure = next(r.radial_px for r in rows if (r.zone, r.channel) == ("corner top-left", "blue"))
        assert with_interval(figure) in page.locator('[data-place="zone:corner top-left"]').get_attribute(
            "aria-label"
        )


def test_yellow_is_the_better_end_whatever_is_shown(opened, invented_page):
    def fill(page, zone):
        colour = page.locator(f'[data-place="zone:{zone}"] path').get_attribute("fill")
        return int(colour[1:3], 16) - int(colour[5:7], 16)

    with opened(invented_page) as page:
        assert fill(page, "centre") > fill(page, "corner bottom-left")
        page.select_option("[data-choice=quantity]", "falloff")
        assert fill(page, "centre") > fill(page, "corner bottom-left")


def test_a_session_of_flats_alone_has_its_own_map(opened, tmp_path):
    report = invented_report((2.8,), SIZE)
    alter(report.settings[0], sharpness=None, fringing=None)
    alter(report, verdict=None)
    path = tmp_path / "flats.html"
    path.write_text(page_text(report), encoding="utf-8")
    with opened(path) as page:
        assert page.locator("[data-choice=quantity]").input_value() == "falloff"
        assert page.locator("[data-choice=unit]").is_hidden()
        assert page.locator(".livemap .ring").count() == len(report.settings[0].dust.marks)
        page.locator('[data-place="zone:centre"]').hover()
        assert "Falloff, stops" in panel(page)


def test_without_figures_by_zone_there_is_no_map(opened, tmp_path):
    report = Report(
        Build("bare"), Camera(SIZE), settings=[Setting(aperture="open", shots=["a.dng"], dust=Dust([]))]
    )
    path = tmp_path / "bare.html"
    path.write_text(page_text(report), encoding="utf-8")
    assert live_map(report) == {}
    with opened(path) as page:
        assert page.locator("#live").is_hidden()
        assert page.locator("script").count() == 0


def test_the_data_hold_every_zone_and_tile_and_nothing_that_json_lacks():
    data = json.loads(json.dumps(live_map(REPORT, invented_views(REPORT)), allow_nan=False))
    assert [zone["id"] for zone in data["zones"]] == list(frame.ZONES)
    tiles = {(e.column, e.row) for e in REPORT.settings[0].sharpness.edges}
    assert {tuple(map(int, tile["id"].split(","))) for tile in data["settings"][0]["tiles"]} == tiles
    assert all("picture" in tile for setting in data["settings"] for tile in setting["tiles"])


def test_pictures_are_thinned_out_to_what_a_page_may_weigh():
    views = invented_views(REPORT)
    most = sum(len(view.picture) for view in views) // 5
    kept = pictures_within(REPORT, views, most)
    assert 0 < sum(len(view.picture) for view in kept.values()) <= most
    for setting in REPORT.settings:
        zones = {tile["zone"] for tile in live_map(REPORT, list(kept.values()))["settings"][0]["tiles"]}
        assert zones == set(frame.ZONES), setting.name
    assert MOST_BYTES * 4 / 3 < 6.5e6
