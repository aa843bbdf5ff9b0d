"""The gradient of an even light: how much darker one side of the picture is than the other."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.flat_light import LightMap
from lensbench.findings import NORMAL_95, Figure, LightGradient
from lensbench.frame import centre_of, half_diagonal

SIDES = ("right", "bottom right", "bottom", "bottom left", "left", "top left", "top", "top right")
"""The sides of the picture, clockwise as seen from x right."""

CORRELATED = 16
"""Neighbouring blocks over which the residual is alike, so that they count as one (chosen by experience)."""

FEWEST_BLOCKS = 20


def light_gradient(light: LightMap) -> LightGradient | None:
    """Fit a gradient to the light together with an even polynomial of the radius, up to its sixth power.

    Parameters
    ----------
    light : LightMap

    Returns
    -------
    LightGradient or None
        None where too few blocks can be measured.
    """
    thin = np.s_[::4, ::4]
    half, middle = half_diagonal(light.size), centre_of(light.size)
    u, v = np.meshgrid((light.x[::4] - middle[0]) / half, (light.y[::4] - middle[1]) / half)
    good = light.readable[thin] & ~light.rough[thin]
    if good.sum() < FEWEST_BLOCKS:
        return None
    u, v, stops = u[good], v[good], light.smooth[thin][good]
    q = u**2 + v**2
    design = np.stack([u, v, np.ones_like(q), q, q**2, q**3], axis=1)
    solution = np.linalg.lstsq(design, stops, rcond=None)[0]
    residual = stops - design @ solution
    variance = np.mean(residual**2) * CORRELATED + light.spread**2
    covariance = np.linalg.pinv(design.T @ design)[:2, :2] * variance
    across, down = (float(part) for part in solution[:2])
    size = float(np.hypot(across, down))
    direction = np.array([across, down]) / max(size, 1e-12)
    sigma = np.sqrt(np.array([*np.diag(covariance), direction @ covariance @ direction]))
    across_stops, down_stops, size_stops = (
        Figure.of(value, NORMAL_95 * s, "stops") for value, s in zip((across, down, size), sigma, strict=True)
    )
    side = SIDES[int(np.round(np.degrees(np.arctan2(down, across)) / 45)) % 8]
    return LightGradient(across_stops, down_stops, size_stops, darker_at=side)
