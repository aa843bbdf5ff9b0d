"""The levels on which marks are searched, updated part by part."""

import numpy as np
import pytest

from lensbench.analysers.dust._boxes import Box, disjoint_groups, in_any, merged
from lensbench.analysers.dust._pyramid import Pyramid


def test_updating_a_part_gives_what_binning_all_again_gives():
    rng = np.random.default_rng(1)
    z = rng.normal(size=(301, 422)).astype(np.float32)
    pyramid = Pyramid(z.copy())
    changed = z.copy()
    changed[40:81, 100:163] += 5
    changed[200:210, 5:9] -= 3
    pyramid.finest[...] = changed
    pyramid.update([Box(200, 80, 326, 162), Box(10, 400, 18, 420)])
    anew = Pyramid(changed.copy())
    for one, other in zip(
        pyramid.levels + pyramid.background_subtracted, anew.levels + anew.background_subtracted, strict=True
    ):
        assert one.z == pytest.approx(other.z, abs=1e-4)


def test_noise_stays_one_on_every_level():
    """Four cells of noise 1 add up to noise 2; over 2 it is 1 again."""
    pyramid = Pyramid(np.random.default_rng(2).normal(size=(800, 1200)).astype(np.float32))
    assert len(pyramid.levels) > 4
    for level in pyramid.levels[:4]:
        assert level.z.std() == pytest.approx(1, abs=0.02)


def test_a_wide_gradient_is_background_and_a_spot_is_not():
    z = np.add.outer(np.linspace(0, 8, 400), np.linspace(-5, 5, 600)).astype(np.float32)
    z[200:203, 300:303] += 20
    pyramid = Pyramid(z)
    inner = pyramid.background_subtracted[0].z[100:300, 100:500]
    assert abs(np.median(inner)) < 0.1
    assert inner.max() > 18
    assert pyramid.levels[0].z.max() > 18


def test_boxes_are_merged_grouped_and_searched():
    boxes = [Box(0, 0, 10, 10), Box(20, 0, 30, 10), Box(5, 5, 12, 12)]
    assert sorted(merged(boxes)) == [Box(0, 0, 12, 12), Box(20, 0, 30, 10)]
    assert disjoint_groups([0, 1, 2], boxes) == [[0, 1], [2]]
    assert in_any(boxes, np.array([11.0, 15.0]), np.array([11.0, 5.0])).tolist() == [True, False]
    assert Box(-50, -50, -40, -40).cells(2, (100, 100)) == (slice(0, 1), slice(0, 1))
