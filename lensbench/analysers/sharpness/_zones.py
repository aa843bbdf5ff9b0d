"""Sharpness by zone: means over positions, curves, contrast at chosen frequencies, units, differences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY, unfollowed_contrast
from lensbench.analysers.sharpness._positions import Positions
from lensbench.findings import (
    COMMON_RELATIVE_SIGMA,
    DIRECTIONS,
    NORMAL_95,
    Contrast,
    ContrastCurve,
    Figure,
    ZoneDifference,
    ZoneSharpness,
)
from lensbench.shot import reference_channel

MEAN = "mean"
"""The direction's name for the mean of both."""

CONTRAST_CY_PX = (0.125, 0.25)
"""Frequencies at which zones state their contrast: a quarter and half of the Nyquist frequency ..."""

CONTRAST_LP_MM = (10.0, 30.0)
"""... and, where the pixel pitch is known, the trade's coarse and fine structures (common practice)."""


@dataclass(frozen=True, eq=False)
class ZoneMean:
    """The mean over a zone's positions in one direction.

    `sigma` is its standard deviation without the error that all edges have in common; `curve` the mean curve and
    its standard deviation at `FREQUENCY`, where there is one; `count` the number of positions.
    """

    value: float
    sigma: float
    curve: tuple[NDArray[np.float64], NDArray[np.float64]] | None
    count: int

    @property
    def whole_sigma(self) -> float:
        """The standard deviation with the common error."""
        return _with_common_error(self.value, self.sigma)


def zone_means(positions: Positions, inside: NDArray[np.bool_]) -> dict[str, ZoneMean]:
    """Means over the positions inside a zone, by direction; the mean of both where both are known."""
    means = {}
    for k, direction in enumerate(DIRECTIONS):
        chosen = inside & np.isfinite(positions.mtf50[:, k])
        if chosen.any():
            value = float(positions.mtf50[chosen, k].mean())
            sigma = positions.sigma_of_mean(chosen, k)
            means[direction] = ZoneMean(value, sigma, _mean_curve(positions, chosen, k), int(chosen.sum()))
    if len(means) == 2:
        first, second = means.values()
        means[MEAN] = _mean_of(first, second)
    return means


def _mean_of(first: ZoneMean, second: ZoneMean) -> ZoneMean:
    """The mean of two directions."""
    curve = None
    if first.curve is not None and second.curve is not None:
        # Most of the two curves' errors is common to both.
        curve = (first.curve[0] + second.curve[0]) / 2, (first.curve[1] + second.curve[1]) / 2
    sigma = float(np.hypot(first.sigma, second.sigma) / 2)
    return ZoneMean((first.value + second.value) / 2, sigma, curve, first.count + second.count)


def _with_common_error(value: float, sigma: float) -> float:
    return float(np.hypot(sigma, COMMON_RELATIVE_SIGMA * value))


def _mean_curve(
    positions: Positions, chosen: NDArray[np.bool_], k: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    known = chosen & np.isfinite(positions.curve[:, k, 0])
    if not known.any():
        return None
    mtf = positions.curve[known, k].mean(axis=0)
    noise = np.sqrt((positions.curve_sigma[known, k] ** 2).sum(axis=0)) / known.sum()
    # The curves are scaled to their positions' MTF50, so an error of MTF50 scales the frequency.
    scaling = _with_common_error(1.0, positions.excess_sigma_of_mean(known, k) / positions.mtf50[known, k].mean())
    return mtf, np.hypot(noise, scaling * np.abs(np.gradient(mtf, FREQUENCY)) * FREQUENCY)


@dataclass(frozen=True)
class Units:
    """What converts cycles a pixel: the picture's height in pixels, and the pixel pitch where it is known."""

    height_px: int
    pixel_pitch_um: float | None


def zone_rows(zone: str, channel: str, means: Mapping[str, ZoneMean], units: Units) -> list[ZoneSharpness]:
    """A zone's rows of the table in one channel, one a direction."""
    return [_zone_row(zone, channel, direction, mean, units) for direction, mean in means.items()]


def _zone_row(zone: str, channel: str, direction: str, mean: ZoneMean, units: Units) -> ZoneSharpness:
    pitch_um = units.pixel_pitch_um
    figure = Figure.of(mean.value, NORMAL_95 * mean.whole_sigma, "cy/px")
    curve, contrast = None, []
    if mean.curve is not None:
        mtf, noise = mean.curve
        sigma = np.hypot(noise, unfollowed_contrast(FREQUENCY))
        curve = ContrastCurve.of(FREQUENCY, mtf, NORMAL_95 * sigma)
        contrast = _contrasts(mtf, sigma, pitch_um)
    return ZoneSharpness(
        zone=zone,
        channel=channel,
        direction=direction,
        mtf50=figure,
        mtf50_lp_mm=figure.scaled(1000 / pitch_um, "lp/mm") if pitch_um else None,
        edges=mean.count,
        mtf50_lw_ph=figure.scaled(2 * units.height_px, "lw/ph"),
        contrast=contrast,
        curve=curve,
    )


def _contrasts(mtf: NDArray, sigma: NDArray, pitch_um: float | None) -> list[Contrast]:
    wanted = [(f, "cy/px", f) for f in CONTRAST_CY_PX]
    if pitch_um:
        wanted += [(f, "lp/mm", f * pitch_um / 1000) for f in CONTRAST_LP_MM]
    return [
        Contrast(
            f, unit, Figure.of(np.interp(at, FREQUENCY, mtf), NORMAL_95 * np.interp(at, FREQUENCY, sigma), "")
        )
        for f, unit, at in wanted
        if at <= FREQUENCY[-1]
    ]


def astigmatism_rows(zone: str, channel: str, means: Mapping[str, ZoneMean]) -> list[ZoneDifference]:
    """Sagittal against tangential in one zone and channel; empty where one of them is unknown."""
    if MEAN not in means:
        return []
    first, second = (means[direction] for direction in DIRECTIONS)
    percent = _difference(first.value, first.sigma, second.value, second.sigma)
    return [ZoneDifference(zone, *DIRECTIONS, percent, channel)]


def colour_differences(
    means: Mapping[tuple[str, str], Mapping[str, ZoneMean]], channels: Sequence[str]
) -> list[ZoneDifference]:
    """Each colour against green (or the first channel there is), by zone, in the mean of both directions.

    Parameters
    ----------
    means : mapping of (zone, channel) to means by direction
        As `zone_means` gives them.
    channels : sequence of str
        The channels, in the order of the table.

    Returns
    -------
    list of ZoneDifference
    """
    reference = reference_channel(channels)
    rows = []
    for zone in frame.ZONES:
        for channel in channels:
            first, second = means[zone, channel].get(MEAN), means[zone, reference].get(MEAN)
            if channel != reference and first is not None and second is not None:
                percent = _difference(first.value, first.whole_sigma, second.value, second.whole_sigma)
                rows.append(ZoneDifference(zone, channel, reference, percent))
    return rows


def _difference(a: float, a_sigma: float, b: float, b_sigma: float) -> Figure:
    """A less b, in percent of their mean."""
    mean = (a + b) / 2
    return Figure.of(100 * (a - b) / mean, NORMAL_95 * 100 * np.hypot(a_sigma * b, b_sigma * a) / mean**2, "%")
