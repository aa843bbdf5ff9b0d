"""How deep the shadows of known marks are in a shot, by one measure for mosaics and for demosaiced planes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lensbench.findings import Mark
from lensbench.shot import Shot

CORE, RING = 0.25, (1.0, 1.8)
"""A shadow's middle, and what is around it, in widths of the mark from its middle line (chosen by experience)."""

LEAST_PX = 1.5, 4.0
"""At least this reach of the middle, and of what is around beyond the mark, in pixels."""


def deepest_shadow(shot: Shot, marks: Sequence[Mark]) -> float | None:
    """The depth of the deepest of some marks' shadows, in percent of the light around; None without any.

    Marks are not looked for anew: demosaicing ties neighbours' noise together, which a search takes for dirt.
    """
    depths = [depth for mark in marks if (depth := _depth(shot, mark)) is not None]
    return max(depths, default=None)


def _depth(shot: Shot, mark: Mark) -> float | None:
    width = mark.width_px.value
    path = np.array(mark.path or [(mark.x, mark.y)], dtype=float)
    reach = RING[1] * width + LEAST_PX[1]
    (left, top), (right, bottom) = path.min(axis=0) - reach, path.max(axis=0) + reach
    window = shot.window(shot.reference, int(left), int(top), int(right) + 1, int(bottom) + 1)
    away = np.full(len(window.x), np.inf)
    for x, y in path:
        away = np.minimum(away, np.hypot(window.x - x, window.y - y))
    core = window.light[away <= max(CORE * width, LEAST_PX[0])]
    around = window.light[(away >= RING[0] * width) & (away <= reach)]
    if not len(core) or not len(around) or np.median(around) <= 0:
        return None
    return float(100 * abs(1 - np.median(core) / np.median(around)))
