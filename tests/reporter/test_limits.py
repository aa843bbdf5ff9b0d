"""What is possible and what belongs to whom, as the page and the CSV tables say it."""

import csv

from lensbench.findings import Figure, PrintBlur, TileSharpness, ZoneDifference
from lensbench.reporter.page.sections.sharpness import sharpness_section
from lensbench.reporter.tables.apertures import aperture_table
from lensbench.reporter.tables.csv_files import csv_files
from lensbench.reporter.tables.sharpness import BEYOND, finer_sharpness
from lensbench.reporter.words.answers import answers
from lensbench.reporter.words.limits import (
    achieved_in_short,
    caveat_in_words,
    caveats_in_words,
    level_curves_in_words,
    limits_in_words,
)
from lensbench.verdicts.aperture import judge_series
from lensbench.verdicts.limits import judge_limits
from tests.findings.alter import alter
from tests.reporter.invented import invented_report

SIZE = (1200, 800)
PITCH = 36000 / 1200


def weighed_report(f_numbers=(5.6,)):
    """The invented report with tiles, so that limits can be reckoned, and the limits."""
    report = invented_report(f_numbers, SIZE)
    for setting in report.settings:
        first = next(z.mtf50 for z in setting.sharpness.zones)
        for edge in setting.sharpness.edges:
            tile = TileSharpness(edge.column, edge.row, edge.channel, edge.x, edge.y, edge.h, first, first, True)
            setting.sharpness.tiles.append(tile)
        alter(
            setting.sharpness,
            astigmatism=[ZoneDifference("centre", "sagittal", "tangential", Figure.of(4.2, 0.3, "%"), "green")],
        )
        alter(setting.sharpness, colours=[ZoneDifference("centre", "red", "green", Figure.of(-6.1, 0.4, "%"))])
        alter(setting, limits=judge_limits(setting, SIZE, PITCH))
    return report


def test_the_sentence_names_share_aperture_and_scale():
    report = weighed_report()
    (setting,) = report.settings
    zone = next(z for z in setting.limits.zones if (z.zone, z.channel, z.direction) == ("centre", "green", "mean"))
    figure = next(
        z for z in setting.sharpness.zones if (z.zone, z.channel, z.direction) == ("centre", "green", "mean")
    )
    share = 100 * figure.mtf50.value / zone.best_possible_mtf50
    # The invented magnification is 0.4987 ± 0.0011.
    words = f"The centre achieves {share:.0f} % of the best possible at f/5.6 at 0.5×."
    assert achieved_in_short(setting, "centre") == words
    assert words in next(a.more for a in answers(report) if a.question == "How sharp?")
    (line,) = limits_in_words(report)
    # 5.6 × 1.4987.
    assert line.startswith("f/5.6 at 0.5× works as f/8.4 at the sensor. A flawless lens would have")


def test_what_is_missing_is_said_instead():
    report = weighed_report()
    (setting,) = report.settings
    alter(setting, f_number=None, aperture="third click")
    alter(setting, limits=judge_limits(setting, SIZE, PITCH))
    assert "the f-number (f_number under [[shot]]) must be known" in achieved_in_short(setting, "centre")
    assert limits_in_words(report) == [f"third click: {achieved_in_short(setting, 'centre')}"]
    alter(setting, limits=None)
    assert achieved_in_short(setting, "centre") == ""
    assert limits_in_words(report) == []


def test_what_spoils_figures_stands_beside_them():
    report = weighed_report()
    (setting,) = report.settings
    assert caveat_in_words(setting) == ""
    assert caveats_in_words(report) == []
    alter(setting.sharpness, caveats=["motion of about 1.6 px", "the print"])
    words = "Not the lens alone: these figures also show motion of about 1.6 px and the print."
    assert caveats_in_words(report) == [f"f/5.6: {words}"]
    assert words in next(a.more for a in answers(report) if a.question == "How sharp?")


def test_the_print_is_named():
    report = weighed_report()
    alter(report.settings[0].limits, print_blur=PrintBlur(Figure.of(0.31, 0.02, "px"), "raggedness"))
    assert (
        "The print itself is blurred by 0.31 px, standard deviation (measured on its edges)"
        in limits_in_words(report)[1]
    )


def test_finer_tables_hold_directions_colours_and_the_lens_alone():
    report = weighed_report()
    (setting,) = report.settings
    differences, alone = finer_sharpness(report)
    assert differences.rows == [["centre", "+4.2 ± 0.3", "−6.1 ± 0.4"]]
    limits = {z.zone: z for z in setting.limits.zones if z.channel == "green" and z.direction == "mean"}
    assert len(alone.rows) == len(limits) == 13
    row = next(row for row in alone.rows if row[0] == "centre")
    assert row[3] == f"{limits['centre'].best_possible_mtf50_lp_mm:.3g}"
    assert "±" in row[1]
    assert "±" in row[4]
    assert row[5] == "–"
    alter(limits["centre"], lost_to_print_percent=25.0)
    alter(limits["inner top-left"], lost_to_print_percent=1.0)
    marks = {row[0]: row[5] for row in finer_sharpness(report)[1].rows}
    # A quarter higher without the print: the print takes a fifth, and that is marked.
    assert marks["centre"] == "20 !"
    assert marks["inner top left"] == "1.0"
    alter(limits["centre"], lens_only_mtf50=None, lens_only_mtf50_lp_mm=None)
    row = next(row for row in finer_sharpness(report)[1].rows if row[0] == "centre")
    assert row[1] == f"{BEYOND} {row[2]}"


def test_rows_hold_whole_curves_and_limits():
    report = weighed_report()
    (setting,) = report.settings
    files = csv_files(report)

    def read(name):
        return list(csv.DictReader(files[f"{name}.csv"].decode().splitlines()))

    zone, limits = setting.sharpness.zones[0], setting.limits.zones[0]
    rows = [r for r in read("sharpness_curves") if (r["zone"], r["channel"]) == (zone.zone, zone.channel)]
    rows = [r for r in rows if r["direction"] == zone.direction]
    system, lens = ([r for r in rows if r["of"] == of] for of in ("system", "lens"))
    assert [float(r["mtf"]) for r in system] == zone.curve.mtf
    assert [float(r["frequency_cy_px"]) for r in lens] == limits.lens_only.frequency
    first = read("sharpness_limits")[0]
    assert float(first["best_possible_mtf50"]) == limits.best_possible_mtf50
    assert float(first["achieved_percent_low"]) == limits.achieved_percent.low
    assert read("sharpness_astigmatism")[0]["percent"] == "4.2"
    assert len(read("sharpness_tiles")) == len(setting.sharpness.tiles)


def test_a_curve_that_runs_nearly_level_is_said_beside_the_sharpness():
    report = weighed_report()
    (setting,) = report.settings
    assert level_curves_in_words(report) == []
    used = [edge for edge in setting.sharpness.edges if edge.used]
    alter(used[0], nearly_level=True)
    (line,) = level_curves_in_words(report)
    assert line.startswith(f"{setting.name}: At 1 of {len(used)} edges the contrast runs nearly level")
    assert line in sharpness_section(report).caveats


def test_apertures_stand_side_by_side_below_the_sharpness():
    """The invented report's series, as judged, leads the finer tables; with one aperture there is none."""
    report = invented_report((4.0, 8.0), SIZE)
    alter(report.verdict, series=judge_series(report.settings, SIZE, PITCH))
    first = sharpness_section(report).finer[0]
    assert [row[0] for row in first.rows] == ["f/4", "f/8"]
    assert aperture_table(weighed_report()) is None
