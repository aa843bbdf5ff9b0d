"""Light that reaches the samples of one edge of a dark figure over its other edges.

An edge is measured as if it went on for ever. The figure's other edges let light in besides: that beyond them,
blurred, less what was counted twice where two of them meet. It fades far from the corners, fast for a compact blur
and slowly where blur has long tails, and is reckoned from the profiles of those very edges.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers import edge_profile as profile
from lensbench.analysers.edge_fit import EdgeFit
from lensbench.analysers.edge_places import EdgePlaces
from lensbench.analysers.edge_samples import EdgeSamples

LEAST = 5e-4
"""Spill that is too little to matter, as a share of the contrast."""

_OTHERS = np.array([[1, 2], [0, 2], [0, 1]])


class Spill:
    """How light spills over the other edges of each figure.

    Parameters
    ----------
    places : EdgePlaces
        The edges; whole figures.
    margin : ndarray, shape (n,)
        How far the samples stay from the other edges, in pixels.
    usable : ndarray of bool, shape (n,)
        Whose fit can be trusted; an edge stands in for another of its figure that can't.
    """

    def __init__(self, places: EdgePlaces, margin: NDArray, usable: NDArray):
        self.places, self.margin = places, margin
        own = np.arange(len(places))
        partner = np.repeat(own[:, None], 2, axis=1)
        where = {(g, s): i for i, (g, s) in enumerate(zip(places.group, places.side, strict=True)) if usable[i]}
        for i in np.flatnonzero(places.side >= 0):
            sides = _OTHERS[places.side[i]]
            partner[i] = [where.get((places.group[i], side), i) for side in sides]
        self.partner = partner
        self.known = partner != own[:, None]

    def onto(self, samples: EdgeSamples, fit: EdgeFit) -> NDArray[np.float32]:
        """The spill in each sample, in shares of the contrast.

        Parameters
        ----------
        samples : EdgeSamples
        fit : EdgeFit
            Lines and profiles as they stand.
        """
        result = np.zeros(len(samples.edge), dtype=np.float32)
        levels = _levels(fit)
        leaky = self._leaky(levels, fit)
        chosen = np.flatnonzero(leaky[samples.edge])
        if len(chosen) == 0:
            return result
        part = samples.keep(chosen)
        zero, by_t, by_u, facing = self._distances(fit)
        shares = []
        for k in (0, 1):
            d = _along(zero[:, k], by_t[:, k], by_u[:, k], part)
            shares.append(_looked_up(levels, fit.blur, self.partner[:, k], d, part.edge))
        own = _looked_up(
            levels,
            fit.blur,
            np.arange(fit.n),
            part.u - fit.line[:, 0].astype(np.float32).take(part.edge),
            part.edge,
        )
        one, two = shares
        meet = [(1 + facing[:, k]).astype(np.float32).take(part.edge) for k in range(3)]
        result[chosen] = one + two - own * (one * meet[0] + two * meet[1]) - one * two * meet[2]
        return result

    def _leaky(self, levels: NDArray, fit: EdgeFit) -> NDArray[np.bool_]:
        """Edges that are one of a figure whose other edges let in enough, at the margin, to matter."""
        at = np.stack([-self.margin / fit.blur[self.partner[:, k]] for k in (0, 1)], axis=1)
        place = np.clip((profile.to_cell(at) * profile.FINE).astype(int), 0, profile.BINS - 1)
        return (self.places.side >= 0) & (levels[self.partner, place] > LEAST).any(axis=1)

    def _distances(self, fit: EdgeFit) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        """Distance beyond each of the others: at the middle, by t, by u; and how much normals face alike."""
        places = self.places
        slope = (fit.line[:, 1] / fit.half)[:, None]
        normals = (places.normal - slope * places.along) / np.sqrt(1 + slope**2)
        through = places.middle + fit.middle[:, None] * places.along + fit.line[:, :1] * places.normal
        outward = -places.walls[..., :2]
        constant = -places.walls[..., 2]
        other = normals[self.partner]
        outward = np.where(self.known[..., None], other, outward)
        constant = np.where(self.known, -np.einsum("nkc,nkc->nk", other, through[self.partner]), constant)
        zero = np.einsum("nkc,nc->nk", outward, places.middle) + constant
        by_t = np.einsum("nkc,nc->nk", outward, places.along)
        by_u = np.einsum("nkc,nc->nk", outward, places.normal)
        facing = np.concatenate([by_u, np.einsum("nc,nc->n", outward[:, 0], outward[:, 1])[:, None]], axis=1)
        return zero, by_t, by_u, facing


def _levels(fit: EdgeFit) -> NDArray:
    """White share by bin, from 0 far on the dark side to 1 far on the bright, shape (n, BINS)."""
    dark, white = fit.plateaus()
    contrast = np.where(white > dark, white - dark, 1.0)[:, None]
    return np.clip((fit.coefficients @ profile.bin_tables()[0].T - dark[:, None]) / contrast, 0, 1)


def _along(zero: NDArray, by_t: NDArray, by_u: NDArray, samples: EdgeSamples) -> NDArray:
    zero, by_t, by_u = (a.astype(np.float32).take(samples.edge) for a in (zero, by_t, by_u))
    return zero + by_t * samples.t + by_u * samples.u


def _looked_up(levels: NDArray, blur: NDArray, which: NDArray, d: NDArray, edge: NDArray) -> NDArray:
    """White share of edge `which` (of the samples' own) at distances beyond it."""
    source = which.astype(np.int32).take(edge)
    cell = profile.to_cell(d / blur.astype(np.float32).take(source))
    place = np.clip((cell * np.float32(profile.FINE)).astype(np.int32), 0, profile.BINS - 1)
    return levels.astype(np.float32).ravel().take(source * np.int32(profile.BINS) + place)
