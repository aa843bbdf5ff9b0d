"""How far printed edges stray from their lines, as far as the lens lets it be seen."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeTraces
from lensbench.findings import NORMAL_95, Figure

PIECE_PX = 1.0
"""Length of the pieces whose place is measured one by one."""

CORE, FAR = 1.5, 3.0
"""Blur widths from the line within which the light tells of its place, and beyond which only of noise."""

FEWEST_PIECES = 6
FEWEST_EDGES = 8

VISIBLE = 0.02
"""Straying of less than this share of the blur width may be the profile's own wiggles, and hardly blurs."""

_STEPS = 33
"""Knots of the mean profile, from -4 to 4 blur widths."""


def measure_raggedness(traces: EdgeTraces) -> Figure | None:
    """Standard deviation of the edges' own lines about the smooth ones, in pixels.

    Each piece of an edge is placed by its light against the edge's mean profile; what the pieces scatter beyond
    their samples' noise is the print. What is finer than the lens resolves is averaged away before, so the figure
    is a lower bound. It is the median over the edges.

    Returns
    -------
    Figure or None
        None where there is too little to tell, or nothing to see.
    """
    spread = _variances(traces)
    spread = spread[np.isfinite(spread)]
    if len(spread) < FEWEST_EDGES:
        return None
    middle = float(np.median(spread))
    sigma = 1.2533 * 1.4826 * float(np.median(np.abs(spread - middle))) / np.sqrt(len(spread))
    least = (VISIBLE * float(np.median(traces.blur))) ** 2
    if middle - NORMAL_95 * sigma < least:
        return None
    return Figure.of(np.sqrt(middle), NORMAL_95 * sigma / (2 * np.sqrt(middle)), "px")


def _variances(traces: EdgeTraces) -> NDArray[np.float64]:
    """Of each edge's pieces about its line, noise taken off, px²; NaN where too little is seen."""
    n, edge = len(traces), traces.edge
    z = traces.across / traces.blur[edge]
    level, slope = _mean_profile(traces, z)
    rest = traces.level - level
    noise = _noise(edge, n, z, level, rest)
    core = np.abs(z) < CORE
    pieces = int(np.ceil(2 * traces.half_length.max(initial=1) / PIECE_PX)) + 1
    place = np.clip((traces.along + traces.half_length[edge]) / PIECE_PX, 0, pieces - 1).astype(int)
    key = (edge * pieces + place)[core]
    slope, rest, noise = slope[core], rest[core], noise[core]
    grip, push, doubt = (
        np.bincount(key, what, n * pieces).reshape(n, pieces)
        for what in (slope**2, -slope * rest, slope**2 * noise)
    )
    # Pieces that hold little of the rise say nothing but noise.
    firm = grip > 0.3 * np.array([np.median(row[row > 0]) if (row > 0).any() else np.inf for row in grip])[:, None]
    safe = np.where(firm, grip, 1.0)
    excess = np.where(firm, (push / safe) ** 2 - doubt / safe**2, 0.0)
    count = firm.sum(axis=1)
    return np.where(count >= FEWEST_PIECES, excess.sum(axis=1) / np.maximum(count, 1), np.nan)


def _mean_profile(traces: EdgeTraces, z: NDArray) -> tuple[NDArray, NDArray]:
    """Each sample's level on its edge's mean profile, and the profile's slope there by pixel."""
    n = len(traces)
    at = np.clip((z + 4) * (_STEPS - 1) / 8, 0, _STEPS - 1.001)
    k = at.astype(int)
    share = at - k
    key = traces.edge * _STEPS + k
    total = np.bincount(key, traces.level * (1 - share), n * _STEPS)
    total += np.bincount(key + 1, traces.level * share, n * _STEPS)
    weight = np.bincount(key, 1 - share, n * _STEPS) + np.bincount(key + 1, share, n * _STEPS)
    knots = (total / np.maximum(weight, 1e-9)).reshape(n, _STEPS)
    slopes = np.gradient(knots, axis=1) * (_STEPS - 1) / 8 / traces.blur[:, None]

    def read(table: NDArray) -> NDArray:
        return table[traces.edge, k] * (1 - share) + table[traces.edge, k + 1] * share

    return read(knots), read(slopes)


def _noise(edge: NDArray, n: int, z: NDArray, level: NDArray, rest: NDArray) -> NDArray[np.float64]:
    """Variance of each sample by its level, from what is seen far out on both sides of its edge."""
    sides = []
    for far in (z < -FAR, z > FAR):
        count = np.bincount(edge[far], minlength=n)
        sides.append(np.bincount(edge[far], rest[far] ** 2, n) / np.maximum(count, 1))
    share = np.clip(level, 0, 1)
    return sides[0][edge] * (1 - share) + sides[1][edge] * share
