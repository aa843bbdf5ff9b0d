"""A shadow is blurred over D / N_eff: distances from widths written by hand."""

import numpy as np
import pytest

from lensbench.verdicts.dirt._shadow_distance import UNKNOWN, shadow_distance
from tests.verdicts.dirt.invented_marks import mark

PITCH = 0.006


def widths(distance_mm, size_px, f_numbers, magnification=0.0):
    """A disc of `size_px` whose shadow is blurred over a disc: as wide as the wider of the two."""
    return [(n, mark(0, 0, max(size_px, distance_mm / (n * (1 + magnification)) / PITCH))) for n in f_numbers]


@pytest.mark.parametrize(("distance_mm", "size_px"), [(1.5, 3), (1.5, 30), (20.0, 60), (45.0, 10)])
def test_the_distance_lies_between_its_bounds(distance_mm, size_px):
    found = shadow_distance(widths(distance_mm, size_px, (4, 8, 16)), [], PITCH)
    assert found.low <= distance_mm <= found.high
    assert found.high < 1.7 * max(distance_mm, size_px * PITCH * 16)


def test_a_speck_on_the_cover_glass_is_bounded_by_one_sharp_sighting():
    """0.02 mm wide at f/16: at most 0.02 × 16 = 0.32 mm away by D / N, and some more for what a fit may miss."""
    found = shadow_distance([(16.0, mark(0, 0, 0.02 / PITCH))], [], PITCH)
    assert found.low == 0
    assert 0.32 < found.high < 0.7
    assert found.figure is None


def test_close_up_the_effective_f_number_counts():
    found = shadow_distance(widths(30.0, 4, (4, 8), magnification=1.0), [], PITCH, magnification=1.0)
    assert found.low <= 30 <= found.high


def test_what_vanishes_as_the_iris_opens_was_blurred_away():
    """600 px (3.6 mm) wide at f/16 and not seen at f/4: blurred there over more than that, so D > 3.6 × 4 mm."""
    seen = [(16.0, mark(0, 0, 600, depth=3))]
    assert 8 < shadow_distance(seen, [4.0], PITCH).low <= 3.6 * 4
    faint = [(16.0, mark(0, 0, 600, depth=3, signal=9))]
    assert shadow_distance(faint, [4.0], PITCH).low == 0
    assert shadow_distance(seen, [22.0], PITCH).low == 0


def test_nothing_is_known_without_sightings():
    assert shadow_distance([], [4.0], PITCH) == UNKNOWN
    assert np.isinf(UNKNOWN.high)
