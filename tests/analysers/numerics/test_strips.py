"""Products taken strip by strip against the whole ones, linear interpolation against NumPy's."""

import numpy as np
import pytest

from lensbench.analysers.numerics.strips import (
    LEAST_STRIPS,
    STRIP_ROWS,
    each_strip,
    interpolation_matrix,
    subtract_product,
)


def test_interpolation_is_numpys():
    positions = np.linspace(0, 6, 50)
    values = np.random.default_rng(1).normal(size=7)
    expected = np.interp(positions, np.arange(7), values)
    # The weights are float32.
    assert interpolation_matrix(positions, 7) @ values == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("keep_zeros", [False, True])
def test_what_is_subtracted_is_the_product(keep_zeros):
    rows = 2 * STRIP_ROWS + 5
    rng = np.random.default_rng(2)
    z = rng.normal(size=(rows, 20)).astype(np.float32)
    z[3, 4] = 0
    down = interpolation_matrix(np.linspace(0, 8, rows), 9)
    across = rng.normal(size=(9, 20)).astype(np.float32)
    expected = z - down @ across
    if keep_zeros:
        expected[3, 4] = 0
    subtract_product(z, down, across, keep_zeros)
    assert z == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("count", [3, LEAST_STRIPS + 3])
def test_every_strip_is_processed_once(count):
    seen = []
    each_strip(seen.append, range(0, count * STRIP_ROWS, STRIP_ROWS))
    assert sorted(seen) == [n * STRIP_ROWS for n in range(count)]
