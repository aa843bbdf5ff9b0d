"""The samples that edges are fitted to, and how they fall into the bins of a profile."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _bin_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._model import EdgeModel, Segments, Tables
from lensbench.analysers.edge._samples import EdgeSamples, pieces_along

NEAR = 3.5
"""Samples within so many blur widths, and two pixels, are placed anew whenever the line moves; farther out all is
flat."""

PIECES = 24
"""Pieces along an edge in which its straightness is held against its noise."""

PIECE_MIDDLES = (np.arange(PIECES) + 0.5) * (2 / PIECES) - 1
PIECE_SHAPES = np.stack([np.ones(PIECES), PIECE_MIDDLES, PIECE_MIDDLES**2 - 1 / 3])
"""What offset, turn and curvature of a line are in the middle of each piece."""


@dataclass(frozen=True, eq=False)
class EdgeData:
    """Samples of n edges, those near the edge apart from those far out.

    Attributes
    ----------
    near, far : EdgeSamples
        With their light in contrasts.
    near_tau, far_tau : ndarray, shape (samples,)
        Where they lie on the used length, -1 to 1.
    near_piece : ndarray of int, shape (samples,)
        In which of the `PIECES`.
    """

    near: EdgeSamples
    far: EdgeSamples
    near_tau: NDArray[np.float32]
    far_tau: NDArray[np.float32]
    near_piece: NDArray[np.int32]

    @classmethod
    def of(cls, near: EdgeSamples, far: EdgeSamples, segments: Segments) -> EdgeData:
        """The samples with their positions along the edges."""
        near_tau, far_tau = _tau(near, segments), _tau(far, segments)
        return cls(near, far, near_tau, far_tau, pieces_along(near_tau, PIECES))

    @classmethod
    def split(cls, samples: EdgeSamples, segments: Segments, blur: NDArray) -> EdgeData:
        """Samples parted by how far out they lie; `blur` has shape (n,), in pixels."""
        reach = (NEAR * blur + 2.0).astype(np.float32)
        near = np.abs(samples.u) < reach[samples.edge]
        return cls.of(samples.keep(near), samples.keep(~near), segments)

    def less(self, near: NDArray, far: NDArray) -> EdgeData:
        """The same with so much light taken off each sample."""
        return replace(
            self,
            near=replace(self.near, light=self.near.light - near),
            far=replace(self.far, light=self.far.light - far),
        )


@dataclass(frozen=True, eq=False)
class FarBins:
    """The far samples by bin of their edge's profile.

    Attributes
    ----------
    key : ndarray of int, shape (samples,)
        Edge · BINS + bin of each.
    count, light, square : ndarray, shape (n, BINS)
        How many, their light, and its square.
    """

    key: NDArray[np.int32]
    count: NDArray[np.float64]
    light: NDArray[np.float64]
    square: NDArray[np.float64]

    @classmethod
    def of(cls, key: NDArray, data: EdgeData, n: int) -> FarBins:
        """Sums over the far samples, whose bins are known."""
        return cls(key, *loops.binned(key, data.far.light, n, profile.BINS))

    @classmethod
    def placed(cls, data: EdgeData, model: EdgeModel) -> FarBins:
        """The far samples placed by the model's lines."""
        key, _ = _placed(data.far, data.far_tau, model)
        return cls.of(key, data, model.n)


def near_keys(data: EdgeData, model: EdgeModel) -> NDArray[np.int32]:
    """Edge · BINS + bin of each near sample."""
    return _placed(data.near, data.near_tau, model)[0]


def near_residuals(data: EdgeData, model: EdgeModel, tables: Tables) -> tuple[NDArray, NDArray]:
    """Edge · BINS + bin of each near sample, and how far its light lies above the profile."""
    key, off = _placed(data.near, data.near_tau, model)
    return key, loops.residuals(key, off, data.near.light, tables.level, tables.rise)


def _tau(samples: EdgeSamples, segments: Segments) -> NDArray[np.float32]:
    middle, scale = segments.middle.astype(np.float32), (1 / segments.half).astype(np.float32)
    return (samples.t - middle.take(samples.edge)) * scale.take(samples.edge)


def _placed(samples: EdgeSamples, tau: NDArray, model: EdgeModel) -> tuple[NDArray, NDArray]:
    """Bin of every sample, and how far it lies from the bin's middle (in cells)."""
    offset, turn, curvature = model.line.T
    lines = np.stack([offset - curvature / 3, turn, curvature, 1 / model.segments.half], axis=1)
    return loops.placed(samples.edge, tau, samples.u, lines, profile.GRID, profile.BINS)
