"""The page's parts on focus and on repeated setups: what they say, and that signs come out in the right words."""

import csv

import pytest

from lensbench.analysers.focus import measure_focus
from lensbench.findings import Figure, Report, Setting
from lensbench.reporter.page import page_text
from lensbench.reporter.page.sections.focus import focus_section
from lensbench.reporter.page.sections.trust import trust_section
from lensbench.reporter.tables.csv_files import csv_files
from lensbench.reporter.words.answer_lines import answer_lines
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.focus import focus_in_words
from lensbench.verdicts.repeats import judge_repeats
from tests.analysers.focus.invented_focus import SHEET, SIZE, STRAIGHT, Surface, series
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


def with_focus(surface, lean=STRAIGHT):
    """An invented report of one setting, with a series along the rail."""
    report = invented_report((2.8,), SIZE)
    (setting,) = report.settings
    alter(report.geometry, scale_px_mm=Figure.of(50.0, 0.01, "px/mm"))
    alter(setting, geometry=report.geometry)
    alter(setting, focus=measure_focus(series(surface), SIZE, 6.0, SHEET._replace(lean_deg=lean)))
    return report


def words(surface, lean=STRAIGHT):
    report = with_focus(surface, lean)
    return " ".join(focus_in_words(report, report.settings[0]))


@pytest.fixture(scope="module")
def curved():
    colours = (("green", 0.0), ("red", 0.3), ("blue", -0.05))
    return with_focus(Surface(0.02, bow=(-0.4, -0.5), colours=colours))


@pytest.fixture(scope="module")
def repeated():
    """Three setups of one aperture whose centre differs."""
    report = invented_report((2.8, 2.8, 2.8), SIZE)
    for number, setting in enumerate(report.settings, start=1):
        alter(setting, setup=number)
        for zone in setting.sharpness.zones:
            half = zone.mtf50_lp_mm.half_width
            alter(zone, mtf50_lp_mm=Figure.of(zone.mtf50_lp_mm.value + number, half, "lp/mm"))
    alter(report, repeats=judge_repeats(report.settings))
    return report


def test_a_curved_field_is_told_and_drawn(curved):
    (part,) = focus_section(curved)
    said = " ".join(part.words)
    assert "The centre is sharpest with the rail at 0.00" in said
    assert "its rim curves in, towards the lens" in said
    assert "that loss is focus, not the glass" in said
    assert "red 0.3" in said
    assert "mm farther and blue 0.04" in said
    assert "more than the depth of field" in said
    assert len(part.drawings) == 3
    assert [panel.title for panel in part.maps] == [
        "Each zone at its own best focus",
        "With the centre in best focus",
    ]
    assert [table.rows[0][0] for table in part.tables] == ["centre", "centre"]
    answer = next(answer for answer in answers(curved) if answer.question == "Is the field flat?")
    assert answer.short.startswith("Curved by 0.3")
    assert "nearer than the centre" in answer.more


def test_a_flat_field_is_called_flat():
    assert "The field is flat within the depth of field" in words(Surface())


def test_a_lean_is_told_by_its_sides():
    """Best focus farther at the right, nearer at the bottom, the target standing straight."""
    said = words(Surface(lean=(0.3, -0.15)))
    assert "at the right edge it lies 0.49" in said
    assert "farther than at the left and at the top edge it lies 0.1" in said
    assert "farther than at the bottom." in said
    assert "lens and sensor lean to each other" in said


def test_a_lean_of_the_target_is_its_own():
    sheet = (Figure.of(-0.4767, 0.02, "°"), Figure.of(0.0, 0.02, "°"))
    assert "no more than the target's own lean" in words(Surface(lean=(0.3, 0.0)), sheet)


def test_the_page_shows_both_parts(curved, repeated):
    """On reports bared of all else, since drawing takes its time."""
    bare = Report(curved.build, curved.camera, settings=[Setting(2.8, focus=curved.settings[0].focus)])
    text = page_text(bare)
    assert 'id="focus"' in text
    assert "seen from above" in text
    assert "was set up" not in text
    alter(bare, settings=[Setting(2.8, setup=1), Setting(2.8, setup=2)], repeats=repeated.repeats)
    text = page_text(bare)
    assert 'id="focus"' not in text
    assert "was set up 3 times" in text


def test_repeats_are_told(repeated):
    (part,) = trust_section(repeated).repeats
    # 30, 31, 32 and the like: a standard deviation of 1, t(0.975) = 4.303 with two degrees of freedom.
    assert "changes by 1.0" in part.words
    assert "The smallest difference that counts is 3.5 lp/mm" in part.words
    assert "3 setups tell little about their spread" in part.words
    centre = part.tables[0].rows[0]
    assert centre[0] == "centre"
    assert centre[2] == "1.0 (0.5 to 6)"
    line = dict(answer_lines(repeated))["Better or worse"]
    assert line == "3.5 lp/mm counts as a difference in the centre (setups ± 1.0)"
    answer = next(answer for answer in answers(repeated) if answer.question == "How repeatable?")
    assert "3 setups at f/2.8" in answer.more


def test_tables_for_a_spreadsheet(curved, repeated):
    files = csv_files(curved)
    rows = list(csv.DictReader(files["focus_zones.csv"].decode().splitlines()))
    centre = next(row for row in rows if row["zone"] == "centre" and row["channel"] == "green")
    assert float(centre["best_mm_low"]) < float(centre["best_mm"]) < float(centre["best_mm_high"])
    assert "focus_tiles.csv" in files
    row = next(csv.DictReader(csv_files(repeated)["repeats.csv"].decode().splitlines()))
    assert (row["what"], row["zone"], row["setups"]) == ("sharpness", "centre", "3")
    assert float(row["spread"]) == pytest.approx(1.0)
