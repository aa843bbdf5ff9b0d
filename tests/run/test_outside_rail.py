"""A series along a rail by the second renderer, from raw files to the answer, against the thin lens by hand."""

import numpy as np
import pytest

from lensbench.loaders import load_session
from lensbench.run import measure_session
from lensbench.simulator.camera import Camera
from lensbench.target.layout import write_layout
from tests.outside.rail import MAGNIFICATION, Bench, write_rail_session
from tests.simulator.benches import small_layout


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """The sheet's right side is 1° away, its lower side 0.5° nearer; the sensor leans by 2.5° to the right."""
    folder = tmp_path_factory.mktemp("outside-rail")
    bench = Bench(sheet_deg=(1.0, -0.5), sensor_deg=(2.5, 0.0))
    width, height = bench.size
    camera = Camera(bench.size, (width * bench.pixel_mm, height * bench.pixel_mm))
    write_layout(folder / "layout.json", small_layout(camera, MAGNIFICATION, 0.6))
    write_rail_session(folder / "rail", folder / "layout.json", bench, np.linspace(-4.0, 4.0, 5))
    return measure_session(load_session(folder / "rail"), workers=1)


def test_the_sheet_leans_as_it_was_set(report):
    """The rail's own steps give the image distance, 25 mm, and with it the keystone gives angles."""
    alignment = report.geometry.alignment
    assert report.geometry.view.image_distance_mm.low <= 25 <= report.geometry.view.image_distance_mm.high
    assert alignment.right_away_deg.low <= 1.0 <= alignment.right_away_deg.high
    assert alignment.bottom_away_deg.low <= -0.5 <= alignment.bottom_away_deg.high
    assert alignment.right_away_deg.low > 0 > alignment.bottom_away_deg.high


def test_the_lean_behind_the_lens_is_the_sensors_with_its_sign(report):
    """Where the sensor lies farther from the lens, nearer things are sharp on it: -2.5° to the right, 0 down."""
    right, lower = report.settings[0].focus.lean.sensor_deg
    assert right.low <= -2.5 <= right.high
    assert lower.low <= 0.0 <= lower.high
    assert right.half_width < 0.3


def test_the_answer_names_the_side(report):
    assembly = report.verdict.assembly
    assert assembly.answer == "not straight"
    (fault,) = assembly.faults
    assert (fault.what, fault.whose, fault.side) == ("lean", "lens or mount", "left")
    assert fault.angle_deg.low <= 2.5 <= fault.angle_deg.high
