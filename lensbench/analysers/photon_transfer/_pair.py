"""Two like shots: their difference holds photon noise alone, without what pixels and sheet have in common."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lensbench.analysers.photon_transfer._correlation import TEXTURED, neighbour_correlation
from lensbench.analysers.photon_transfer._levels import Levels, levels_of
from lensbench.findings import Figure
from lensbench.uniform_blocks import UniformBlocks

GROUPS = 10
"""Levels of light that the blocks of a pair are divided into."""

LIKE = 0.2
"""Shots, and blocks, whose light differs by more than this share are not compared."""

FEWEST_BLOCKS = 400
"""Blocks of a pair that a figure needs."""

WIDE = 4.0
"""The brightest level must have so many times the darkest one's light, or nothing is seen of a curve."""


def measure_departure(first: UniformBlocks, second: UniformBlocks) -> Figure | None:
    """By how much stored numbers depart from a straight line, from the noise of two like shots.

    A response y = x + k x (1 - x), x and y from 0 to 1, makes the variance of photon noise proportional to
    y (1 + k) - 3 k y², so the curvature of variance against light tells k; k / 4 is the departure in the middle.

    Parameters
    ----------
    first, second : UniformBlocks
        Of shots of one camera and size, taken alike.

    Returns
    -------
    Figure or None
        Half-way between no light and the brightest, in percent of the brightest; positive is brighter. None where
        the shots are unlike, the range of light is small, or the difference has texture (something moved).

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), section 6.5: temporal noise is half of the variance of the difference
    of two shots taken alike, so that what pixels and sheet have in common falls out.
    """
    pair = _like_blocks(first, second)
    if pair is None:
        return None
    one, two = pair
    light = np.asarray((one.light + two.light) / 2, np.float32)
    first_scaled, second_scaled = (shot.residual * (light / shot.light)[:, None, None] for shot in pair)
    residual = np.asarray((first_scaled - second_scaled) / np.sqrt(2), np.float32)
    half = replace(one, light=light, residual=residual)
    if neighbour_correlation(half) > TEXTURED:
        return None
    return _departure(levels_of(light, half.variance - half.rounding, one.h2, GROUPS))


def _like_blocks(first: UniformBlocks, second: UniformBlocks) -> tuple[UniformBlocks, UniformBlocks] | None:
    """The blocks that are uniform and of like light in both; None where they are few."""
    _, at_first, at_second = np.intersect1d(first.index, second.index, assume_unique=True, return_indices=True)
    one, two = first.light[at_first], second.light[at_second]
    alike = (np.minimum(one, two) > 0) & (np.abs(one - two) < LIKE * np.minimum(one, two))
    if alike.sum() < max(FEWEST_BLOCKS, len(alike) / 2):
        return None
    return first.taken(at_first[alike]), second.taken(at_second[alike])


def _departure(levels: Levels) -> Figure | None:
    light = levels.light
    if len(light) < 6 or light.max() < WIDE * light.min():
        return None
    share = light / light.max()
    columns = np.stack([np.ones_like(share), share, share**2], axis=1)
    weight = 1 / (levels.unsure * levels.variance)
    design, values = columns * weight[:, None], levels.variance * weight
    found = np.linalg.lstsq(design, values, rcond=None)[0]
    poor = max(float(np.sum((design @ found - values) ** 2)) / max(len(values) - 3, 1), 1.0)
    covariance = np.linalg.inv(design.T @ design) * poor
    if found[1] <= 0:
        return None
    # k from the ratio of the two terms, its error by the ratio's derivatives.
    ratio = found[2] / found[1]
    k = -ratio / (3 + ratio)
    slope = np.array([0.0, ratio / found[1], -1 / found[1]]) * 3 / (3 + ratio) ** 2
    return Figure.if_known(100 * k / 4, 100 * float(np.sqrt(slope @ covariance @ slope)) / 4, "%")
