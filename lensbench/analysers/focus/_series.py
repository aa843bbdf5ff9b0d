"""The tiles of a rail series, followed from shot to shot: their peaks, and their sharpness at the centre's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.focus._curve import FocusCurves, fit_curves
from lensbench.analysers.focus._rail import Rail, away_sign
from lensbench.findings import NORMAL_95, TileSharpness

RAIL_LEFT = 0.7
"""What of the rail's scatter is left in places along it after it was straightened, as a share ..."""

PEAK_BY_RAIL = 0.12
"""... and how much of that, in depths, gets into a peak's MTF50 as a share."""


class FocusShot(NamedTuple):
    """One shot of a series: its file, the rail's reading, and the sharpness of its tiles in all channels."""

    shot: str
    rail_mm: float
    tiles: Sequence[TileSharpness]


@dataclass(frozen=True, eq=False)
class Series:
    """Tiles by shot, in the order away from the target.

    `away` are the rail's readings with the sign that makes them grow away from the target; `sign` is that sign, 0
    where the shots don't tell (then 1 was taken). Figures have the shape (tiles, directions, shots), by channel.
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

    def curves(
        self, channel: str, tiles: NDArray[np.bool_] | slice = slice(None)
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """MTF50 and sigma of a channel's tiles, a row for each tile and direction: shape (2 tiles, shots)."""
        return tuple(v[channel][tiles].reshape(-1, len(self.shots)) for v in (self.mtf50, self.sigma))

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


@dataclass(frozen=True, eq=False)
class Found:
    """A channel's curves: peaks, and the sharpness with the centre in focus; all of shape (tiles, directions)."""

    best: NDArray[np.float64]
    best_sigma: NDArray[np.float64]
    best_missed: NDArray[np.float64]
    peak: NDArray[np.float64]
    peak_sigma: NDArray[np.float64]
    peak_missed: NDArray[np.float64]
    at_centre: NDArray[np.float64]
    at_centre_sigma: NDArray[np.float64]
    at_centre_common: NDArray[np.float64]
    side: NDArray[np.int64]


def arrange(shots: Sequence[FocusShot]) -> Series:
    """Tiles by shot, in the order away from the target."""
    reading = np.array([shot.rail_mm for shot in shots])
    tiles = sorted({(tile.column, tile.row) for shot in shots for tile in shot.tiles})
    number = {tile: i for i, tile in enumerate(tiles)}
    channels = dict.fromkeys(tile.channel for shot in shots for tile in shot.tiles)
    x, y = np.full((2, len(tiles), len(shots)), np.nan)
    mtf50, sigma = ({name: np.full((len(tiles), 2, len(shots)), np.nan) for name in channels} for _ in range(2))
    for s, shot in enumerate(shots):
        for tile in shot.tiles:
            i = number[tile.column, tile.row]
            x[i, s], y[i, s] = tile.x, tile.y
            for k, figure in enumerate((tile.sagittal, tile.tangential)):
                if figure is not None:
                    mtf50[tile.channel][i, k, s] = figure.value
                    sigma[tile.channel][i, k, s] = figure.half_width / NORMAL_95
    sign = away_sign(reading, x, y)
    away = (sign or 1) * reading
    order = np.argsort(away, kind="stable")
    return Series(
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


def places_of(series: Series, mtf50: NDArray) -> tuple[NDArray, NDArray]:
    """Where the tiles lie in the sharpest shot, or for want of that on average."""
    level = [np.median(part[np.isfinite(part)]) if np.isfinite(part).any() else 0.0 for part in mtf50.T]
    x, y = (places[:, int(np.argmax(level))] for places in (series.x, series.y))
    means = (np.nanmean(places, axis=1) for places in (series.x, series.y))
    return tuple(np.where(np.isfinite(at), at, mean) for at, mean in zip((x, y), means, strict=True))


# -- the centre, and the curves -------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Centre:
    """Best focus of the centre zone, how deep it is, and the curves that gave it."""

    place: float
    sigma: float
    depth: float
    depth_sigma: float
    curves: FocusCurves
    shown: NDArray[np.bool_]

    def loss_percent(self, place: float) -> float:
        """How much softer the centre is at a place than at best."""
        best, there = (self.curves.mtf50(at)[0][self.shown] for at in (self.place, place))
        return float(100 * np.nanmean(1 - there / best))


def find_centre(rail: Rail, series: Series, channel: str, inside: NDArray[np.bool_]) -> Centre | None:
    """The centre's best focus; None where the series doesn't show it."""
    curves = fit_curves(rail.place, *series.curves(channel, inside))
    peaks = curves.peaks()
    shown = peaks.side == 0
    if shown.sum() == 0 or 2 * shown.sum() < np.isfinite(peaks.place).sum():
        return None
    shown &= peaks.sigma <= 3 * np.median(peaks.sigma[shown])
    count = np.sqrt(shown.sum())
    noise = np.sqrt(np.mean(peaks.sigma[shown] ** 2)) / count
    return Centre(
        place=float(peaks.place[shown].mean()),
        sigma=float(np.hypot(noise, np.hypot(peaks.place_missed[shown].mean(), RAIL_LEFT * rail.scatter_mm))),
        depth=float(peaks.depth[shown].mean()),
        depth_sigma=float(peaks.depth[shown].std() / count + peaks.place_missed[shown].mean()),
        curves=curves,
        shown=shown,
    )


def follow(series: Series, channel: str, rail: Rail, centre: Centre) -> Found:
    """Peaks of a channel's tiles, and their sharpness with the centre in focus."""
    data = series.curves(channel)
    curves, near = fit_curves(rail.place, *data), fit_curves(rail.place, *data, about=centre.place)
    peaks = curves.peaks()
    own = curves.covers(centre.place)
    value, sigma, slope = (
        np.where(own, a, np.where(near.covers(centre.place), b, np.nan))
        for a, b in zip(_at(curves, centre.place), _at(near, centre.place), strict=True)
    )
    shown = peaks.side == 0
    left = RAIL_LEFT * rail.scatter_mm
    peak_missed = np.hypot(peaks.mtf50_missed, PEAK_BY_RAIL * left / peaks.depth * peaks.mtf50)

    def table(values: NDArray, known: NDArray = shown) -> NDArray:
        return np.where(known, values, np.nan).reshape(-1, 2)

    everywhere = np.isfinite(value)
    return Found(
        best=table(peaks.place - centre.place),
        best_sigma=table(peaks.sigma),
        best_missed=table(np.hypot(peaks.place_missed, left)),
        peak=table(peaks.mtf50),
        peak_sigma=table(peaks.mtf50_sigma),
        peak_missed=table(peak_missed),
        at_centre=table(value, everywhere),
        at_centre_sigma=table(sigma, everywhere),
        at_centre_common=table(np.hypot(slope * centre.sigma, np.where(shown, peak_missed, 0.0)), everywhere),
        side=peaks.side.reshape(-1, 2),
    )


def _at(curves: FocusCurves, place: float) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50 at a place, its standard deviation, and how it changes along the rail."""
    value, sigma = curves.mtf50(place)
    return value, sigma, -0.5 * value**3 * curves.slope(place)
