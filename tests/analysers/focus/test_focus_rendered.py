"""A whole rail series, rendered and measured, against the lens's own pupil: curved field, leaning lens."""

import numpy as np
import pytest

from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.scene import Scene
from tests.rail_shots import series_of
from tests.simulator.benches import grey_camera, small_layout

LENS = Lens(
    focal_mm=35,
    open_f_number=2.8,
    image_radius_mm=3.25,
    spherical_um=0.4,
    coma_um=0.4,
    astigmatism_um=0.5,
    curvature_um=-0.8,
    lean_deg=(0.3, -0.1),
    colours={"grey": Colour((0.55,))},
    cos_power=0.0,
)


@pytest.fixture(scope="module")
def series():
    camera = grey_camera((900, 600))
    layout = small_layout(camera, 0.5, 0.6)
    scene, steps = Scene(magnification=0.5), np.arange(-0.9, 1.26, 0.18)
    away = np.linspace(-0.36, 0.54, 6)
    return series_of(LENS, scene, 4.0, away, steps, camera, 7.0 - away, layout, every=2)


def test_the_rail_counts_towards_the_target(series):
    """Smaller readings stand farther from the target here, and the picture's size shows it."""
    assert series.focus.larger_is == "nearer"


@pytest.mark.parametrize(
    ("name", "tolerance"), [("best_mm", 0.01), ("mtf50_at_best", 0.005), ("mtf50_at_centre", 0.005)]
)
def test_every_tile_is_where_the_pupil_says(series, name, tolerance):
    value, half, truth = series.figures(name)
    assert len(value) >= 12
    assert np.abs(np.mean(value - truth)) < tolerance
    assert np.std(value - truth) < 2 * tolerance
    # Errors common to a series make its tiles no sample of independent ones: that widths are right, series in
    # closed form show.
    assert np.mean(np.abs(value - truth) <= half) >= 0.93


def test_the_lens_leans_by_what_it_was_built_with(series):
    """Where the lens focuses nearer behind it, by 0.3° to the right, what is sharp before it lies nearer too."""
    right, lower = series.focus.lean.sensor_deg
    assert right.low <= -0.3 <= right.high
    assert lower.low <= 0.1 <= lower.high
    assert right.half_width < 0.05


def test_the_field_is_curved_as_built(series):
    """A path error W r² is a defocus of 8 N_eff² W at the sensor (Welford; memory), 1 / m² of that at the target.

    W is -0.8 h² µm for rays around the radius, and 0.5 h² µm less than that along it, over the open iris.
    """
    last = series.focus.field[-1]
    stopped = (2.8 / 4.0) ** 2
    # The lens's field ends at 3.25 mm, the frame's half-diagonal is 3.245 mm.
    to_target = 8 * 6.0**2 * stopped / 0.5**2 / 1000
    sagittal, tangential = 0.8 * to_target * last.h**2, 0.3 * to_target * last.h**2
    assert last.sagittal_mm.value == pytest.approx(sagittal, rel=0.08)
    assert last.tangential_mm.value == pytest.approx(tangential, rel=0.15)
