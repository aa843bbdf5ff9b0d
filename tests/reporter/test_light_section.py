"""What the page and the tables say of coverage, the panel, spots, colour and glare."""

import pytest

from lensbench.findings import (
    Coverage,
    CutCorner,
    FalloffContour,
    FalloffStep,
    Figure,
    Glare,
    HotSpot,
    ImageCircle,
    LightGradient,
    LightPanel,
    PanelPosition,
    Position,
    TileGlare,
    UsableLight,
    ZoneCast,
    ZoneFalloff,
    ZoneGlare,
)
from lensbench.reporter.page import page_text
from lensbench.reporter.page.sections.light import glare_section, light_section
from lensbench.reporter.tables.csv_files import report_tables
from lensbench.reporter.tables.light import falloff_tables, glare_tables
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.light import glare_in_words, light_in_words
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1200, 800)


def px(value, half=2.0):
    return Figure.of(value, half, "px")


def percent(value, half=0.1):
    return Figure.of(value, half, "%")


def stops(value, half=0.004):
    return Figure.of(value, half, "stops")


@pytest.fixture
def report():
    made = invented_report((4.0, 11.0), SIZE)
    for setting in made.settings:
        falloff = setting.falloff
        alter(
            falloff,
            profile=[FalloffStep(h, stops(2 * h**2), 2.2 * h**2, 1.9 * h**2, stops(h**2)) for h in (0, 0.5, 1)],
        )
        alter(falloff, worst_corner=ZoneFalloff("corner top-right", stops(1.9)))
        alter(falloff, gradient=LightGradient(stops(0.1), stops(0.0), stops(0.1), "right"))
        alter(falloff, cast=[ZoneCast("corner top-left", percent(3.2), percent(-5.1))])
        alter(
            falloff, panel=LightPanel([PanelPosition(1, 0.0, None)], True, stops(0.21, 0.01), 0.004, ["A note."])
        )
        usable = [UsableLight(1.0, px(600), Figure.of(18.0, 0.1, "mm")), UsableLight(2.0, None, None)]
        cut = [CutCorner("corner top-left", percent(12, 2)), CutCorner("corner bottom-right", percent(40, 2))]
        edge = ImageCircle(cut, px(40), Position(px(600), px(400)), px(650), Figure.of(19.5, 0.1, "mm"))
        alter(falloff, coverage=Coverage(usable, edge))
        tiles = [TileGlare(7, 5, 600.0, 400.0, 0.0, percent(5.4), False, "t.dng")]
        zones = [
            ZoneGlare("centre", percent(5.4), percent(1.5), 1),
            ZoneGlare("corner top-left", percent(7), percent(3.1), 1),
        ]
        alter(setting, glare=Glare("green", zones, tiles, percent(4.0), "light trap", 0.13))
    alter(made.settings[0].falloff, covers_frame=False)
    alter(
        made.settings[1].falloff, hot_spot=HotSpot(percent(8.1), px(90), Position(px(600), px(400)), "It grows.")
    )
    return made


def test_the_words_name_what_was_found_and_where(report):
    words = light_in_words(report)
    assert "f/4: The image circle does not cover the frame." in words
    assert any("cuts the top left and bottom right corners" in line for line in words)
    assert any(line.startswith("f/11: There is a hot spot") and line.endswith("It grows.") for line in words)
    # What holds for all apertures is said once, without their names.
    assert words.count("A note.") == 1
    assert not any("two apertures" in line for line in words)


def test_one_aperture_says_that_it_cannot_tell_reflections(report):
    alter(report, settings=report.settings[:1])
    assert any("flats at two apertures" in line for line in light_in_words(report))


def test_the_shape_is_one_table_of_all_apertures(report):
    shape = next(table for table in falloff_tables(report) if table.caption == "The shape of the light")
    rows = {row[0]: row[1:] for row in shape.rows}
    assert rows["darkest corner"] == ["top right, 1.900 ± 0.004 stops"] * 2
    assert rows["1 stop at a radius of"] == ["18.00 ± 0.10 mm"] * 2
    assert rows["2 stops at a radius of"] == ["nowhere in the frame"] * 2
    assert rows["corners cut off"] == ["top left 12 %; bottom right 40 %"] * 2
    assert rows["hot spot in the middle"] == ["–", "8.10 ± 0.10 %, left out"]
    distance = next(table for table in falloff_tables(report) if "by distance" in table.caption)
    assert distance.head[-1] == "cos⁴ law"
    assert distance.rows[-1] == [
        "1.0",
        "2.000 ± 0.004",
        "2.000 ± 0.004",
        "1.000 ± 0.004",
    ]


def test_black_corners_are_named_and_cut_ones_have_their_share_beside_them(report):
    by_zone = falloff_tables(report)[0]
    cells = {row[0]: row[1] for row in by_zone.rows}
    assert cells["corner top left"].endswith(" (12 % cut off)")
    assert "cut" not in cells["corner top right"]
    falloff = report.settings[0].falloff
    alter(falloff, zones=[zone for zone in falloff.zones if not zone.zone.startswith("corner top")])
    alter(falloff, worst_corner=None)
    dark = next(answer for answer in answers(report) if "Dark" in answer.question)
    assert dark.short == "Black"
    assert dark.more.startswith("in the top left and top right corners at f/4: more than 8")
    assert ["darkest corner", "black, more than 8 stops", "top right, 1.900 ± 0.004 stops"] in falloff_tables(
        report
    )[1].rows


def test_what_only_the_outermost_parts_reach_is_told_by_their_share(report):
    alter(report.settings[0].falloff, contours=[FalloffContour(2.0, percent(0.6), [])])
    rows = {row[0]: row[1:] for row in falloff_tables(report)[1].rows}
    assert rows["2 stops at a radius of"] == [
        "not all around: 0.6 % of the frame is darker",
        "nowhere in the frame",
    ]


def test_glare_is_given_with_its_ink_and_its_doubt(report):
    words = " ".join(glare_in_words(report))
    assert "between 1.50 ± 0.10 % and 3.10 ± 0.10 %" in words
    assert "4.00 ± 0.10 % of what the paper does (measured against the light traps)" in words
    assert "0.13 percentage points" in words
    assert glare_tables(report)[0].head == ["zone", "in the dark", "glare", "in the dark", "glare"]
    for setting in report.settings:
        alter(setting.glare, ink_percent=None, notes=["Cut out a few tiles."])
    assert glare_in_words(report) == ["Cut out a few tiles."]
    assert glare_tables(report)[0].head == ["zone", "in the dark", "in the dark"]


def test_page_and_csv_tables_hold_it_all(report):
    assert len(light_section(report).profiles) == len(glare_section(report).maps) == 2
    text = page_text(report)
    assert "Haze and veiling glare" in text
    assert "The shape of the light" in text
    assert "Colour cast" in text
    tables = report_tables(report)
    assert {row["what"] for row in tables["falloff_shape"]} >= {"image circle, radius", "hot spot, strength"}
    assert tables["falloff_profile"][0]["cos4_stops"] == 0.0
    assert tables["light_cast"][0]["red_percent"] == 3.2
    assert tables["glare_zones"][0]["glare_percent_low"] == pytest.approx(1.4)
    assert tables["light_reach"][0]["radius_mm"] == 18.0
    assert tables["light_reach"][1].get("radius_px") is None


def test_a_report_without_these_findings_still_has_a_page():
    bare = invented_report((4.0,), SIZE)
    assert glare_section(bare) is None
    assert light_section(bare).profiles == []
    assert "Haze and veiling glare" not in page_text(bare)
