"""The CSV tables, read back with the standard library."""

import csv

from lensbench.reporter.tables import write_tables
from tests.reporter.invented import invented_report


def read(path):
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_tables_hold_every_figure_in_full(tmp_path):
    report = invented_report((2.8, 5.6), (1200, 800))
    write_tables(report, tmp_path)
    zones = read(tmp_path / "sharpness_zones.csv")
    assert len(zones) == sum(len(s.sharpness.zones) for s in report.settings)
    first, known = zones[0], report.settings[0].sharpness.zones[0]
    assert first["aperture"] == "f/2.8" and first["zone"] == known.zone and first["direction"] == known.direction
    assert float(first["mtf50"]) == known.mtf50.value
    assert (float(first["mtf50_low"]), float(first["mtf50_high"])) == (known.mtf50.low, known.mtf50.high)
    assert float(first["mtf50_lp_mm"]) == known.mtf50_lp_mm.value
    tile, known = read(tmp_path / "fringing_tiles.csv")[-1], report.settings[-1].fringing.tiles[-1]
    assert float(tile["blue_radial_px"]) == known.blue.radial_px.value
    mark, known = read(tmp_path / "dirt_marks.csv")[1], report.settings[0].dust.marks[1]
    assert mark["kind"] == "fibre" and float(mark["length_px_high"]) == known.length_px.high


def test_a_figure_that_is_missing_leaves_its_cells_empty(tmp_path):
    report = invented_report((2.8,), (1200, 800))
    report.settings[0].fringing.tiles[0].red = None
    report.settings[0].sharpness.edges[0].mtf50 = None
    write_tables(report, tmp_path)
    tiles, edges = read(tmp_path / "fringing_tiles.csv"), read(tmp_path / "sharpness_edges.csv")
    assert tiles[0]["red_dx"] == "" and tiles[1]["red_dx"] != ""
    assert edges[0]["mtf50"] == "" and edges[1]["mtf50_low"] != ""


def test_what_was_not_measured_has_no_table(tmp_path):
    report = invented_report((2.8,), (1200, 800), clean=True)
    report.settings[0].falloff = None
    write_tables(report, tmp_path)
    assert not (tmp_path / "falloff_zones.csv").exists()
    assert not (tmp_path / "dirt_marks.csv").exists()
