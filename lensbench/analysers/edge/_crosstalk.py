"""Light that reaches the samples of one edge of a dark figure because the figure has other edges.

An edge is measured as if it went on for ever. It doesn't: it ends where the figure's other edges begin, and these
let light in besides. That fades fast for a compact blur and slowly where blur has long tails, and is reckoned from
the profiles of those very edges, from their bright sides, where nothing else lets light in.
Tails reach from figure to figure, too: what the figures around keep from the samples is added back.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _crosstalk_loops as loops
from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._crosstalk_cells import CELLS_ACROSS, CELLS_ALONG, Cells
from lensbench.analysers.edge._far_light import kept_by_figures
from lensbench.analysers.edge._model import EdgeModel
from lensbench.analysers.edge._places import OTHER_SIDES, EdgePlaces

LEAST = 5e-4
"""Crosstalk that is too little to matter, as a share of the contrast."""

MOST_FAR_LIGHT = 0.5
"""More than this share of the contrast, one blur width out, is no lens's tail light but noise."""

MOST_STEEP = 12.0
"""The highest power of the distance that light is held to fade with."""


class Crosstalk:
    """How light comes over the other edges of each figure, and round the ends of its own.

    Parameters
    ----------
    places : EdgePlaces
        The edges; whole figures.
    margin : ndarray, shape (n,)
        How far the samples stay from the other edges, in pixels.
    usable : ndarray of bool, shape (n,)
        Whose fit can be trusted; an edge's profile stands in for another of its figure that can't.
    """

    def __init__(self, places: EdgePlaces, margin: NDArray, usable: NDArray):
        self.places, self.margin, self.usable = places, margin, usable
        where = {(g, s): i for i, (g, s) in enumerate(zip(places.group, places.side, strict=True))}
        self.others = np.repeat(np.arange(len(places))[:, None], 2, axis=1)
        for i in np.flatnonzero(places.side >= 0):
            self.others[i] = [where[places.group[i], side] for side in OTHER_SIDES[places.side[i]]]
        own = np.arange(len(places))[:, None]
        self.profiles = np.where(usable[self.others], self.others, own)
        self._kept = np.full((len(places), CELLS_ACROSS, CELLS_ALONG), np.nan)

    def onto(self, model: EdgeModel, cells: Cells) -> NDArray[np.float64]:
        """The crosstalk in each cell, in shares of the contrast, shape (n, CELLS_ACROSS, CELLS_ALONG).

        Parameters
        ----------
        model : EdgeModel
            Lines and profiles as they stand.
        cells : Cells
            Where their samples lie.
        """
        cell, t, u = cells.held, cells.t, cells.u
        owner = cell // (CELLS_ACROSS * CELLS_ALONG)
        missing, stretch = _fading(model)
        leaky = self._leaky(missing)[owner]
        cell, owner, t, u = cell[leaky], owner[leaky], t[leaky], u[leaky]
        own = np.stack([model.line[:, 0], self.places.half_length, self._far_light(model)], axis=1)
        light = np.zeros(self._kept.shape)
        light.ravel()[cell] = loops.crosstalk(
            owner,
            t,
            u,
            self._kept_by_others(cell, owner, t, u),
            own,
            self.others,
            self._seen_from(model),
            self.profiles,
            missing,
            stretch,
            profile.GRID,
        )
        return light

    def _far_light(self, model: EdgeModel) -> NDArray:
        """The a of the a/u that an endless edge's light lacks to its plateau, in px: each figure's mean."""
        dark, white = model.plateaus()
        share = model.coefficients @ profile.fading_row() / np.where(white > dark, white - dark, 1.0)
        own = np.where(self.usable, np.clip(share, 0, MOST_FAR_LIGHT * model.blur), 0.0)
        known = 1e-9 + self.usable
        return (own + own[self.others].sum(axis=1)) / (known + known[self.others].sum(axis=1))

    def _kept_by_others(self, cell: NDArray, owner: NDArray, t: NDArray, u: NDArray) -> NDArray:
        """What the figures around keep from cells at (t, u) of their edges, over the tail light's a in pixels."""
        # Lines move by a small part of a cell from turn to turn: once is enough.
        kept = self._kept.ravel()
        new = np.isnan(kept.take(cell))
        if new.any():
            t, u, whose, places = t[new, None], u[new, None], owner[new], self.places
            at = places.middle[whose] + t * places.along[whose] + u * places.normal[whose]
            kept[cell[new]] = kept_by_figures(places.around, whose, at)
        return kept.take(cell)

    def _leaky(self, missing: NDArray) -> NDArray[np.bool_]:
        """Edges that are one of a figure whose other edges let in enough, at the margin, to matter."""
        place = np.clip((profile.to_cell(self.margin) * profile.FINE).astype(int), 0, profile.BINS - 1)
        return (self.places.side >= 0) & (missing[self.profiles, place[:, None]] > LEAST).any(axis=1)

    def _seen_from(self, model: EdgeModel) -> NDArray:
        """Distance beyond each of the others and along it, shape (n, 2, 2, 3): at the middle, by t, by u."""
        places = self.places
        offset = np.where(self.usable, model.line[:, 0], 0.0)
        slope = np.where(self.usable, model.line[:, 1] / model.segments.half, 0.0)[:, None]
        normal = (places.normal - slope * places.along) / np.sqrt(1 + slope**2)
        along = (places.along + slope * places.normal) / np.sqrt(1 + slope**2)
        through = places.middle + offset[:, None] * places.normal
        lean = through + np.where(self.usable, model.segments.middle, 0.0)[:, None] * places.along
        away = places.middle[:, None] - lean[self.others], places.middle[:, None] - through[self.others]
        ways = normal[self.others], along[self.others]
        return np.stack(
            [
                np.stack(
                    [np.einsum("nkc,nkc->nk", way, start)]
                    + [np.einsum("nkc,nc->nk", way, own) for own in (places.along, places.normal)],
                    axis=2,
                )
                for way, start in zip(ways, away, strict=True)
            ],
            axis=2,
        )


def _fading(model: EdgeModel) -> tuple[NDArray, NDArray]:
    """What each edge's light lacks to white by bin, as a share of the contrast, and how steeply that fades.

    A finite edge's share of an endless one's light hangs on how light fades with the distance d: as 1/d far out,
    where `subtended` holds; as d to the power -m, Student's distribution of m + 1 degrees of freedom would. Edges
    made longer by what that is steeper in the middle are as good.

    Returns
    -------
    missing, stretch : ndarray, shape (n, BINS)
    """
    dark, white = model.plateaus()
    contrast = np.where(white > dark, white - dark, 1.0)[:, None]
    missing = np.clip((white[:, None] - profile.levels(model.coefficients)) / contrast, 0, 1)
    z = profile.bin_places()
    slope = profile.rises(model.coefficients) * profile.cells_a_distance(z) / contrast
    freedom = 1 + np.clip(z * slope / np.maximum(missing, LEAST), 1, MOST_STEEP)
    return missing, np.sqrt(2 * freedom / np.pi) * (1 - 1 / (4 * freedom))
