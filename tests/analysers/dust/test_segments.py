"""Segments of the discrete Radon transform, where they reach the frame's border."""

import numpy as np
import pytest

from lensbench.analysers.dust._pyramid import Level, nearest_cells
from lensbench.analysers.dust._segments import HIGHEST, find_segments


@pytest.mark.parametrize("height", [3 * HIGHEST, -3 * HIGHEST], ids=["dark", "bright"])
def test_a_strong_line_along_the_frame_s_last_rows_counts_in_full_within_the_frame(height):
    """Strips of 64 cells reach beyond a frame of 100: what lies there is nothing, and no error."""
    z = np.zeros((100, 90), np.float32)
    z[95:] = height
    z[:, 85:] = height
    found = find_segments([Level(2, z)], 5.0)
    assert np.sign(found.signal[np.argmax(np.abs(found.signal))]) == np.sign(height)
    # No segment has more than all of its cells in full.
    length = np.maximum(np.abs(found.x1 - found.x0), np.abs(found.y1 - found.y0)) / 2 + 1
    assert np.all(np.abs(found.signal) <= abs(height) * np.sqrt(length) * (1 + 1e-6))
    # One along the last rows has just that.
    assert np.abs(found.signal).max() == pytest.approx(abs(height) * np.sqrt(64))


def test_cells_outside_the_frame_are_0():
    z = np.ones((3, 4), np.float32)
    x, y = np.array([-0.6, -0.4, 3.4, 3.6, 1.0]), np.array([0.0, 0.0, 2.4, 2.0, 2.6])
    assert nearest_cells(z, x, y).tolist() == [0, 1, 1, 0, 0]
