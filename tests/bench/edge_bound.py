"""How exactly an edge's samples let its sharpness and its place be known at best: the Cramér–Rao bound.

The edge may have any shape within six blur widths of its middle (a cubic spline, two knots a blur width, which
carries all that a blur lets through) and is flat beyond, at two levels that aren't known either; nor is how the
light rises across it. Nothing of the shape is assumed smooth or usual. The samples and their noise are those of
the edge itself.

A method that is right for real lenses can't count on flatness beyond: every pupil with a rim spreads light that
fades as 1/z for ever. The second bound leaves the amount of that open on each side.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.interpolate import BSpline

from tests import known_edges as known

REACH = 6.0
KNOTS = 2
FINE = 32
FAR = 400


@lru_cache(maxsize=2)
def _shapes(tails: bool) -> tuple[np.ndarray, np.ndarray]:
    """Places in blur widths, and what each free number adds to the edge there."""
    z = (np.arange(2 * FAR * FINE) + 0.5) / FINE - FAR
    knots = np.arange(-REACH - 4, REACH + 4 + 1e-9, 1 / KNOTS)
    inside = np.clip(z, -REACH - 1, REACH + 1)
    columns = BSpline.design_matrix(inside, knots, 3).toarray()
    middle = knots[:-4] + 2 / KNOTS
    plateaus = [columns[:, side].sum(axis=1) for side in (middle <= -REACH, middle >= REACH)]
    fading = 1 / np.maximum(np.abs(z), REACH) - 1 / REACH
    beyond = [np.where(side * z > REACH, fading, 0) for side in (-1, 1)] if tails else []
    return z, np.column_stack([columns[:, np.abs(middle) < REACH], *plateaus, *beyond])


def best_spreads(
    transfer: known.Transfer,
    mtf50: float,
    distance: np.ndarray,
    noise: tuple[float, float],
    dark: float,
    white: float,
    tails: bool,
) -> tuple[float, float]:
    """Least standard deviations of MTF50 (as a share of it) and of the half-way place (pixels).

    Parameters
    ----------
    transfer : Transfer
        Blur and pixel along the normal.
    mtf50 : float
        Cycles a pixel.
    distance : ndarray
        Every sample's distance from the edge in pixels.
    noise : (float, float)
        Electrons at full scale, and those of reading.
    dark, white : float
        Levels as shares of full scale.
    tails : bool
        Whether light that fades as 1/z beyond six blur widths is left open.
    """
    blur = np.sqrt(np.log(2) / 2) / np.pi / mtf50
    z, shapes = _shapes(tails)
    level = known.profile(transfer)(np.clip(z * blur, -390, 390))
    light = dark + (white - dark) * level
    count = np.bincount(np.floor((distance / blur + FAR) * FINE).astype(int), minlength=len(z))
    seen = np.flatnonzero(count)
    electrons, read = noise
    weight = count[seen] / (light[seen] / electrons + (read / electrons) ** 2)
    told = np.column_stack([shapes[seen], light[seen] * z[seen]])
    # What is never seen (a knot between two samples) is all but free.
    covariance = np.linalg.inv((told * weight[:, None]).T @ told + 1e-9 * np.eye(told.shape[1]))[:-1, :-1]

    def spread(by):
        return float(np.sqrt(by @ covariance @ by))

    dark_end, white_end = shapes[0], shapes[-1]
    here = transfer(np.array([mtf50]))[0]
    turned = np.exp(-2j * np.pi * mtf50 * blur * (z[1:] - 0.5 / FINE)) @ np.diff(shapes, axis=0)
    by_shape = (np.conj(here / abs(here)) * (turned - here * (white_end - dark_end))).real / (white - dark)
    near = np.abs(transfer(mtf50 * np.array([0.99, 1.01])))
    fall = (near[0] - near[1]) / 0.02

    k = int(np.argmax(level >= 0.5))
    steep = (light[k + 1] - light[k - 1]) * FINE / 2 / blur
    return spread(by_shape / fall), spread(((dark_end + white_end) / 2 - shapes[k]) / steep)
