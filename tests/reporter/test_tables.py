"""The CSV tables, read back with the standard library."""

import csv
import io

from msgspec.structs import replace

from lensbench.reporter.tables.csv_files import csv_files
from tests.findings.alter import alter
from tests.reporter.invented import invented_report


def read(content):
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def test_tables_hold_every_figure_in_full():
    report = invented_report((2.8, 5.6), (1200, 800))
    files = csv_files(report)
    zones = read(files["sharpness_zones.csv"])
    assert len(zones) == sum(len(s.sharpness.zones) for s in report.settings)
    first, known = zones[0], report.settings[0].sharpness.zones[0]
    assert first["aperture"] == "f/2.8"
    assert first["zone"] == known.zone
    assert first["direction"] == known.direction
    assert float(first["mtf50"]) == known.mtf50.value
    assert (float(first["mtf50_low"]), float(first["mtf50_high"])) == (known.mtf50.low, known.mtf50.high)
    assert float(first["mtf50_lp_mm"]) == known.mtf50_lp_mm.value
    tile, known = read(files["fringing_tiles.csv"])[-1], report.settings[-1].fringing.tiles[-1]
    assert float(tile["blue_radial_px"]) == known.blue.radial_px.value
    mark, known = read(files["dirt_marks.csv"])[1], report.settings[0].dust.marks[1]
    assert mark["kind"] == "fibre"
    assert float(mark["length_px_high"]) == known.length_px.high


def test_a_figure_that_is_missing_leaves_its_cells_empty():
    report = invented_report((2.8,), (1200, 800))
    alter(report.settings[0].fringing.tiles[0], red=None)
    alter(report.settings[0].sharpness.edges[0], mtf50=None)
    files = csv_files(report)
    tiles, edges = read(files["fringing_tiles.csv"]), read(files["sharpness_edges.csv"])
    assert tiles[0]["red_dx"] == ""
    assert tiles[1]["red_dx"] != ""
    assert edges[0]["mtf50"] == ""
    assert edges[1]["mtf50_low"] != ""


def test_what_was_not_measured_has_no_table():
    report = invented_report((2.8,), (1200, 800), clean=True)
    alter(report.settings[0], falloff=None)
    files = csv_files(report)
    assert "falloff_zones.csv" not in files
    assert "dirt_marks.csv" not in files


def test_words_that_a_spreadsheet_would_run_are_only_words():
    """A cell that begins with one of = + - @ is a formula there (common practice); numbers stay numbers."""
    report = invented_report((2.8,), (1200, 800))
    tile = report.settings[0].fringing.tiles[0]
    for name in ("=1+1", "+1", "-1", "@sum", "  =cmd", "\t=1"):
        setting = replace(report.settings[0], f_number=None, aperture=name)
        first = read(csv_files(replace(report, settings=[setting]))["fringing_tiles.csv"])[0]
        assert first["aperture"] == f"'{name}"
        assert float(first["red_dx"]) == tile.red.dx.value
        assert min(float(first["red_dx"]), float(first["blue_dx"])) < 0
