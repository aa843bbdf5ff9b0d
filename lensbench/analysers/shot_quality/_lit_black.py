"""Light over the sheet's black in one part of the frame: a lamp mirrored by glass or gloss, or flare."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.analysers.edge import EdgeResponses

FEWEST_EDGES = 60
"""Edges needed, so that the most lit ones aren't one edge's fault (chosen by experience)."""

MOST_LIT = 98.0
"""Percentile of black over white that is held against the median: a patch has several edges."""

LEAST_LIT = 0.06
"""So much more light on black, as a share of white's, counts (clean shots have up to 0.012; study:
`tests/bench/gauntlet`)."""


@dataclass(frozen=True)
class LitBlack:
    """Black that is lit in part of the frame.

    Attributes
    ----------
    usual, most : float
        Black's light over white's at the typical edge and at the most lit ones.
    place : (float, float)
        Where these lie, in pixels.
    """

    usual: float
    most: float
    place: tuple[float, float]


def find_lit_black(responses: EdgeResponses) -> LitBlack | None:
    """Look for edges whose black is far lighter, beside their white, than the others'.

    Parameters
    ----------
    responses : EdgeResponses
        Of a target's edges in one channel.

    Returns
    -------
    LitBlack or None
        None where all black is about alike, or there are too few edges.
    """
    good = responses.measured
    if good.sum() < FEWEST_EDGES:
        return None
    share = responses.dark[good] / responses.white[good]
    usual, most = (float(v) for v in np.percentile(share, [50.0, MOST_LIT]))
    if most - usual < LEAST_LIT:
        return None
    lit = share >= most
    place = float(np.median(responses.x[good][lit])), float(np.median(responses.y[good][lit]))
    return LitBlack(usual, most, place)
