"""The photon transfer line of a single shot, with pixel gain and texture as free terms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from lensbench.analysers.photon_transfer._correlation import TEXTURED, neighbour_correlation
from lensbench.analysers.photon_transfer._levels import Levels, levels_of, together, without_littered
from lensbench.analysers.photon_transfer._sheet import DARK, black_and_white, is_grainy
from lensbench.analysers.photon_transfer._signs import SURE, NoiseSigns
from lensbench.uniform_blocks import UniformBlocks

GROUPS, DARK_GROUPS, DARK_BLOCKS = 12, 4, 100
"""Levels of light that a shot's white and black are divided into, and blocks of black that make a level."""

FEWEST_LEVELS, POOR = 12, 3.0
"""Levels needed to see whether variance follows a line, and its chi-squared over the degrees of freedom from which
it doesn't (clean shots have up to 1.5; study: `tests/bench/gauntlet`)."""

UNSURE_SLOPE = 0.15
"""A line whose slope is known no better than to this share tells nothing: all of its light is alike."""


def measure_noise_line(blocks: UniformBlocks) -> NoiseSigns | None:
    """Fit variance = reading + photons · light · (1 + radial · h²) + gain · light².

    Pixels differ in gain (photo-response non-uniformity) and paper and ink have texture: both add a variance that
    grows with the square of the light, of an unknown amount that can't be negative.

    Parameters
    ----------
    blocks : UniformBlocks
        Of a target shot or a flat.

    Returns
    -------
    NoiseSigns or None
        None where there are too few blocks or too little range of light, or texture in them. (From black and white
        without levels between, it is told still that black is too noisy.)

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), sections 2.2 and 6.5: variance of photon noise against the signal over
    dark, there from the difference of two shots. Janesick, Photon Transfer (SPIE Press, 2007): the three terms.
    """
    levels = sheet_levels(*black_and_white(blocks))
    return None if levels is None else fit_line(levels, blocks.full_scale)


def measure_misfit(levels: Levels) -> float:
    """By what share levels' variance lies off any line of a sensor beyond chance, root mean square; 0 for none.

    The line is that of `measure_noise_line` without growth outwards; a curve bends it, and numbers that were
    multiplied in parts of the frame lie off it there.
    """
    levels = without_littered(levels)
    if len(levels.light) < FEWEST_LEVELS:
        return 0.0
    light = levels.light / levels.light.max()
    terms = [np.ones_like(light), light, light**2]
    found, _ = _fit(terms, levels)
    off = np.stack(terms, axis=1) @ found / levels.variance - 1
    chi_squared = float(np.sum((off / levels.unsure) ** 2)) / (len(off) - len(terms))
    if chi_squared < POOR:
        return 0.0
    return max(float(np.mean(off**2 - levels.unsure**2)), 0.0) ** 0.5


def sheet_levels(black: UniformBlocks, white: UniformBlocks) -> Levels | None:
    """Levels of white and, where it is even, of black; None where the white is textured."""
    if len(white) == 0 or neighbour_correlation(white) > TEXTURED:
        return None
    levels = [levels_of(white.light, white.variance - white.rounding, white.h2, GROUPS)]
    if len(black) and neighbour_correlation(black) < TEXTURED and not is_grainy(black, white):
        groups = min(DARK_GROUPS, max(len(black) // DARK_BLOCKS, 1))
        levels.append(levels_of(black.light, black.variance - black.rounding, black.h2, groups, rings=1))
    return together(*levels)


def fit_line(levels: Levels, full_scale: float) -> NoiseSigns | None:
    """The line through levels, gain and growth outwards not below 0; None with too few levels or too little range.

    Where light falls off, growth outwards and gain hide each other: growth counts only where it is sure.
    """
    if len(levels.light) < 6:
        return None
    top = float(levels.light.max())
    light = levels.light / top
    terms = [np.ones_like(light), light, light**2, light * levels.h2]
    found, sigma = _fit(terms, levels)
    radial, radial_sigma = 0.0, 0.0
    if found[1] > 0:
        radial = float(found[3] / found[1])
        radial_sigma = float(np.hypot(sigma[3], radial * sigma[1]) / found[1])
    if radial <= SURE * radial_sigma:
        found, sigma = _fit(terms[:3], levels)
    if not sigma[1] < UNSURE_SLOPE * found[1]:
        least = _least_noisy(levels, full_scale) if light.min() < DARK else None
        return least if least is not None and least.too_noisy else None
    return NoiseSigns(
        reading=float(found[0]),
        reading_sigma=float(sigma[0]),
        photons=float(found[1] / top),
        radial=radial,
        radial_sigma=radial_sigma,
        full_scale=full_scale,
    )


def _least_noisy(levels: Levels, full_scale: float) -> NoiseSigns:
    """The line with the least read noise that the brightest and the darkest level allow.

    A stored unit holds the fewest electrons if all the noise of the brightest is that of its photons; gain and
    read noise there only make the dark noisier still, in electrons.
    """
    dark, bright = int(np.argmin(levels.light)), int(np.argmax(levels.light))
    photons = levels.variance[bright] / levels.light[bright]
    reading = levels.variance[dark] - photons * levels.light[dark]
    errors = levels.unsure[dark] * levels.variance[dark], levels.unsure[bright] * photons * levels.light[dark]
    sigma = np.hypot(*errors)
    return NoiseSigns(float(reading), float(sigma), float(photons), 0.0, 0.0, full_scale)


def _fit(terms: list[NDArray], levels: Levels) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weighted least squares, all terms but the first not below 0, and their standard deviations.

    Those are of all terms together, one at its bound too: over a narrow range of light a gain that chance puts
    to 0 is made up for by a steeper line, which then meets zero far off. They are scaled up where the fit is poor.
    """
    weight = 1 / (levels.unsure * levels.variance)
    design, values = np.stack(terms, axis=1) * weight[:, None], levels.variance * weight
    # The method that puts terms on their bounds, not near them.
    bounds = [-np.inf, *[0.0] * (len(terms) - 1)], np.inf
    found = lsq_linear(design, values, bounds, method="bvls").x
    freedom = max(len(values) - 1 - int(np.count_nonzero(found[1:])), 1)
    poor = max(float(np.sum((design @ found - values) ** 2)) / freedom, 1.0)
    return found, np.sqrt(np.diag(np.linalg.pinv(design.T @ design)) * poor)
