"""Sharpness by zone: means over places, curves, contrast at chosen frequencies, units, differences."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY, unfollowed_contrast
from lensbench.analysers.sharpness_places import Places
from lensbench.findings import NORMAL_95, Contrast, ContrastCurve, Figure, ZoneDifference, ZoneSharpness
from lensbench.shot import reference_channel

SHARED = 0.0005
"""Relative standard deviation of what all edges of a shot may be off by alike, which no mean lessens: with this
much, `tests/bench/zones.py` finds that zones' intervals hold the truth as often as they say."""

DIRECTIONS = ("sagittal", "tangential")

CONTRAST_CY_PX = (0.125, 0.25)
"""Frequencies at which zones state their contrast: a quarter and half of the Nyquist frequency ..."""

CONTRAST_LP_MM = (10.0, 30.0)
"""... and, where the pixels' size is known, the trade's coarse and fine structures."""


def add_zone(result, means, places, inside, name, channel, size, pitch_um):
    """Append one zone's figures in one channel: both directions, their mean, and how they differ."""
    found = []
    for k, direction in enumerate(DIRECTIONS):
        chosen = inside & np.isfinite(places.mtf50[:, k])
        count = int(chosen.sum())
        if count == 0:
            continue
        value = float(places.mtf50[chosen, k].mean())
        sigma = places.sigma_of_mean(chosen, k)
        curve = _mean_curve(places, chosen, k)
        found.append((value, sigma, curve, count))
        result.zones.append(_zone_row(name, channel, direction, value, sigma, curve, count, size, pitch_um))
    if len(found) < 2:
        return
    (a, da, ca, na), (b, db, cb, nb) = found
    mean, spread = (a + b) / 2, np.hypot(da, db) / 2
    # Of what the two curves may be off by, most is common to both.
    both = None if ca is None or cb is None else ((ca[0] + cb[0]) / 2, (ca[1] + cb[1]) / 2)
    result.zones.append(_zone_row(name, channel, "mean", mean, spread, both, na + nb, size, pitch_um))
    result.astigmatism.append(ZoneDifference(name, *DIRECTIONS, _difference(a, da, b, db), channel))
    means[name, channel] = mean, _with_shared(mean, spread)


def _with_shared(value: float, sigma: float) -> float:
    """A figure's standard deviation by noise widened by what all edges may be off by alike."""
    return float(np.hypot(sigma, SHARED * value))


def _mean_curve(places: Places, chosen: NDArray, k: int) -> tuple[NDArray, NDArray] | None:
    known = chosen & np.isfinite(places.curve[:, k, 0])
    if not known.any():
        return None
    mtf = places.curve[known, k].mean(axis=0)
    noise = np.sqrt((places.curve_sigma[known, k] ** 2).sum(axis=0)) / known.sum()
    # The curves are stretched to their places' figures: what these may be off by stretches them too.
    stretched = _with_shared(1.0, places.bulge_of_mean(known, k) / places.mtf50[known, k].mean())
    return mtf, np.hypot(noise, stretched * np.abs(np.gradient(mtf, FREQUENCY)) * FREQUENCY)


def _zone_row(name, channel, direction, value, sigma, curve, count, size, pitch_um) -> ZoneSharpness:
    figure = Figure.of(value, NORMAL_95 * _with_shared(value, sigma), "cy/px")
    row = ZoneSharpness(name, channel, direction, figure, None, count)
    row.mtf50_lw_ph = figure.scaled(2 * size[1], "lw/ph")
    if pitch_um:
        row.mtf50_lp_mm = figure.scaled(1000 / pitch_um, "lp/mm")
    if curve is not None:
        mtf, noise = curve
        spread = np.hypot(noise, unfollowed_contrast(FREQUENCY))
        row.curve = ContrastCurve.of(FREQUENCY, mtf, NORMAL_95 * spread)
        row.contrast = _contrasts(mtf, spread, pitch_um)
    return row


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


def _difference(a: float, da: float, b: float, db: float) -> Figure:
    """a over b, in percent of their mean."""
    mean = (a + b) / 2
    return Figure.of(100 * (a - b) / mean, NORMAL_95 * 100 * np.hypot(da * b, db * a) / mean**2, "%")


def colour_differences(means, channels) -> list[ZoneDifference]:
    """Each colour against green (or the first channel there is), by zone."""
    reference = reference_channel(channels)
    rows = []
    for name in frame.ZONES:
        for channel in channels:
            if channel != reference and {(name, channel), (name, reference)} <= means.keys():
                percent = _difference(*means[name, channel], *means[name, reference])
                rows.append(ZoneDifference(name, channel, reference, percent))
    return rows
