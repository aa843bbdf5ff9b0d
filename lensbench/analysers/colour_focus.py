"""Longitudinal colour: which colour focuses nearer, and by how many millimetres, from a series on a rail."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.findings import ColourFocus, Figure

NORMAL_95 = 1.96
"""Half-width of a 95 % interval in standard deviations."""

LEAST_SHOTS = 4
"""Shots about the focus below which no peak is looked for."""


def measure_colour_focus(
    rail_mm: ArrayLike,
    scale: ArrayLike,
    mtf50: Mapping[str, ArrayLike],
    mtf50_sigma: Mapping[str, ArrayLike],
) -> list[ColourFocus]:
    """Where on the rail each colour is sharpest, against green.

    Blur widths add by their squares, so 1 / MTF50² is a parabola along the rail near focus; its lowest point is
    the focus. It is fitted where MTF50 is above half of its highest.

    Parameters
    ----------
    rail_mm : array_like, shape (shots,)
        The camera's places on the rail.
    scale : array_like, shape (shots,)
        Pixels a millimetre of each shot; tells which way along the rail leads to the target.
    mtf50, mtf50_sigma : mapping of str to array_like, shape (shots,)
        By channel: sharpness at one place of the frame and its standard deviation.

    Returns
    -------
    list of ColourFocus
        One for red and one for blue; without those whose focus the series does not show on both sides.
    """
    rail, scale = np.asarray(rail_mm, float), np.asarray(scale, float)
    # The farther the target, the smaller it is drawn.
    away = rail if np.polyfit(rail, 1 / scale, 1)[0] > 0 else -rail
    peaks = {
        channel: _peak(away, np.asarray(values, float), np.asarray(mtf50_sigma[channel], float))
        for channel, values in mtf50.items()
    }
    green = peaks.get("green")
    rows = []
    for channel in ("red", "blue"):
        peak = peaks.get(channel)
        if green is None or peak is None:
            continue
        focus = Figure.of(peak[0] - green[0], NORMAL_95 * np.hypot(peak[1], green[1]), "mm")
        nearer = "neither" if focus.low <= 0 <= focus.high else channel if focus.value < 0 else "green"
        rows.append(ColourFocus(channel, focus, nearer))
    return rows


def _peak(away: NDArray, mtf50: NDArray, sigma: NDArray) -> tuple[float, float] | None:
    """Where MTF50 is highest along the rail, and its standard deviation; None where it isn't shown."""
    near = mtf50 > mtf50.max() / 2
    if near.sum() < LEAST_SHOTS:
        return None
    place, squares = away[near], 1 / mtf50[near] ** 2
    weight = mtf50[near] ** 3 / (2 * sigma[near])
    middle = place.mean()
    columns = np.stack([np.ones_like(place), place - middle, (place - middle) ** 2], axis=1) * weight[:, None]
    terms = np.linalg.lstsq(columns, squares * weight, rcond=None)[0]
    _, slope, curve = terms
    if curve <= 0:
        return None
    lowest = -slope / (2 * curve)
    if not place.min() < middle + lowest < place.max():
        return None
    left = squares * weight - columns @ terms
    widened = max(float(left @ left) / max(len(place) - 3, 1), 1.0)
    covariance = widened * np.linalg.inv(columns.T @ columns)
    by = np.array([0.0, -1 / (2 * curve), slope / (2 * curve**2)])
    return float(middle + lowest), float(np.sqrt(by @ covariance @ by))
