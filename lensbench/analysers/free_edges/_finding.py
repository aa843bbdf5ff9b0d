"""Clean straight edges anywhere in a shot: a blade or a foil before a light, no sheet needed.

On a smaller picture of the shot, the line along which the light is half-way between the brightest and the darkest
around is followed, cut where it turns a corner, and long parts are divided, since sharpness changes over the
frame. A part is kept where its line is smooth and both sides are even as far out as a profile needs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.free_edges._judging import CleanPart, RefusedLine, judged
from lensbench.analysers.free_edges._lines import lines_of, parts_of
from lensbench.analysers.free_edges._picture import smaller_picture
from lensbench.frame import half_diagonal
from lensbench.shot import Shot

LONGEST = 1 / 12
"""Length of the longest part in half-diagonals of the frame; longer ones are divided."""

LONGEST_AT_LEAST_PX = 140.0
"""Parts shorter than this are never divided."""


@dataclass(frozen=True, eq=False)
class StraightEdges:
    """Clean straight edges found in a shot, from the top left on.

    Attributes
    ----------
    ends_px : ndarray, shape (n, 2, 2)
        Both ends (x, y) of each, to ±1 px.
    towards_bright : ndarray, shape (n, 2)
        Unit vector across each.
    reach_px : ndarray, shape (n, 2)
        How far the dark and the bright side stay even.
    refused : tuple of RefusedLine
        What looked like an edge at first.
    """

    ends_px: NDArray[np.float64]
    towards_bright: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    refused: tuple[RefusedLine, ...]

    def __len__(self) -> int:
        return len(self.ends_px)


def find_straight_edges(shot: Shot) -> StraightEdges:
    """Find every clean straight edge of a shot in its reference channel.

    Parameters
    ----------
    shot : Shot
        Any shot.

    Returns
    -------
    StraightEdges
        None of them, with the reasons in `refused`, where the shot has no clean edge.
    """
    picture = smaller_picture(shot)
    longest = max(LONGEST * half_diagonal(shot.size), LONGEST_AT_LEAST_PX) / picture.block
    parts = [judged(picture, part, line) for line in lines_of(picture) for part in parts_of(line, longest)]
    kept = sorted((one for one in parts if isinstance(one, CleanPart)), key=_reading_order)
    refused = tuple(one for one in parts if isinstance(one, RefusedLine))
    return StraightEdges(
        ends_px=np.array([one.ends_px for one in kept], float).reshape(-1, 2, 2),
        towards_bright=np.array([one.towards_bright for one in kept], float).reshape(-1, 2),
        reach_px=np.array([one.reach_px for one in kept], float).reshape(-1, 2),
        refused=refused,
    )


def _reading_order(edge: CleanPart) -> tuple[float, float]:
    """By lines of a hundred pixels from the top, in these from the left."""
    x, y = edge.ends_px.mean(axis=0)
    return round(y, -2), x
