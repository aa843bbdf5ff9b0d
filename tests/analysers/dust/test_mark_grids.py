"""The grids on which marks are looked for, kept up to date piece by piece."""

import numpy as np
import pytest

from lensbench.analysers.dust._pyramid import Box, Grids, apart, in_any, joined


def test_renewing_a_part_gives_what_binning_all_anew_gives():
    rng = np.random.default_rng(1)
    z = rng.normal(size=(301, 422)).astype(np.float32)
    grids = Grids(z.copy())
    changed = z.copy()
    changed[40:81, 100:163] += 5
    changed[200:210, 5:9] -= 3
    grids.left[...] = changed
    grids.renew([Box(200, 80, 326, 162), Box(10, 400, 18, 420)])
    anew = Grids(changed.copy())
    for one, other in zip(grids.levels + grids.grounded, anew.levels + anew.grounded, strict=True):
        assert one.z == pytest.approx(other.z, abs=1e-4)


def test_noise_stays_one_on_every_grid():
    """Four cells of noise 1 add up to noise 2; over 2 it is 1 again."""
    grids = Grids(np.random.default_rng(2).normal(size=(800, 1200)).astype(np.float32))
    assert len(grids.levels) > 4
    for level in grids.levels[:4]:
        assert level.z.std() == pytest.approx(1, abs=0.02)


def test_a_wide_slope_is_ground_and_a_speck_is_not():
    z = np.add.outer(np.linspace(0, 8, 400), np.linspace(-5, 5, 600)).astype(np.float32)
    z[200:203, 300:303] += 20
    grids = Grids(z)
    inner = grids.grounded[0].z[100:300, 100:500]
    assert abs(np.median(inner)) < 0.1
    assert inner.max() > 18
    assert grids.levels[0].z.max() > 18


def test_boxes_are_joined_grouped_and_searched():
    boxes = [Box(0, 0, 10, 10), Box(20, 0, 30, 10), Box(5, 5, 12, 12)]
    assert sorted(joined(boxes)) == [Box(0, 0, 12, 12), Box(20, 0, 30, 10)]
    assert apart([0, 1, 2], boxes) == [[0, 1], [2]]
    assert in_any(boxes, np.array([11.0, 15.0]), np.array([11.0, 5.0])).tolist() == [True, False]
    assert Box(-50, -50, -40, -40).cells(2, (100, 100)) == (slice(0, 1), slice(0, 1))
