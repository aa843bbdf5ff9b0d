"""Lopsided edges: what a tone curve makes of all edges alike, and what coma makes of edges that face one way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeTraces
from lensbench.frame import centre_of, half_diagonal

REACH = 2.5
"""How far out the two sides of an edge are held against each other, in blur widths."""

FEWEST_EDGES = 20

_BINS = 20
_TURNS = 8


@dataclass(frozen=True)
class LopsidedEdges:
    """How much lighter edges are, over both sides, than edges with the point symmetry of even blur.

    All are means of E(d) + E(-d) - 1, d being the distance from where the edge's profile E crosses half.

    Attributes
    ----------
    alike : float
        What all edges have in common, whichever way they face: a lens can't do that, since blur that flares one
        way makes edges facing it lighter and those facing away darker. A tone curve can.
    one_way : (float, float)
        What edges have that face x (right) or y (down): light flares that way alike over the whole frame.
    """

    alike: float
    one_way: tuple[float, float]


def find_lopsided_edges(traces: EdgeTraces, size: tuple[int, int]) -> LopsidedEdges | None:
    """Split the lopsidedness of edges into what all share, what lies one way, and what is radial (coma).

    Parameters
    ----------
    traces : EdgeTraces
        Of edges that face all ways.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    LopsidedEdges or None
        None where there are too few edges.
    """
    lighter = _lighter(traces)
    good = np.isfinite(lighter)
    if good.sum() < FEWEST_EDGES:
        return None
    normal = traces.normal[good]
    outward = ((traces.place[good] - centre_of(size)) / half_diagonal(size) * normal).sum(axis=1)
    matrix = np.stack([np.ones(len(normal)), normal[:, 0], normal[:, 1], outward], axis=1)
    alike, x, y, _ = _steady_fit(matrix, lighter[good])
    return LopsidedEdges(float(alike), (float(x), float(y)))


def _lighter(traces: EdgeTraces) -> NDArray[np.float64]:
    """Mean of E(d) + E(-d) - 1 for each edge; NaN where a distance has no samples."""
    z = traces.across / traces.blur[traces.edge]
    k = np.floor((z / REACH + 1) * _BINS / 2).astype(int)
    inside = (k >= 0) & (k < _BINS)
    key = traces.edge[inside] * _BINS + k[inside]
    shape = (len(traces), _BINS)
    count = np.bincount(key, minlength=np.prod(shape)).reshape(shape)
    level = np.bincount(key, traces.level[inside], np.prod(shape)).reshape(shape) / np.maximum(count, 1)
    return np.where((count > 0).all(axis=1), 2 * level.mean(axis=1) - 1, np.nan)


def _steady_fit(matrix: NDArray, wanted: NDArray) -> NDArray[np.float64]:
    """Least squares that odd edges don't pull."""
    weight = np.ones_like(wanted)
    for _ in range(_TURNS):
        fit = np.linalg.lstsq(matrix * weight[:, None], wanted * weight, rcond=None)[0]
        rest = np.abs(wanted - matrix @ fit)
        weight = 1 / np.sqrt(1 + (rest / (2 * 1.4826 * np.median(rest) + 1e-9)) ** 2)
    return fit
