"""How much of the frame the sheet covers, and where it doesn't."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from lensbench.frame import place_in_words
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import Layout

REACH = 1.1
"""A place counts as covered by the sheet where a tile's middle is found within so many pitches: tiles that the
border cuts in half can't be found."""

POINTS = 60
"""Points across the longer side at which that is asked."""

WORTH_NAMING = 0.004
"""Places that take less of the frame than this aren't named."""


def coverage(found: FoundTiles, layout: Layout, size: tuple[int, int]) -> tuple[float, list[str]]:
    """The share of the frame that the tiles found cover, and where none are, the largest places first."""
    step = max(size) / POINTS
    x, y = (np.arange(step / 2, length, step) for length in size)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    middle = found.corners_px[:, 1:].mean(axis=1)
    leg, leg_mm = (
        np.hypot(*(corners[:, 1] - corners[:, 0]).T) for corners in (found.corners_px, layout.corners_mm)
    )
    pitch = np.maximum(leg, np.median(leg) / 2) * layout.pitch_mm / np.median(leg_mm)
    distance, nearest = cKDTree(middle).query(points)
    bare = distance > REACH * pitch[nearest]
    places = [place_in_words(px, py, size) for px, py in points[bare]]
    names = sorted(set(places), key=lambda place: -places.count(place))
    return float(1 - bare.mean()), [name for name in names if places.count(name) > WORTH_NAMING * len(points)]
