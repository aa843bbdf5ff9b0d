"""How much of the full scale a shot's white takes, and how far that is from what a bench shot should have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lensbench.shot import Shot

GOOD_WHITE = 0.75
"""How much of the full scale the white of a target or an even light should take: half a stop below clipping."""

DARK_WHITE = 0.12
"""Less white than this share of the full scale is worth a warning."""

_CLIPPED = 0.001
"""A larger share of a channel's samples than this clips where white does; hot pixels and glints are fewer (chosen
by experience)."""

_STEP = 7
"""Rows looked at are so many of a channel's apart: odd, so that no pattern of the sheet's falls in with them."""

_BLOCK = 16
"""Samples of a row that are averaged, so that noise isn't taken for light."""

_WHITE_PERCENTILE = 95.0
"""Of the averages: on a target half of the frame is white, and glints take less than a twentieth."""


@dataclass(frozen=True)
class ExposureLevel:
    """How a shot was exposed, in the channel that has most of its full scale.

    Attributes
    ----------
    channel : str
    white_share : float
        The brightest twentieth's light over the channel's full scale.
    clipped_share : float
        Share of its samples that are clipped.
    """

    channel: str
    white_share: float
    clipped_share: float

    @property
    def clipped(self) -> bool:
        """Whether white clips, so that nobody can say how much too bright it is."""
        return self.clipped_share > _CLIPPED

    @property
    def dark(self) -> bool:
        """Whether figures are much noisier than they need be."""
        return self.white_share < DARK_WHITE

    @property
    def stops_more(self) -> float:
        """Stops by which to expose more (negative: less), so that white comes to `GOOD_WHITE`."""
        return float(np.log2(GOOD_WHITE / max(self.white_share, 1e-4)))


def measure_exposure(shot: Shot) -> ExposureLevel:
    """How much of the full scale a shot's white takes, in the channel that comes nearest to clipping.

    Parameters
    ----------
    shot : Shot
        Of a target or an even light.

    Returns
    -------
    ExposureLevel
    """
    return max((_level(shot, channel) for channel in shot.channels), key=lambda level: level.white_share)


def _level(shot: Shot, channel: str) -> ExposureLevel:
    averages, clipped, taken = [], 0, 0
    for part in shot.sublattices(channel):
        rows = part.samples[::_STEP]
        clipped += int((rows >= shot.white).sum())
        taken += rows.size
        block = min(_BLOCK, rows.shape[1])
        blocks = rows[:, : rows.shape[1] // block * block].reshape(len(rows), -1, block)
        averages.append(shot.light(blocks.mean(axis=2), part.colour_index).ravel())
    white = float(np.percentile(np.concatenate(averages), _WHITE_PERCENTILE))
    return ExposureLevel(channel, max(white, 0.0) / shot.full_scale(channel), clipped / max(taken, 1))
