"""The splines that level the light at the border, against SciPy's."""

import numpy as np
import pytest
from scipy.interpolate import make_interp_spline

from lensbench.analysers.dust._border_light import _splines_through


def test_splines_through_blocks_are_scipys():
    """Blocks of one width but for the last, as they lie on a frame."""
    blocks = np.append(30.5 + 62 * np.arange(45), 2811.0)
    positions = np.linspace(0, 2831, 500)
    assert _splines_through(blocks, positions) == pytest.approx(
        make_interp_spline(blocks, np.eye(46), k=3)(positions), abs=1e-8
    )
