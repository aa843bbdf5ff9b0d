"""How edges scatter about a mapping: each by its own noise, and the three edges of a displaced tile together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.geometry._lines import Lines
from lensbench.robust import robust_sigma

LEAST_TILES = 10
"""Whole tiles needed to distinguish displacements of tiles from the scatter of single edges (chosen by
experience)."""

OUTLIER = 5.0
"""Edges whose residual exceeds this many standard deviations are rejected (common practice)."""


@dataclass(frozen=True, eq=False)
class EdgeCovariance:
    """Covariance of the edges' residuals, block-diagonal by tile, as its whitening matrices.

    Attributes
    ----------
    slot : ndarray of int, shape (edges,)
        Each edge's index among three for every tile.
    whitener : ndarray, shape (tiles, 3, 3)
        Turns a tile's residuals in pixels into independent ones of unit standard deviation.
    used : ndarray of bool, shape (edges,)
        The edges that are not rejected.
    """

    slot: NDArray[np.int64]
    whitener: NDArray[np.float64]
    used: NDArray[np.bool_]

    @classmethod
    def unit(cls, lines: Lines) -> EdgeCovariance:
        """One pixel for every edge, none rejected: what to start from."""
        return cls.of(lines, np.ones(len(lines.leg)), 0.0, np.ones(len(lines.leg), bool))

    @classmethod
    def of(cls, lines: Lines, edge: NDArray, tile: float, used: NDArray) -> EdgeCovariance:
        """From each edge's standard deviation and that of the tiles' displacements, in pixels."""
        slot = 3 * lines.tile + lines.leg
        normal, variance = np.zeros((3 * (lines.tile.max() + 1), 2)), np.ones(3 * (lines.tile.max() + 1))
        normal[slot[used]], variance[slot[used]] = lines.normal[used], np.square(edge[used])
        normal = normal.reshape(-1, 3, 2)
        covariance = tile**2 * normal @ np.swapaxes(normal, 1, 2) + variance.reshape(-1, 3, 1) * np.eye(3)
        return cls(slot, np.linalg.inv(np.linalg.cholesky(covariance)), used)

    @classmethod
    def estimated(cls, lines: Lines, residual: NDArray) -> EdgeCovariance:
        """From residuals in pixels, shape (edges,): print and paper included; outliers are rejected.

        Where a whole tile is displaced the residuals of its legs and its long side cancel in the sum along +
        across + √2 slant; the scatter of that sum is the edges' own.
        """
        total = robust_sigma(residual, about=0.0)
        noise = np.square(lines.sigma)
        weights = np.array([0.5, 0.5, np.sqrt(0.5)])[lines.leg]
        closed = np.bincount(lines.tile, weights * residual)[np.bincount(lines.tile) == 3]
        own = robust_sigma(closed, about=0.0) if len(closed) >= LEAST_TILES else total
        edge = np.sqrt(noise + max(min(own, total) ** 2 - float(np.median(noise)), 0.0))
        tile = np.sqrt(max(total**2 - max(own**2, float(np.median(noise))), 0.0))
        used = np.abs(residual) <= OUTLIER * np.maximum(np.hypot(edge, tile), total)
        return cls.of(lines, edge, float(tile), used)

    def whitened(self, values: NDArray) -> NDArray[np.float64]:
        """Values by edge, shape (edges, ...), as independent ones by tile, shape (tiles, 3, ...)."""
        by_tile = np.zeros((len(self.whitener) * 3, *values.shape[1:]))
        by_tile[self.slot[self.used]] = values[self.used]
        return np.einsum("tij,tj...->ti...", self.whitener, by_tile.reshape(-1, 3, *values.shape[1:]))
