"""The table of a rail series by zone: means over tiles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.focus._peaks import Centre, TilePeaks
from lensbench.analysers.focus._rail_positions import Rail
from lensbench.findings import COMMON_RELATIVE_SIGMA, DIRECTIONS, Figure, FocusZone

MOST = 0.75
"""A zone has a best focus where so many of its tiles have theirs; the mean over fewer would be biased."""


@dataclass(frozen=True)
class _Mean:
    """A mean over tiles, its standard deviation by noise, and that by errors that the tiles have in common."""

    value: float
    noise_sigma: float
    common_sigma: float
    tiles: int

    @classmethod
    def of(cls, value: NDArray, sigma: NDArray, common: NDArray) -> _Mean:
        known = np.isfinite(value)
        tiles = int(known.sum())
        if tiles == 0:
            return cls(np.nan, np.nan, np.nan, 0)
        noise = np.sqrt(np.sum(sigma[known] ** 2)) / tiles
        return cls(float(value[known].mean()), float(noise), float(common[known].mean()), tiles)

    def and_of(self, other: _Mean) -> _Mean:
        """The mean of two directions; unknown where one of them is."""
        return _Mean(
            (self.value + other.value) / 2,
            float(np.hypot(self.noise_sigma, other.noise_sigma) / 2),
            (self.common_sigma + other.common_sigma) / 2,
            self.tiles + other.tiles if self.tiles and other.tiles else 0,
        )

    def with_relative(self, sigma: float) -> _Mean:
        """The same with a relative error more."""
        return replace(self, common_sigma=float(np.hypot(self.common_sigma, sigma * self.value)))

    def figure(self, unit: str) -> Figure | None:
        sigma = float(np.hypot(self.noise_sigma, self.common_sigma))
        return Figure.if_known(self.value, sigma, unit) if self.tiles else None


@dataclass(frozen=True)
class _ZoneMeans:
    """A zone's means in one direction: best focus, sharpness there, sharpness with the centre in focus."""

    best: _Mean
    peak: _Mean
    at_centre: _Mean

    def and_of(self, other: _ZoneMeans) -> _ZoneMeans:
        return _ZoneMeans(
            self.best.and_of(other.best), self.peak.and_of(other.peak), self.at_centre.and_of(other.at_centre)
        )


def zone_rows(
    peaks: Mapping[str, TilePeaks], zone: NDArray, rail: Rail, centre: Centre, pitch_um: float | None
) -> list[FocusZone]:
    """A row for each zone, direction (and their mean) and channel.

    Noise averages out over tiles; what they have in common (the model's error, the rail, the error of the centre's
    own position) does not.

    Parameters
    ----------
    peaks : mapping of str to TilePeaks
        By channel.
    zone : ndarray of int, shape (tiles,)
        The zone of each tile, an index into `frame.ZONES`.
    rail : Rail
        Where the shots were.
    centre : Centre
        The centre's best focus.
    pitch_um : float or None
        The pixel pitch.

    Returns
    -------
    list of FocusZone
    """
    rows = []
    for channel, part in peaks.items():
        best_common = np.hypot(part.best_common_sigma, centre.sigma)
        for number, name in enumerate(frame.ZONES):
            here = zone == number
            sagittal, tangential = (
                _ZoneMeans(
                    _Mean.of(part.best[here, k], part.best_sigma[here, k], best_common[here, k]),
                    _Mean.of(part.peak[here, k], part.peak_sigma[here, k], part.peak_common_sigma[here, k]),
                    _Mean.of(
                        part.at_centre[here, k],
                        part.at_centre_sigma[here, k],
                        part.at_centre_common_sigma[here, k],
                    ),
                )
                for k in (0, 1)
            )
            directions = zip(
                (*DIRECTIONS, "mean"), (sagittal, tangential, sagittal.and_of(tangential)), strict=True
            )
            rows += [
                _zone_row((name, channel, direction), means, rail.scale_sigma, pitch_um)
                for direction, means in directions
                if means.at_centre.tiles
            ]
    return rows


def _zone_row(
    names: tuple[str, str, str], means: _ZoneMeans, scale_sigma: float, pitch_um: float | None
) -> FocusZone:
    """One row; `names` are its zone, channel and direction."""
    zone, channel, direction = names
    best, peak = means.best, means.peak
    if best.tiles < MOST * means.at_centre.tiles:
        best = peak = replace(best, tiles=0)
    at_best = peak.with_relative(COMMON_RELATIVE_SIGMA).figure("cy/px")
    at_centre = means.at_centre.with_relative(COMMON_RELATIVE_SIGMA).figure("cy/px")
    return FocusZone(
        zone=zone,
        channel=channel,
        direction=direction,
        best_mm=best.with_relative(scale_sigma).figure("mm"),
        mtf50_at_best=at_best,
        mtf50_at_centre=at_centre,
        mtf50_at_best_lp_mm=_in_lp_mm(at_best, pitch_um),
        mtf50_at_centre_lp_mm=_in_lp_mm(at_centre, pitch_um),
        tiles=means.at_centre.tiles,
        with_peak=means.best.tiles,
    )


def _in_lp_mm(figure: Figure | None, pitch_um: float | None) -> Figure | None:
    return figure.scaled(1000 / pitch_um, "lp/mm") if figure and pitch_um else None
