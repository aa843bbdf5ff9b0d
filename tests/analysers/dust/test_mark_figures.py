"""Depth, width and length of marks that GalSim drew (tests/bench/marks.py), and what their intervals hold."""

import numpy as np
import pytest

from lensbench.analysers.dust import find_marks
from lensbench.analysers.dust._mark_profile import Profile, blurred_rim, relative_depth
from tests.analysers import flats
from tests.bench.marks import SEED, SHAPES, rows_of

pytestmark = pytest.mark.filterwarnings("ignore::galsim.GalSimWarning")


@pytest.fixture(scope="module")
def frames():
    return [rows_of(SEED + 500 + number) for number in range(2)]


def test_intervals_hold_the_truth_whatever_the_rim(frames):
    rows = np.array([row for own, _ in frames for row in own])
    assert len(rows) == 24
    assert np.isfinite(rows[:, 4]).all(), "every mark is found"
    # The three figures together: of one alone these are too few to tell 93 % from 90.
    assert rows[:, [6, 9, 12]].mean() >= 0.93
    for first in (4, 7, 10):
        error, half, _ = rows[:, first : first + 3].T
        assert np.median(half) <= 2 * np.percentile(np.abs(error), 95)


def test_depth_of_strong_soft_marks_is_unbiased(frames):
    rows = np.array([row for own, _ in frames for row in own])
    strong = rows[np.isin(rows[:, 0], [SHAPES.index("soft"), SHAPES.index("pencil")]) & (rows[:, 3] > 150)]
    assert len(strong) >= 4
    assert abs(np.mean(strong[:, 4])) < 0.01


def test_nothing_is_found_beside_strong_marks(frames):
    assert [besides for _, besides in frames] == [0, 0]


def test_a_wide_disc_with_a_hard_rim_is_one_mark_of_its_width():
    """In closed form, by the share of each pixel's 4 × 4 points that lie within."""
    middle, width = (630.3, 571.6), 230.0
    light = flats.cos4((1300, 1100), 0.5)
    y, x = np.indices(light.shape)
    offsets = (np.arange(4) - 1.5) / 4
    within = [np.hypot(x + dx - middle[0], y + dy - middle[1]) < width / 2 for dx in offsets for dy in offsets]
    disc = find_marks(flats.flat(light * (1 - 0.15 * np.mean(within, axis=0)), seed=3)).marks
    assert len(disc) == 1
    for figure in (disc[0].width_px, disc[0].length_px):
        assert figure.low <= width <= figure.high
        assert figure.half_width < 0.005 * width


def test_profiles_are_one_at_the_centre_and_a_half_at_radius_one():
    """The second formula is the integral of a normal distribution: 0.5 at its middle."""
    for steepness in (4.0, 20.0):
        profile = Profile(steepness, weights=np.eye(1, 14)[0])
        assert profile.at(np.array([0.0, 1.0])) == pytest.approx([1, 0.5], abs=0.01)
        slopes = [
            np.diff(of(np.array([0.995, 1.005]), steepness))[0] / 0.01 for of in (relative_depth, blurred_rim)
        ]
        assert slopes[0] == pytest.approx(slopes[1], rel=0.02)
