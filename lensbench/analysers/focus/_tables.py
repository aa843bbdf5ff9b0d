"""The tables of a rail series: by tile, by zone, and the zones' own curves for drawing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.focus._curve import fit_curves
from lensbench.analysers.focus._rail import Rail
from lensbench.analysers.focus._series import Centre, Found, Series
from lensbench.findings import COMMON_RELATIVE_SIGMA, DIRECTIONS, Figure, FocusTile, FocusZone, ThroughFocus

LEAST_DRAWN = 4
"""A curve of fewer shots than this isn't drawn."""

MOST = 0.75
"""A zone has a best focus where so many of its tiles show theirs; the mean over fewer would lean to one side."""

_SIDES = {-1: "nearer", 0: "", 1: "farther"}


def _place_sigma(place: NDArray, sigma: NDArray, missed: NDArray, rail: Rail, centre: Centre) -> NDArray:
    """What a place, counted from the centre's, is good to."""
    return np.sqrt(sigma**2 + missed**2 + centre.sigma**2 + (place * rail.scale_sigma) ** 2)


def tile_rows(
    series: Series, found: dict[str, Found], at: tuple, size: tuple[int, int], rail: Rail, centre: Centre
) -> Iterator[FocusTile]:
    """A row for each tile, direction and channel that has a figure.

    Parameters
    ----------
    at : (ndarray, ndarray)
        Where the tiles lie, in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    """
    h = frame.h_of(*at, size)
    for channel, part in found.items():
        best_sigma = _place_sigma(part.best, part.best_sigma, part.best_missed, rail, centre)
        peak_sigma = np.hypot(part.peak_sigma, part.peak_missed)
        there_sigma = np.hypot(part.at_centre_sigma, part.at_centre_common)
        for i, k in np.argwhere(np.isfinite(part.at_centre) | np.isfinite(part.best)):
            yield FocusTile(
                column=int(series.column[i]),
                row=int(series.row[i]),
                channel=channel,
                direction=DIRECTIONS[k],
                x=float(at[0][i]),
                y=float(at[1][i]),
                h=float(h[i]),
                best_mm=Figure.if_known(part.best[i, k], best_sigma[i, k], "mm"),
                mtf50_at_best=Figure.if_known(part.peak[i, k], peak_sigma[i, k], "cy/px"),
                mtf50_at_centre=Figure.if_known(part.at_centre[i, k], there_sigma[i, k], "cy/px"),
                beyond=_SIDES.get(int(part.side[i, k]), "somewhere"),
            )


class _Mean(NamedTuple):
    """A zone's mean, its standard deviation by noise, and that by what its tiles share."""

    value: float
    sigma: float
    common: float
    count: int

    def with_shared(self, share: float) -> _Mean:
        """Unsure by a share of itself more, as all edges are together."""
        return self._replace(common=np.hypot(self.common, share * self.value))

    def figure(self, unit: str) -> Figure | None:
        return Figure.if_known(self.value, np.hypot(self.sigma, self.common), unit) if self.count else None


def _mean(value: NDArray, sigma: NDArray, common: NDArray) -> _Mean:
    known = np.isfinite(value)
    count = int(known.sum())
    if count == 0:
        return _Mean(np.nan, np.nan, np.nan, 0)
    noise = np.sqrt(np.sum(sigma[known] ** 2)) / count
    return _Mean(float(value[known].mean()), float(noise), float(common[known].mean()), count)


def _both(first: _Mean, second: _Mean) -> _Mean:
    return _Mean(
        (first.value + second.value) / 2,
        np.hypot(first.sigma, second.sigma) / 2,
        (first.common + second.common) / 2,
        first.count + second.count if first.count and second.count else 0,
    )


def zone_rows(
    found: dict[str, Found], zone: NDArray, rail: Rail, centre: Centre, pitch_um: float | None
) -> Iterator[FocusZone]:
    """A row for each zone, direction (and both) and channel.

    What noise leaves open shrinks with the number of tiles; what they share (the curve's shape, the rail, the
    centre's own place) does not.

    Parameters
    ----------
    found : dict of str to Found
        The followed tiles by channel.
    zone : ndarray of int, shape (tiles,)
        Which of `frame.ZONES` each lies in.
    pitch_um : float or None
        Distance of the pixels on the sensor.
    """
    for channel, part in found.items():
        shared = np.hypot(part.best_missed, centre.sigma)
        for number, name in enumerate(frame.ZONES):
            here = zone == number
            means = [
                tuple(
                    _mean(value[here, k], sigma[here, k], common[here, k])
                    for value, sigma, common in (
                        (part.best, part.best_sigma, shared),
                        (part.peak, part.peak_sigma, part.peak_missed),
                        (part.at_centre, part.at_centre_sigma, part.at_centre_common),
                    )
                )
                for k in (0, 1)
            ]
            means.append(tuple(_both(a, b) for a, b in zip(*means, strict=True)))
            for direction, triple in zip((*DIRECTIONS, "mean"), means, strict=True):
                if triple[2].count:
                    yield _zone_row(name, channel, direction, triple, rail, pitch_um)


def _zone_row(
    zone: str, channel: str, direction: str, means: tuple[_Mean, _Mean, _Mean], rail: Rail, pitch_um: float | None
) -> FocusZone:
    best, peak, there = means
    if best.count < MOST * there.count:
        best = peak = best._replace(count=0)
    best = best.with_shared(rail.scale_sigma)
    own, picture = (mean.with_shared(COMMON_RELATIVE_SIGMA).figure("cy/px") for mean in (peak, there))
    return FocusZone(
        zone=zone,
        channel=channel,
        direction=direction,
        best_mm=best.figure("mm"),
        mtf50_at_best=own,
        mtf50_at_centre=picture,
        mtf50_at_best_lp_mm=_in_lp_mm(own, pitch_um),
        mtf50_at_centre_lp_mm=_in_lp_mm(picture, pitch_um),
        tiles=there.count,
        shown=means[0].count,
    )


def _in_lp_mm(figure: Figure | None, pitch_um: float | None) -> Figure | None:
    return figure.scaled(1000 / pitch_um, "lp/mm") if figure and pitch_um else None


WIDELY_SEEN = 0.6
"""Tiles that fewer of the shots show don't enter a zone's drawn curve: they would come and go along it."""


def through_focus(
    series: Series, channel: str, zone: NDArray, rail: Rail, centre: Centre
) -> Iterator[ThroughFocus]:
    """Every zone's own curve, for drawing."""
    mtf50, sigma = series.curves(channel)
    seen = np.isfinite(mtf50).mean(axis=1) >= WIDELY_SEEN
    for number, name in enumerate(frame.ZONES):
        chosen = np.repeat(zone == number, 2) & seen
        whole = np.isfinite(mtf50[chosen]).all(axis=0)
        if not chosen.any() or whole.sum() < LEAST_DRAWN:
            continue
        place, mean = rail.place[whole], mtf50[chosen][:, whole].mean(axis=0)
        spread = np.sqrt((sigma[chosen][:, whole] ** 2).sum(axis=0)) / chosen.sum()
        curve = fit_curves(place, mean[None], spread[None])
        along = curve.middle[0] + curve.half[0] * np.linspace(-1, 1, 41)
        level = np.array([curve.mtf50(at)[0][0] for at in along])
        good = np.isfinite(level)
        yield ThroughFocus(
            name,
            channel,
            *(_rounded(v) for v in (place - centre.place, mean, along[good] - centre.place, level[good])),
        )


def _rounded(values: NDArray) -> list[float]:
    return [float(f"{value:.5g}") for value in values]
