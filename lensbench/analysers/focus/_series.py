"""A series of shots along a rail: the sharpness of its tiles by shot, in the order away from the target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, TileSharpness

SIGNIFICANT_SCALE = 4.0
"""The picture's scale shows the rail's direction where it changes by more than so many standard deviations (chosen
by experience)."""


class FocusShot(NamedTuple):
    """One shot of a series: its file, the rail's reading, and the sharpness of its tiles in all channels."""

    shot: str
    rail_mm: float
    tiles: Sequence[TileSharpness]


@dataclass(frozen=True, eq=False)
class Series:
    """Tiles by shot, in the order away from the target.

    Attributes
    ----------
    sign : int
        1 where larger readings are farther from the target, -1 where nearer, 0 where the shots don't show it (1
        was assumed).
    shots : list of str
        File names.
    reading : ndarray, shape (shots,)
        The rail's readings.
    away : ndarray, shape (shots,)
        The same with the sign that makes them rise away from the target.
    column, row : ndarray of int, shape (tiles,)
        Lattice indices.
    x, y : ndarray, shape (tiles, shots)
        Positions in pixels; NaN where a shot doesn't show a tile.
    mtf50, sigma : dict of ndarray, shape (tiles, directions, shots)
        By channel, NaN where unknown.
    """

    sign: int
    shots: list[str]
    reading: NDArray[np.float64]
    away: NDArray[np.float64]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    mtf50: dict[str, NDArray[np.float64]]
    sigma: dict[str, NDArray[np.float64]]

    @classmethod
    def of(cls, shots: Sequence[FocusShot]) -> Series:
        """From shots in any order."""
        reading = np.array([shot.rail_mm for shot in shots])
        tiles = sorted({(tile.column, tile.row) for shot in shots for tile in shot.tiles})
        number = {tile: i for i, tile in enumerate(tiles)}
        channels = dict.fromkeys(tile.channel for shot in shots for tile in shot.tiles)
        x, y = np.full((2, len(tiles), len(shots)), np.nan)
        mtf50, sigma = (
            {name: np.full((len(tiles), 2, len(shots)), np.nan) for name in channels} for _ in range(2)
        )
        for s, shot in enumerate(shots):
            for tile in shot.tiles:
                i = number[tile.column, tile.row]
                x[i, s], y[i, s] = tile.x, tile.y
                for k, figure in enumerate((tile.sagittal, tile.tangential)):
                    if figure is not None:
                        mtf50[tile.channel][i, k, s] = figure.value
                        sigma[tile.channel][i, k, s] = figure.half_width / NORMAL_95
        sign = _away_sign(reading, x, y)
        away = (sign or 1) * reading
        order = np.argsort(away, kind="stable")
        return cls(
            sign=sign,
            shots=[shots[s].shot for s in order],
            reading=reading[order],
            away=away[order],
            column=np.array([column for column, _ in tiles]),
            row=np.array([row for _, row in tiles]),
            x=x[:, order],
            y=y[:, order],
            mtf50={name: values[..., order] for name, values in mtf50.items()},
            sigma={name: values[..., order] for name, values in sigma.items()},
        )

    def curves(
        self, channel: str, tiles: NDArray[np.bool_] | slice = slice(None)
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """MTF50 and sigma of a channel's tiles, a row for each tile and direction: shape (2 tiles, shots)."""
        shots = len(self.shots)
        return self.mtf50[channel][tiles].reshape(-1, shots), self.sigma[channel][tiles].reshape(-1, shots)

    def without(self, shot: int) -> Series:
        """The series without one of its shots."""
        kept = np.delete(np.arange(len(self.shots)), shot)
        return replace(
            self,
            shots=[self.shots[s] for s in kept],
            reading=self.reading[kept],
            away=self.away[kept],
            x=self.x[:, kept],
            y=self.y[:, kept],
            mtf50={name: values[..., kept] for name, values in self.mtf50.items()},
            sigma={name: values[..., kept] for name, values in self.sigma.items()},
        )

    def positions(self, channel: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """X and y of the tiles in the shot that is sharpest in a channel, or where it lacks them their means."""
        by_shot = self.mtf50[channel].T
        level = [np.median(part[np.isfinite(part)]) if np.isfinite(part).any() else 0.0 for part in by_shot]
        sharpest = int(np.argmax(level))
        x, y = (
            np.where(np.isfinite(part[:, sharpest]), part[:, sharpest], np.nanmean(part, axis=1))
            for part in (self.x, self.y)
        )
        return x, y


def _away_sign(reading: NDArray, x: NDArray, y: NDArray) -> int:
    """1 where larger readings are farther from the target, -1 where nearer, 0 where the scale can't tell.

    The farther the target, the smaller it is drawn. Readings have shape (shots,), positions (tiles, shots).
    """
    everywhere = np.isfinite(x).all(axis=1)
    if everywhere.sum() < 3:
        return 0
    x, y = x[everywhere], y[everywhere]
    radius = np.hypot(x - np.median(x, axis=0), y - np.median(y, axis=0))
    mean = radius.mean(axis=1, keepdims=True)
    outer = mean[:, 0] >= np.median(mean)
    scale = np.median(radius[outer] / mean[outer], axis=0)
    along = reading - reading.mean()
    slope = np.sum(along * scale) / np.sum(along**2)
    residual = scale - scale.mean() - slope * along
    sigma = np.sqrt(np.sum(residual**2) / max(len(reading) - 2, 1) / np.sum(along**2))
    return 0 if abs(slope) < SIGNIFICANT_SCALE * sigma else int(-np.sign(slope))
