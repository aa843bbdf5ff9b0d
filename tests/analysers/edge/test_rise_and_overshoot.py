"""How far it is across an edge from 10 % to 90 %, and how far sharpening makes it pass its plateaus.

The truth is the integral of the blur's line spread, of a closed form or of a kernel written down here: that of a
picture sharpened by adding `amount` times what a Gaussian blur of width `radius` takes from it (unsharp mask,
common practice).
"""

import numpy as np
import pytest

from tests import known_edges as known
from tests.analysers.edge.edge_benches import bench, slants

LIGHT = {"dark": 0.2, "white": 0.65}
"""So much room on both sides that what overshoots is not clipped."""


def sharpened(blur, amount, radius):
    plain, mask = known.gaussian(blur), known.gaussian(radius)
    return lambda f: plain(f) * (1 + amount * (1 - mask(f)))


def truth(transfer, angle):
    """Rise in pixels, and overshoot of the further side, of an edge whose normal lies at an angle."""
    at = np.linspace(-25, 25, 20001)
    level = known.profile(known.with_pixel(transfer, angle))(at)
    # The rise itself lies between the last of the dark and the first of the light, and grows all along.
    steep = slice(len(at) - 1 - np.argmax(level[::-1] <= 0.1), np.argmax(level >= 0.9) + 1)
    rise = np.ptp(np.interp([0.1, 0.9], level[steep], at[steep]))
    return rise, max(level.max() - 1, -level.min())


def held_against_truth(transfer, look, channel, **exposure):
    """Relative errors of the rises, their standard deviations, the overshoots, and the true ones."""
    made = bench(transfer, slants(16), 256, 190, **LIGHT)
    found = made.shown(look, **exposure)[channel]
    ok = found.measured
    assert ok.sum() >= 14
    rise, overshoot = np.array([truth(transfer, angle) for angle in made.scene.angle[ok]]).T
    doubt = found.rise_sigma_px[ok] / rise
    return found.rise_px[ok] / rise - 1, doubt, found.overshoot[ok], overshoot


@pytest.mark.parametrize(("look", "channel"), [(known.MONO, "grey"), (known.BAYER, "green")])
@pytest.mark.parametrize("kernel", [(0.7, 1.0, 1.2), (1.0, 1.0, 1.0), (1.4, 0.5, 2.0), (2.0, 2.0, 2.0)])
def test_sharpened_edges_overshoot_by_their_kernel(kernel, look, channel):
    error, _, seen, true = held_against_truth(sharpened(*kernel), look, channel)
    assert true.min() > 0.02
    # The furthest point of a noisy profile lies a little beyond the true one's.
    assert seen.mean() == pytest.approx(true.mean(), abs=0.004)
    assert np.abs(seen - true).max() < 0.012
    assert abs(error.mean()) < 0.005
    assert np.abs(error).max() < 0.02


# Gaussian: 10 to 90 % is 2.563 standard deviations (tables of the normal distribution), and it never overshoots.
@pytest.mark.parametrize("blur", [0.4, 0.8, 1.4, 3.0])
def test_a_plain_edge_rises_as_its_blur_and_overshoots_nothing(blur):
    error, doubt, seen, true = held_against_truth(known.gaussian(blur), known.BAYER, "green")
    assert true.max() < 1e-6
    assert seen.max() < 0.005
    assert abs(error.mean()) < 0.003
    assert np.mean(np.abs(error) < 1.96 * doubt) > 0.8
    assert error.std() > 0.5 * np.median(doubt)


def test_the_handbook_rise_of_a_gaussian():
    rise, _ = truth(known.gaussian(3.0), 0.0)
    assert rise == pytest.approx(2.563 * np.sqrt(9 + 1 / 12), abs=0.005)


def test_little_sharpening_that_overshoots_nothing_is_not_seen():
    """It only makes the edge steeper: what looks the same as a sharper lens is no overshoot."""
    *_, seen, true = held_against_truth(sharpened(1.4, 0.3, 1.0), known.BAYER, "green")
    assert true.max() < 0.001
    assert seen.max() < 0.005
