"""The raw samples close to measured edges, by how far they lie from each edge's own line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge._places import EdgePlaces
from lensbench.analysers.edge._responses import EdgeResponses
from lensbench.analysers.edge._samples import gather
from lensbench.even_choice import evenly_chosen
from lensbench.optics import gaussian_mtf50
from lensbench.shot import Shot

REACH = 4.0
"""How far the samples go to each side, in blur widths."""

MOST_EDGES = 240
"""Edges looked at: enough to tell, spread evenly over those measured."""


@dataclass(frozen=True, eq=False)
class EdgeTraces:
    """Samples beside n measured edges of one channel; the first four arrays have shape (samples,).

    Attributes
    ----------
    edge : ndarray of int
        Which of the n edges a sample belongs to.
    across, along : ndarray
        Distance from the edge's bent line, positive towards bright, and along it from its middle, in pixels.
    level : ndarray
        Light, 0 on the dark plateau and 1 on the bright one.
    blur : ndarray, shape (n,)
        Standard deviation in pixels of the Gaussian blur of the same MTF50.
    normal : ndarray, shape (n, 2)
        Towards the bright side.
    place : ndarray, shape (n, 2)
        The edges' middles in pixels.
    half_length : ndarray, shape (n,)
        Of the part looked at, in pixels.
    """

    edge: NDArray[np.int64]
    across: NDArray[np.float64]
    along: NDArray[np.float64]
    level: NDArray[np.float64]
    blur: NDArray[np.float64]
    normal: NDArray[np.float64]
    place: NDArray[np.float64]
    half_length: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.blur)


def trace_edges(shot: Shot, channel: str, places: EdgePlaces, responses: EdgeResponses) -> EdgeTraces:
    """Take the samples beside measured edges where they lie.

    Parameters
    ----------
    shot : Shot
        The frame.
    channel : str
        One of its channels.
    places : EdgePlaces
        The nominal places that were measured.
    responses : EdgeResponses
        What was measured there in the channel.
    """
    good = np.flatnonzero(responses.measured)
    good = good[evenly_chosen(len(good), MOST_EDGES)]
    chosen, seen = places.take(good), responses.take(good)
    blur = gaussian_mtf50(1.0) / seen.mtf50
    reach = REACH * blur
    room = 2 + np.abs(seen.offset_px) + np.abs(seen.curvature_px)
    samples = gather(shot, channel, chosen, reach + room, reach)
    edge = samples.edge
    middle = np.stack([seen.x, seen.y], axis=-1)
    away = (
        chosen.middle[edge]
        + samples.t[:, None] * chosen.along[edge]
        + samples.u[:, None] * chosen.normal[edge]
        - middle[edge]
    )
    normal = seen.normal
    along = away[:, 0] * normal[edge, 1] - away[:, 1] * normal[edge, 0]
    half = seen.length_px / 2
    across = np.einsum("nc,nc->n", away, normal[edge]) - seen.curvature_px[edge] * (along / half[edge]) ** 2
    near = (np.abs(across) < reach[edge]) & (np.abs(along) < half[edge])
    level = (samples.light - seen.dark[edge]) / (seen.white - seen.dark)[edge]
    return EdgeTraces(edge[near], across[near], along[near], level[near], blur, normal, middle, half)
