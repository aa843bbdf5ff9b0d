"""Sharpness by zone: means over positions, curves, contrast at chosen frequencies, units, differences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY, unfollowed_contrast
from lensbench.analysers.sharpness._zone_means import ZoneMean, ZoneMeans
from lensbench.findings import (
    DIRECTIONS,
    MEAN,
    NORMAL_95,
    Contrast,
    ContrastCurve,
    Figure,
    ZoneDifference,
    ZoneSharpness,
)
from lensbench.shot import reference_channel

CONTRAST_CY_PX = (0.125, 0.25)
"""Frequencies at which zones state their contrast: a quarter and half of the Nyquist frequency ..."""

CONTRAST_LP_MM = (10.0, 30.0)
"""... and, where the pixel pitch is known, the trade's coarse and fine structures (common practice)."""


@dataclass(frozen=True)
class Units:
    """What converts cycles a pixel: the picture's height in pixels, and the pixel pitch where it is known."""

    height_px: int
    pixel_pitch_um: float | None


def zone_rows(zone: str, channel: str, means: ZoneMeans, units: Units) -> list[ZoneSharpness]:
    """A zone's rows of the table in one channel, one a direction."""
    return [_zone_row(zone, channel, direction, mean, units) for direction, mean in means.by_direction.items()]


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


def astigmatism_rows(zone: str, channel: str, means: ZoneMeans) -> list[ZoneDifference]:
    """Sagittal against tangential in one zone and channel; empty where one of them is unknown."""
    if means.difference_sigma is None:
        return []
    first, second = (means.by_direction[direction].value for direction in DIRECTIONS)
    mean = (first + second) / 2
    # Relative to the mean, which varies far less than the difference does.
    percent = Figure.of(100 * (first - second) / mean, NORMAL_95 * 100 * means.difference_sigma / mean, "%")
    return [ZoneDifference(zone, *DIRECTIONS, percent, channel)]


def colour_differences(
    means: Mapping[tuple[str, str], ZoneMeans], channels: Sequence[str]
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
            first, second = (means[zone, name].by_direction.get(MEAN) for name in (channel, reference))
            if channel != reference and first is not None and second is not None:
                # Which tiles there are moves all colours alike.
                percent = _difference(first.value, first.noise_sigma, second.value, second.noise_sigma)
                rows.append(ZoneDifference(zone, channel, reference, percent))
    return rows


def _difference(a: float, a_sigma: float, b: float, b_sigma: float) -> Figure:
    """A less b, in percent of their mean."""
    mean = (a + b) / 2
    return Figure.of(100 * (a - b) / mean, NORMAL_95 * 100 * np.hypot(a_sigma * b, b_sigma * a) / mean**2, "%")
