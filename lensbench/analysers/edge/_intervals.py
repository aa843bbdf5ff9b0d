"""What fitted edges show, and how sure that is: MTF, MTF50, position, rise, overshoot."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._curves import below_half
from lensbench.analysers.edge._edge_fit import EdgeFit
from lensbench.analysers.edge._places import EdgePlaces

SIGMA_APART = 8
"""Standard deviations of curves are calculated at every so many-th of `profile.Q`."""

UNEXPECTED_SHARE = 0.2
"""What unexpected profiles and light add to a position's variance, over what is allowed for them elsewhere: only
what differs between both sides moves the half (study: `tests/bench/edge_positions.py`)."""

OVERSHOOT_WITHIN = 100.0
"""How far from the edge, in pixels, a profile is asked whether it passes its plateaus."""


class Figures(NamedTuple):
    """MTF at `profile.Q`, position and 10-90 % rise in pixels of n edges: values, or standard deviations."""

    mtf: NDArray[np.float64]
    position: NDArray[np.float64]
    rise: NDArray[np.float64]


def figures(fit: EdgeFit) -> Figures:
    """What a fit shows."""
    low, high = _rise(fit)
    return Figures(np.abs(fit.response()), fit.position(), high - low)


def sigma_by_noise(fit: EdgeFit) -> Figures:
    """Standard deviations by the samples' noise; of the position as the ragged line has it."""
    low, high = _rise(fit)
    rise = fit.spread((_moved(fit, high, 0.9) - _moved(fit, low, 0.1))[:, None, :])[:, 0]
    return Figures(_curve_sigma(fit), _position_sigma(fit), rise)


def _position_sigma(fit: EdgeFit) -> NDArray[np.float64]:
    """Standard deviation of the position, as the ragged line has it."""
    crossing = _moved(fit, fit.half_crossing(), 0.5)[:, None, :]
    by_noise, beyond, by_texture = (part[:, 0] for part in fit.variances_apart(crossing))
    return np.sqrt(fit.reduced_chi_squared * (by_noise + by_texture) + UNEXPECTED_SHARE * beyond)


def sigma_by_crosstalk(fit: EdgeFit, before: Figures, after: Figures, counted: NDArray) -> Figures:
    """Standard deviations by how unsure the tail light is, and so the crosstalk from a figure's other edges.

    An edge whose tail light came out too faint had too little taken off: what is usual counts at least. Free edges
    have no crosstalk; what moves one meanwhile is a fit that has not settled, and counts alike.

    Parameters
    ----------
    fit : EdgeFit
        The last.
    before, after : Figures
        What they were before any crosstalk was taken off, and are.
    counted : ndarray of bool, shape (n,)
        Edges that may have crosstalk, and whose fit can be trusted: they tell what is usual.
    """
    share = unsure_of_tail_light(fit)

    def by_crosstalk(before: NDArray, after: NDArray) -> NDArray[np.float64]:
        moved = after - before
        least = np.zeros_like(moved)
        least[counted] = np.abs(np.median(moved[counted], axis=0)) if counted.any() else 0.0
        return np.asarray((share * np.maximum(np.abs(moved), least).T).T)

    return Figures(*map(by_crosstalk, before, after))


def unsure_of_tail_light(fit: EdgeFit) -> NDArray[np.float64]:
    """By what share of itself the light far out is unsure, shape (n,): 1 where there may be none."""
    row = profile.fading_row()
    sigma = fit.spread(np.broadcast_to(row, (fit.n, 1, len(row))))[:, 0]
    return np.asarray(sigma / np.maximum(np.hypot(fit.coefficients @ row, sigma), 1e-9))


def sigma_by_plateaus(share: NDArray, seen: Figures) -> Figures:
    """Standard deviations by not knowing which plateaus are an edge's own.

    Parameters
    ----------
    share : ndarray, shape (n,)
        By what share of the contrast those in question differ: taken for half of a 95 % interval.
    seen : Figures
        What the fit shows. Edges are about as steep as their contrast over their rise.
    """
    sigma = share / 1.96
    return Figures(sigma[:, None] * seen.mtf, sigma * seen.rise / 2, sigma * seen.rise)


def _curve_sigma(fit: EdgeFit) -> NDArray[np.float64]:
    """Standard deviation of the MTF at `profile.Q`, by noise."""
    some = fit.spread(fit.sensitivity(profile.transform()[::SIGMA_APART]))
    share = np.arange(SIGMA_APART) / SIGMA_APART
    between = some[:, :-1, None] + share * np.diff(some, axis=1)[..., None]
    return np.concatenate([between.reshape(fit.n, len(profile.Q) - 1), some[:, -1:]], axis=1)


def mtf50_by_slope(fit: EdgeFit) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50 in cycles a pixel, its standard deviation by noise as if the MTF fell straight, and its fall."""
    mtf50, _, _, fall = below_half(np.abs(fit.response()))
    return mtf50, fit.spread(at_mtf50(fit))[:, 0] / np.maximum(fall, 1e-3), fall


def at_mtf50(fit: EdgeFit) -> NDArray[np.float64]:
    """How the MTF at the MTF50 follows the coefficients, shape (n, 1, K)."""
    _, k, share, _ = below_half(np.abs(fit.response()))
    table = profile.transform()
    at_half = table[k - 1] + share[:, None] * (table[k] - table[k - 1])
    return fit.sensitivity(at_half[:, None, :])


def mtf50_by_curve(fit: EdgeFit, mtf: NDArray, mtf_sigma: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """MTF50, its standard deviation and its fall: the uncertainty is that of the whole curve, in its own shape.

    Where a curve runs nearly level, the curves about it fall to half much farther off than its slope would say.
    """
    mtf50, sigma, fall = mtf50_by_slope(fit)
    low, high = (below_half(mtf + side * 1.96 * mtf_sigma)[0] for side in (-1, 1))
    farthest = np.fmax(mtf50 - low, np.where(np.isfinite(high), high, profile.Q[-1]) - mtf50)
    return mtf50, np.fmax(sigma, farthest / 1.96), fall


class Lines(NamedTuple):
    """Measured lines of n edges: middle of the used length, unit vectors, offset from the nominal line (px)."""

    middle: NDArray[np.float64]
    normal: NDArray[np.float64]
    along: NDArray[np.float64]
    offset: NDArray[np.float64]


def measured_lines(nominal: EdgePlaces, places: EdgePlaces, fit: EdgeFit) -> Lines:
    """Where lines lie, by their fit.

    Parameters
    ----------
    nominal : EdgePlaces
        Where they were expected; what the offset is from.
    places : EdgePlaces
        What the fit is about.
    fit : EdgeFit
        What was fitted.
    """
    offset = fit.position()
    at_middle = offset - fit.line[:, 2] / 3
    slope = (fit.line[:, 1] / fit.segments.half)[:, None]
    scale = 1 / np.sqrt(1 + slope**2)
    used = places.middle + fit.segments.middle[:, None] * places.along
    mean = used + offset[:, None] * places.normal
    return Lines(
        middle=used + at_middle[:, None] * places.normal,
        normal=(places.normal - slope * places.along) * scale,
        along=(places.along + slope * places.normal) * scale,
        offset=np.einsum("nc,nc->n", mean - nominal.middle, nominal.normal),
    )


def _moved(fit: EdgeFit, crossing: NDArray, share: float) -> NDArray[np.float64]:
    """How places where profiles cross a share of their contrast follow the coefficients, shape (n, K)."""
    value, slope = profile.basis(profile.to_cell(crossing))
    steep = np.einsum("nk,nk->n", fit.coefficients, slope) * profile.cells_a_distance(crossing)
    dark, white = profile.plateau_rows()
    return ((1 - share) * dark + share * white - value) / np.where(np.abs(steep) > 1e-9, steep, 1.0)[:, None]


def _rise(fit: EdgeFit) -> tuple[NDArray, NDArray]:
    """Where the profile crosses 10 % of its contrast for the last and 90 % for the first time, in pixels."""
    level, z, row = _levels(fit), profile.bin_places(), np.arange(fit.n)

    def crossing(k: NDArray, wanted: float) -> NDArray:
        low, high = level[row, k], level[row, k + 1]
        share = np.clip((wanted - low) / np.where(np.abs(high - low) > 1e-9, high - low, 1), 0, 1)
        return z[k] + share * (z[k + 1] - z[k])

    last = len(z) - 2
    above = np.clip(np.argmax(level >= 0.9, axis=1) - 1, 0, last)
    below = np.clip(last + 1 - np.argmax(level[:, ::-1] <= 0.1, axis=1), 0, last)
    return crossing(below, 0.1), crossing(above, 0.9)


def _levels(fit: EdgeFit) -> NDArray[np.float64]:
    """Profiles by bin, as shares of their contrast."""
    dark, white = fit.plateaus()
    contrast = np.where(white > dark, white - dark, 1.0)[:, None]
    return (profile.levels(fit.coefficients) - dark[:, None]) / contrast


def overshoot(fit: EdgeFit) -> NDArray[np.float64]:
    """How far profiles pass their plateaus, as a share of the contrast."""
    level = _levels(fit)[:, np.abs(profile.bin_places()) < OVERSHOOT_WITHIN]
    return np.maximum(np.maximum(level.max(axis=1) - 1, -level.min(axis=1)), 0)
