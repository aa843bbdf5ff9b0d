"""Sessions written to disk: read back by the loaders, with the truth beside them."""

import dataclasses
import json

import numpy as np
import pytest
import tifffile

from lensbench.demo import demo_bench, demo_takes
from lensbench.frame import ZONES, h_of, zone_index
from lensbench.loaders.session import load_session
from lensbench.loaders.shot_file import read_shot
from lensbench.simulator.camera import Camera
from lensbench.simulator.flat_shot import FlatTruth
from lensbench.simulator.lens import Dirt, Lens
from lensbench.simulator.panel import Panel
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.session import Bench, Take, session_text, write_session
from lensbench.simulator.zones import falloff_by_zone
from tests.simulator.benches import small_layout

CAMERA = Camera((480, 320), (28.8, 19.2), dirt=(Dirt("spot", 5.0, 2.0, 0.6, 0.5, 1.0),))
BENCH = Bench("Pebble 40", ("front", "rear"), "", Lens(focal_mm=40.0), CAMERA, small_layout(CAMERA), 1200)
TARGET = Scene(magnification=0.1, print=Print(scale=(1.002, 0.999)))
TAKES = [
    Take("t1.dng", "target", 5.6, TARGET, seed=1),
    Take("t2.dng", "target", 5.6, dataclasses.replace(TARGET, rail_mm=2.0, lens_turn_deg=90.0), setup=2, seed=2),
    Take("w1.dng", "flat", 5.6, Scene(), Panel(), seed=3),
    Take("w2.dng", "flat", 5.6, Scene(), Panel(shift=(0.3, 0.0)), panel_number=2, seed=4),
]


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    folder = tmp_path_factory.mktemp("evening")
    told = []
    truths = write_session(folder, BENCH, TAKES, progress=told.append)
    assert told == [take.file for take in TAKES]
    return folder, truths


def test_the_loader_reads_the_session(written):
    session = load_session(written[0])
    assert session.build.name == "Pebble 40"
    assert session.camera.sensor_mm == pytest.approx((28.8, 19.2))
    assert [shot.shows for shot in session.shots] == ["target", "target", "flat", "flat"]
    assert [shot.f_number for shot in session.shots] == [5.6] * 4
    assert (session.shots[0].rail_mm, session.shots[1].rail_mm) == (0.0, 2.0)
    assert (session.shots[1].lens_turn_deg, session.shots[1].setup, session.shots[3].panel) == (90.0, 2, 2)
    across, up = BENCH.layout.rulers_mm
    assert session.target.rulers_measured_mm == pytest.approx((1.002 * across, 0.999 * up), abs=0.05)


def test_libraw_and_tifffile_agree_on_the_mosaic(written):
    folder, _ = written
    shot = read_shot(folder / "t1.dng")
    assert (shot.samples == tifffile.imread(folder / "t1.dng")).all()
    assert shot.size == (480, 320)
    assert shot.exposure.shutter_s == pytest.approx(0.25)


def test_the_truth_lies_beside(written):
    folder, truths = written
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert [shot["file"] for shot in truth["shots"]] == [take.file for take in TAKES]
    first = truth["shots"][0]["truth"]
    assert first["edges"]["mtf50"]["green"] == pytest.approx(truths["t1.dng"].edges.mtf50["green"], abs=1e-6)
    assert truth["lens"]["focal_mm"] == 40.0
    mark = truth["shots"][2]["truth"]["marks"][0]
    assert (mark["kind"], mark["depth_percent"]) == (
        "spot",
        pytest.approx(truths["w1.dng"].marks[0].depth_percent),
    )
    assert "NaN" not in (folder / "truth.json").read_text(encoding="utf-8")


def test_zones_of_the_truth(written):
    _, truths = written
    falloff = falloff_by_zone(truths["w1.dng"], "green", CAMERA.size)
    assert list(falloff) == list(ZONES)
    assert falloff["corner top-left"] > falloff["inner top-left"] > abs(falloff["centre"])


def test_falloff_of_a_zone_is_by_the_mean_light_over_its_pixels():
    """Stops growing with h², known at the truth's coarse grid, against every pixel of the zone."""
    size = (1080, 720)
    x, y = np.linspace(0, 1079, 97), np.linspace(0, 719, 65)
    stops = 1.5 * np.square(h_of(x[None, :], y[:, None], size))
    falloff = falloff_by_zone(FlatTruth(x, y, {"green": stops}, (539.5, 359.5), [], 8.0), "green", size)
    rows, columns = np.mgrid[0:720, 0:1080]
    zone, h = zone_index(columns, rows, size), h_of(columns, rows, size)
    for number, name in enumerate(ZONES):
        assert falloff[name] == pytest.approx(-np.log2(np.mean(2.0 ** (-1.5 * h[zone == number] ** 2))), abs=1e-4)


def test_a_session_without_a_rail_names_none():
    assert "rail_mm" not in session_text(BENCH, TAKES[:1])


def test_the_demo_asks_for_twelve_megapixels_and_two_apertures():
    bench, takes = demo_bench(), demo_takes()
    width, height = bench.camera.size
    assert width * height >= 12e6
    assert {(take.shows, take.f_number) for take in takes} == {
        ("target", 4.0), ("target", 8.0), ("flat", 4.0), ("flat", 8.0)
    }  # fmt: skip
    assert len({take.seed for take in takes}) == 4
