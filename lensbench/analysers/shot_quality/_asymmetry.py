"""Asymmetry of edge profiles: a tone curve gives all edges the same, coma gives it to edges that face one way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeTraces
from lensbench.frame import centre_of, half_diagonal
from lensbench.robust import cauchy_weight, robust_sigma

REACH = 2.5
"""Distance to both sides of an edge over which its profile is compared with itself, in blur widths (chosen by
experience)."""

FEWEST_EDGES = 20
"""Edges needed to separate the three kinds of asymmetry (chosen by experience)."""

_BINS = 20
_ROUNDS = 8


@dataclass(frozen=True)
class EdgeAsymmetry:
    """How much lighter edges are, over both sides, than edges of a point-symmetric blur.

    All are means of E(d) + E(-d) - 1, d being the distance from where the edge's profile E crosses half.

    Attributes
    ----------
    common : float
        The part common to all edges, whichever way they face. Asymmetric blur (coma) makes edges that face its
        tail lighter and those that face away darker, so no lens does this; a tone curve does.
    directional : (float, float)
        The part of edges that face x (right) or y (down): coma in the same direction all over the frame.
    """

    common: float
    directional: tuple[float, float]


def measure_asymmetry(traces: EdgeTraces, size: tuple[int, int]) -> EdgeAsymmetry | None:
    """Separate the asymmetry of edges into a common, a directional and a radial part (coma of a centred lens).

    Parameters
    ----------
    traces : EdgeTraces
        Of edges that face all ways.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    EdgeAsymmetry or None
        None where there are too few edges.
    """
    asymmetry = _asymmetry_by_edge(traces)
    good = np.isfinite(asymmetry)
    if good.sum() < FEWEST_EDGES:
        return None
    normal = traces.normal[good]
    outward = ((traces.place[good] - centre_of(size)) / half_diagonal(size) * normal).sum(axis=1)
    matrix = np.stack([np.ones(len(normal)), normal[:, 0], normal[:, 1], outward], axis=1)
    common, x, y, _ = _robust_fit(matrix, asymmetry[good])
    return EdgeAsymmetry(float(common), (float(x), float(y)))


def _asymmetry_by_edge(traces: EdgeTraces) -> NDArray[np.float64]:
    """Mean of E(d) + E(-d) - 1 for each edge; NaN where a distance has no samples."""
    z = traces.across / traces.blur[traces.edge]
    k = np.floor((z / REACH + 1) * _BINS / 2).astype(int)
    inside = (k >= 0) & (k < _BINS)
    key = traces.edge[inside] * _BINS + k[inside]
    shape = (len(traces), _BINS)
    cells = len(traces) * _BINS
    count = np.bincount(key, minlength=cells).reshape(shape)
    level = np.bincount(key, traces.level[inside], cells).reshape(shape) / np.maximum(count, 1)
    return np.where((count > 0).all(axis=1), 2 * level.mean(axis=1) - 1, np.nan)


def _robust_fit(matrix: NDArray, values: NDArray) -> NDArray[np.float64]:
    """Least squares, reweighted under Cauchy's loss so that outlying edges count little."""
    weight = np.ones_like(values)
    for _ in range(_ROUNDS):
        fit = np.linalg.lstsq(matrix * weight[:, None], values * weight, rcond=None)[0]
        residual = values - matrix @ fit
        weight = np.sqrt(cauchy_weight(residual, 2 * robust_sigma(residual, about=0.0) + 1e-9))
    return fit
