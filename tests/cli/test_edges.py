"""`lensbench edges`: codes, JSON, the picture, and files that must not be touched."""

import json

import imageio.v3 as iio
import numpy as np
import pytest
import skimage.data

from lensbench.analysers.free_edges import EdgeColour, FreeEdge, FreeEdges
from lensbench.dng import write_dng
from lensbench.figure import Figure
from lensbench.findings.reasons import Reason
from lensbench.frame import ZONES
from lensbench.reporter.tables.free_edges import in_summary, not_measured
from tests import known_edges
from tests.cli.command import run
from tests.drawn_blades import Blade, blades_shot, mtf50_of


@pytest.fixture(scope="module")
def blade_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("blades") / "blade.dng"
    write_dng(path, blades_shot([Blade((310.0, 230.0), 7.0, (260.0, 200.0))], (640, 480), blur=1.3))
    return path


def test_figures_as_a_table_and_as_json(capsys, blade_file):
    ran = run(capsys, "edges", blade_file, "--pixel-um", "5")
    assert ran.code == 0
    assert all(word in ran.out for word in ("green", "lp/mm", "oblique"))
    assert max(map(len, ran.out.splitlines())) <= 80
    plain = json.loads(run(capsys, "edges", blade_file, "--sensor", "3.2x2.4", "--json").out)
    # 640 × 480 pixels on 3.2 × 2.4 mm are 5 µm each.
    assert plain["pixel_pitch_um"] == pytest.approx(5.0)
    green = [c for edge in plain["edges"] for c in edge["colours"] if c["channel"] == "green"]
    assert len(green) >= 4
    for colour in green:
        assert colour["mtf50"]["value"] == pytest.approx(mtf50_of(1.3), rel=0.03)
        assert colour["mtf50_lp_mm"]["unit"] == "lp/mm"


def test_the_picture_is_written_only_when_asked_and_over_nothing(capsys, blade_file, tmp_path):
    before = sorted(blade_file.parent.iterdir())
    assert run(capsys, "edges", blade_file).code == 0
    assert sorted(blade_file.parent.iterdir()) == before
    picture = tmp_path / "flags.png"
    assert run(capsys, "edges", blade_file, "--out", picture).code == 0
    assert iio.imread(picture).shape[0] > 500
    assert run(capsys, "edges", blade_file, "--out", picture).code == 0, "the same picture is there already"
    picture.write_bytes(b"a shot, for all we know")
    ran = run(capsys, "edges", blade_file, "--out", picture)
    assert ran.code == 2
    assert "exists already" in ran.err
    assert picture.read_bytes() == b"a shot, for all we know"
    ran = run(capsys, "edges", blade_file, "--out", tmp_path / "flags.tif")
    assert ran.code == 2
    assert ".png" in ran.err


def test_nothing_to_measure_is_code_2_with_reasons(capsys, tmp_path):
    path = tmp_path / "camera.png"
    iio.imwrite(path, skimage.data.camera())
    ran = run(capsys, "edges", path)
    assert ran.code == 2
    assert "no clean straight edge" in ran.err
    assert "left out" in ran.err
    dark = tmp_path / "dark.png"
    iio.imwrite(dark, np.zeros((300, 400), np.uint8))
    ran = run(capsys, "edges", dark)
    assert ran.code == 2
    assert "Put a blade before an even light" in ran.err
    ran = run(capsys, "edges", path, "--json")
    assert ran.code == 2
    assert json.loads(ran.out)["edges"] == []


def test_a_sensor_of_another_shape_is_named(capsys, blade_file):
    ran = run(capsys, "edges", blade_file, "--sensor", "36x20")
    assert ran.code == 2
    assert "doesn't fit a picture of 640 × 480 pixels" in ran.err


def test_help_cautions_of_blades(capsys):
    said = run(capsys, "edges", "--help").out
    assert "blades cut" in said
    assert "Local rules" in said


def test_many_edges_are_summed_up(capsys, blade_file):
    said = run(capsys, "edges", blade_file).err
    assert "set-square target" not in said
    assert "edges in green: the sharpest is no. " in said
    assert "Medians by zone: " in said
    # The blade ends inside h = 0.85 on all sides.
    assert "Without an edge: " in said


def test_a_target_is_named_with_the_command_that_reads_it(capsys, tmp_path):
    sheet = known_edges.tile_sheet(known_edges.gaussian(1.2), 6, 4, pitch=170, leg=95)
    path = tmp_path / "target.dng"
    write_dng(path, known_edges.expose(sheet.light))
    assert "lensbench measure" in run(capsys, "edges", path).err


def test_the_summary_is_of_one_colour_and_names_every_zone_that_has_edges():
    """Written by hand: the corner's edge counts, and an edge that lacks green doesn't."""
    result = FreeEdges("a.dng", (600, 400), None, [*map(drawn_edge, ZONES), drawn_edge("centre", "red")], [])
    (said,) = in_summary(result)
    assert said.startswith("13 edges in green")
    assert all(zone.replace("-", " ") in said for zone in ZONES)
    assert "Without" not in said
    some = [drawn_edge(zone) for zone in ("centre", "inner top-left", "inner top-right", "inner bottom-left")]
    (said,) = in_summary(FreeEdges("a.dng", (600, 400), None, some, []))
    assert said.endswith("Without an edge: inner bottom right, outer and corner.")
    assert not_measured(result) == ["Not measured (clipped): green of no. 1."]


def drawn_edge(zone, measured="green"):
    names = ("red", "green") if measured == "green" else ("red",)
    colours = [colour_of(name) for name in names]
    if measured != "green":
        colours.append(EdgeColour("green", *[None] * 6, Reason.CLIPPED))
    return FreeEdge(1, 10.0, 20.0, 0.1, zone, "oblique", 7.0, 97.0, 150.0, colours)


def colour_of(name):
    figure = Figure.of(0.2, 0.001, "cy/px")
    return EdgeColour(name, figure, None, Figure.of(2.0, 0.1, "px"), None, None, None)
