"""Whether a mosaic begins where its file says: the two greens of a repeat see the same colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot

BLOCK = 16
"""Side of the blocks whose light is compared, in samples of one position."""

MOST_GREENS_DIFFER = 0.1
"""Share by which the two greens' light differs at most, filters and amplifiers together (common practice: 1 to
5 %)."""

GREENS_MAY_DIFFER, RED_IS_BLUE = 0.04, 0.01
"""Greens that differ by more than this share while red and blue differ by less than this are no greens: a mosaic
read one row or column off names the true greens red and blue."""


def is_mosaic_displaced(shot: Shot) -> bool:
    """Whether what a file calls green is red and blue, by their light.

    Parameters
    ----------
    shot : Shot
        Of a target or an even light, lit alike in a few samples' neighbourhood.

    Returns
    -------
    bool
        False for what is no mosaic of two by two with red, green twice and blue.
    """
    if shot.pattern is None or shot.pattern.shape != (2, 2) or sorted(set(shot.colours)) != _COLOURS:
        return False
    if sum(shot.colours[index] == "green" for index in shot.pattern.ravel()) != 2:
        return False
    greens = _differ(shot, "green", "green")
    return greens > MOST_GREENS_DIFFER or (
        greens > GREENS_MAY_DIFFER and _differ(shot, "red", "blue") < RED_IS_BLUE
    )


_COLOURS = ["blue", "green", "red"]


def _differ(shot: Shot, one: str, other: str) -> float:
    """The share by which the light of two positions of the repeat differs, the median over bright blocks."""
    first, second = _blocks(shot, one, 0), _blocks(shot, other, -1)
    bright = np.fmin(first, second) > 0.5 * np.percentile(np.fmin(first, second), 95)
    ratio = first[bright] / second[bright]
    return abs(float(np.log(np.median(ratio)))) if ratio.size and np.median(ratio) > 0 else 0.0


def _blocks(shot: Shot, channel: str, which: int) -> NDArray[np.float64]:
    part = list(shot.sublattices(channel))[which]
    rows, columns = (extent // BLOCK for extent in part.samples.shape)
    samples = part.samples[: rows * BLOCK, : columns * BLOCK].reshape(rows, BLOCK, columns, BLOCK)
    means: NDArray[np.float64] = samples[:, ::4, :, ::2].mean(axis=(1, 3), dtype=np.float64)
    return means - shot.black[part.colour_index]
