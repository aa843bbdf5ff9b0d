"""Which marks of two flats are the same: those that stayed, and those that turned or moved together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import Mark
from lensbench.frame import centre_of

SLACK_PX, SLACK_WIDTHS = 3.0, 0.2
"""How far apart two sightings of a mark may lie, besides what its width leaves open."""

WIDTH_RATIO, DEPTH_RATIO = 1.8, 2.0
"""How much a mark's width and depth may differ between two flats taken alike."""


class Move(NamedTuple):
    """How marks go from flat to flat: turned anticlockwise as seen about the frame's centre, then shifted."""

    turn_deg: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)

    def of(self, places: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
        """Where places (x, y in pixels, y down), shape (..., 2), go."""
        centre = np.array(centre_of(size))
        cos, sin = np.cos(np.radians(self.turn_deg)), np.sin(np.radians(self.turn_deg))
        x, y = np.moveaxis(np.asarray(places, float) - centre, -1, 0)
        return np.stack([x * cos + y * sin, y * cos - x * sin], axis=-1) + centre + self.shift


STAYS = Move()


def pair_marks(
    first: Sequence[Mark], second: Sequence[Mark], size: tuple[int, int], move: Move = STAYS, alike: bool = True
) -> dict[int, int]:
    """Pair the marks of two flats that lie at the same place, each with the nearest.

    Parameters
    ----------
    first, second : sequence of Mark
        The marks of the two flats.
    size : (int, int)
        Width and height of the frame in pixels.
    move : Move
        Where the first flat's marks are expected in the second.
    alike : bool
        Whether the flats were taken at one aperture, so that widths and depths must agree, too.

    Returns
    -------
    dict of int to int
        Numbers in `first` to numbers in `second`.
    """
    if not first or not second:
        return {}
    apart = _apart(first, second, size, move) / _slack(first, second)
    apart[~_may_be_same(first, second, alike)] = np.inf
    pairs: dict[int, int] = {}
    for i, j in zip(*np.unravel_index(np.argsort(apart, axis=None), apart.shape), strict=True):
        if apart[i, j] > 1:
            break
        if i not in pairs and j not in pairs.values():
            pairs[int(i)] = int(j)
    return pairs


def common_move(
    first: Sequence[Mark], second: Sequence[Mark], size: tuple[int, int], turn_deg: float, reach_px: float
) -> Move:
    """The move by a known turn and an unknown shift that brings the most marks onto others.

    Parameters
    ----------
    first, second : sequence of Mark
        The marks of two flats taken alike.
    size : (int, int)
        Width and height of the frame in pixels.
    turn_deg : float
        The turn, anticlockwise as seen.
    reach_px : float
        How long the shift can be; of several that do as well the shortest is taken.
    """
    if not first or not second:
        return Move(turn_deg)
    places, goals = _places(first), _places(second)
    shifts = goals[None] - Move(turn_deg).of(places, size)[:, None]
    slack = _slack(first, second)
    possible = _may_be_same(first, second, True) & (np.hypot(*np.moveaxis(shifts, -1, 0)) <= reach_px)
    best, most = Move(turn_deg), (0, 0.0)
    for shift in shifts[possible]:
        near = possible & (np.hypot(*np.moveaxis(shifts - shift, -1, 0)) <= slack)
        score = int(near.any(axis=1).sum()), -float(np.hypot(*shift))
        if score > most:
            best, most = Move(turn_deg, (float(shift[0]), float(shift[1]))), score
    return best


def _places(marks: Sequence[Mark]) -> NDArray[np.float64]:
    return np.array([(mark.x, mark.y) for mark in marks])


def _slack(first: Sequence[Mark], second: Sequence[Mark]) -> NDArray[np.float64]:
    """How far apart each two marks may lie and still be one, shape (first, second)."""
    widths = [np.array([mark.width_px.value for mark in marks]) for marks in (first, second)]
    return SLACK_PX + SLACK_WIDTHS * np.maximum(widths[0][:, None], widths[1])


def _may_be_same(first: Sequence[Mark], second: Sequence[Mark], alike: bool) -> NDArray[np.bool_]:
    """Which marks can be one by what they look like, shape (first, second)."""
    depths = [np.array([mark.depth_percent.value for mark in marks]) for marks in (first, second)]
    same = np.sign(depths[0])[:, None] == np.sign(depths[1])
    if not alike:
        return same
    widths = [np.array([mark.width_px.value for mark in marks]) for marks in (first, second)]
    for (one, other), most in ((depths, DEPTH_RATIO), (widths, WIDTH_RATIO)):
        same &= np.abs(np.log(np.abs(one[:, None] / other))) < np.log(most)
    return same


def _apart(
    first: Sequence[Mark], second: Sequence[Mark], size: tuple[int, int], move: Move
) -> NDArray[np.float64]:
    """How far the marks lie apart; fibres, whose ends and so middles are unsure, across their paths."""
    moved = move.of(_places(first), size)
    apart = np.hypot(*np.moveaxis(moved[:, None] - _places(second), -1, 0))
    goals = [(j, np.array(other.path)) for j, other in enumerate(second) if other.path]
    for i, one in enumerate(first):
        if not one.path:
            continue
        path = move.of(np.array(one.path), size)[:, None]
        for j, goal in goals:
            away = np.hypot(*np.moveaxis(path - goal, -1, 0))
            # The shorter of the two must lie on the other for the most part.
            apart[i, j] = min(np.median(away.min(axis=0)), np.median(away.min(axis=1)), apart[i, j])
    return apart
