"""The truth along a rail against the thin lens, and series and setups as the session file tells them."""

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from lensbench.simulator.scene import Scene
from lensbench.simulator.session import Bench, session_text
from tests.focus_truth import focus_truth
from tests.rail_series import rail_series, remounted
from tests.simulator.benches import even_lens, grey_camera, small_layout


@pytest.mark.parametrize("beyond", [0.05, -0.05])
def test_best_focus_is_at_the_conjugate(beyond):
    """A sensor at s' = f (1 + m) + δ sees a target at s = 1 / (1/f - 1/s') sharpest (Smith; memory)."""
    focal, magnification = 50.0, 0.5
    lens = even_lens(focal_mm=focal, open_f_number=4.0)
    scene = Scene(magnification=magnification, defocus_mm=beyond)
    sensor = focal * (1 + magnification) + beyond
    expected = 1 / (1 / focal - 1 / sensor) - focal * (1 + 1 / magnification)
    steps = expected + np.linspace(-0.4, 0.4, 9)
    best, _ = focus_truth(lens, grey_camera(), scene, 4.0, [(0.0, 0.0)], steps, "grey").best()
    assert best[0] == pytest.approx(expected, abs=0.002)
    # Beyond the focus: the target must come nearer, by about δ / m².
    assert np.sign(expected) == -np.sign(beyond)


def test_a_peak_at_the_end_is_none():
    steps = np.linspace(0.2, 0.8, 5)
    lens = even_lens(open_f_number=4.0)
    best, peak = focus_truth(
        lens, grey_camera(), Scene(magnification=0.5), 4.0, [(0.0, 0.0)], steps, "grey"
    ).best()
    assert np.isnan(best).all()
    assert np.isnan(peak).all()


def test_a_series_in_the_session_file():
    """The scale's readings are written down, not where the sheet truly stood."""
    scene = Scene(magnification=0.5, defocus_mm=0.01)
    takes = rail_series("r", 4.0, scene, [-0.1, 0.0, 0.1], [20.1, 20.0, 19.9], setup=2, seed=5)
    assert [take.scene for take in takes] == [replace(scene, rail_mm=place) for place in (-0.1, 0.0, 0.1)]
    camera = grey_camera()
    bench = Bench("Any", (), "", even_lens(), camera, small_layout(camera))
    shots = tomllib.loads(session_text(bench, takes))["shot"]
    assert [shot["rail_mm"] for shot in shots] == [20.1, 20.0, 19.9]
    assert [shot["file"] for shot in shots] == ["r_00.dng", "r_01.dng", "r_02.dng"]
    assert {shot["setup"] for shot in shots} == {2}
    # Without readings of its own the rail counts away from the lens.
    shots = tomllib.loads(session_text(bench, rail_series("r", 4.0, scene, [0.0, 0.3])))["shot"]
    assert [shot["rail_mm"] for shot in shots] == [0.0, 0.3]


def test_setups_differ_by_as_much_as_asked():
    takes = remounted("m", 4.0, Scene(tilt_deg=(1.0, 0.0)), 200, defocus_mm=0.02, tilt_deg=0.1)
    assert [take.setup for take in takes] == list(range(1, 201))
    assert np.std([take.scene.defocus_mm for take in takes]) == pytest.approx(0.02, rel=0.15)
    tilts = np.array([take.scene.tilt_deg for take in takes])
    assert tilts.mean(axis=0) == pytest.approx([1.0, 0.0], abs=0.03)
    assert tilts.std(axis=0) == pytest.approx([0.1, 0.1], rel=0.15)
    assert len({take.seed for take in takes}) == 200
