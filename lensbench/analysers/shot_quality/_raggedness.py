"""Raggedness of printed edges: how far they deviate from straight lines, as far as the lens resolves it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeTraces
from lensbench.findings import NORMAL_95, Figure
from lensbench.robust import robust_sigma

PIECE_PX = 1.0
"""Length of the pieces of an edge whose displacement is measured one by one (chosen by experience)."""

CORE, FAR = 1.5, 3.0
"""Blur widths from the line within which light depends on its position, and beyond which only noise is left."""

FEWEST_PIECES, FEWEST_EDGES = 6, 8
"""Pieces of an edge, and edges of a shot, that a figure needs (chosen by experience)."""

MIN_INFORMATION = 0.3
"""Pieces with less information on their displacement than this share of their edge's median are left out."""

MIN_DEVIATION = 0.02
"""Deviations below this share of the blur width may be errors of the mean profile, and hardly blur (checked with
`tests.bench.warnings`)."""

_KNOTS = 33
"""Knots of the mean profile, from -4 to 4 blur widths."""


def measure_raggedness(traces: EdgeTraces) -> Figure | None:
    """Standard deviation of printed edges about their straight lines, in pixels.

    The displacement of each piece of an edge is estimated from its light and the edge's mean profile; its variance
    beyond that of the samples' noise is the print's. Detail finer than the lens resolves is averaged out, so the
    figure is a lower bound. It is the median over the edges.

    Parameters
    ----------
    traces : EdgeTraces
        Of a target shot's edges in one channel.

    Returns
    -------
    Figure or None
        None where there is too little to measure, or no deviation is seen.
    """
    variance = _variances(traces)
    variance = variance[np.isfinite(variance)]
    if len(variance) < FEWEST_EDGES:
        return None
    middle = float(np.median(variance))
    # The standard error of a median is √(π/2) times that of a mean.
    sigma = robust_sigma(variance) * np.sqrt(np.pi / 2 / len(variance))
    least = (MIN_DEVIATION * float(np.median(traces.blur))) ** 2
    if middle - NORMAL_95 * sigma < least:
        return None
    return Figure.of(np.sqrt(middle), NORMAL_95 * sigma / (2 * np.sqrt(middle)), "px")


def _variances(traces: EdgeTraces) -> NDArray[np.float64]:
    """Variance of each edge's pieces about its line, less that of noise, px²; NaN where too few are measured."""
    n, edge = len(traces), traces.edge
    z = traces.across / traces.blur[edge]
    level, slope = _mean_profile(traces, z)
    residual = traces.level - level
    noise = _noise_variance(edge, n, z, level, residual)
    core = np.abs(z) < CORE
    pieces = int(np.ceil(2 * traces.half_length.max(initial=1) / PIECE_PX)) + 1
    piece = np.clip((traces.along + traces.half_length[edge]) / PIECE_PX, 0, pieces - 1).astype(int)
    key = (edge * pieces + piece)[core]
    slope, residual, noise = slope[core], residual[core], noise[core]
    # Maximum likelihood: displacement = score / information, here with equal weights.
    information, score, score_variance = (
        np.bincount(key, values, n * pieces).reshape(n, pieces)
        for values in (slope**2, -slope * residual, slope**2 * noise)
    )
    # Pieces with little of the rise show nothing but noise.
    usual = np.array([np.median(row[row > 0]) if (row > 0).any() else np.inf for row in information])
    used = information > MIN_INFORMATION * usual[:, None]
    divisor = np.where(used, information, 1.0)
    excess = np.where(used, (score / divisor) ** 2 - score_variance / divisor**2, 0.0)
    count = used.sum(axis=1)
    return np.where(count >= FEWEST_PIECES, excess.sum(axis=1) / np.maximum(count, 1), np.nan)


def _mean_profile(traces: EdgeTraces, z: NDArray) -> tuple[NDArray, NDArray]:
    """Each sample's level on its edge's mean profile, and the profile's slope there by pixel."""
    n = len(traces)
    at = np.clip((z + 4) * (_KNOTS - 1) / 8, 0, _KNOTS - 1.001)
    k = at.astype(int)
    share = at - k
    key = traces.edge * _KNOTS + k
    total = np.bincount(key, traces.level * (1 - share), n * _KNOTS)
    total += np.bincount(key + 1, traces.level * share, n * _KNOTS)
    weight = np.bincount(key, 1 - share, n * _KNOTS) + np.bincount(key + 1, share, n * _KNOTS)
    knots = (total / np.maximum(weight, 1e-9)).reshape(n, _KNOTS)
    slopes = np.gradient(knots, axis=1) * (_KNOTS - 1) / 8 / traces.blur[:, None]

    def read(table: NDArray) -> NDArray:
        return table[traces.edge, k] * (1 - share) + table[traces.edge, k + 1] * share

    return read(knots), read(slopes)


def _noise_variance(edge: NDArray, n: int, z: NDArray, level: NDArray, residual: NDArray) -> NDArray[np.float64]:
    """Variance of each sample by its level, from the samples far out on both sides of its edge."""
    sides = []
    for far in (z < -FAR, z > FAR):
        count = np.bincount(edge[far], minlength=n)
        sides.append(np.bincount(edge[far], residual[far] ** 2, n) / np.maximum(count, 1))
    share = np.clip(level, 0, 1)
    return sides[0][edge] * (1 - share) + sides[1][edge] * share
