"""How coarsely a shot's numbers are rounded, which shows where its noise is too small to even that out."""

from __future__ import annotations

import numpy as np

from lensbench.noise import Noise
from lensbench.shot import Shot

EVENED_OUT = 0.4
"""Noise of this share of a step evens the steps out: less than a tenth of one is left in a mean of many samples.

(A twelfth of the step's square is the rounding's own part of the variance; with σ the rest of the noise in steps,
e^(-2π²σ²) / π of a step is left. B. Widrow and I. Kollár, Quantization Noise, 2008.)"""

SAMPLES = 200_000


def rounding_share(flat: Shot, noise: Noise) -> float:
    """The share of the light that one step of the stored numbers makes, where noise doesn't even the steps out.

    Parameters
    ----------
    flat : Shot
        An even light.
    noise : Noise
        Of its reference channel.

    Returns
    -------
    float
        0 where noise hides the steps, as in any raw file. Of a picture with 8 bits it may be a percent: light that
        changes slowly then has contours of that depth.
    """
    part = next(flat.sublattices(flat.reference))
    thin = max(int(np.sqrt(part.samples.size / SAMPLES)), 1)
    numbers, counts = np.unique(flat.light(part.samples[::thin, ::thin], part.colour_index), return_counts=True)
    lit = numbers > 0
    numbers, counts = numbers[lit], counts[lit]
    if len(numbers) < 2:
        return 0.0
    # Most samples have a neighbouring number on both sides; single dark ones, far from any other, don't matter.
    steps = np.diff(numbers)
    shown = counts[1:] * (noise.sigma(numbers[1:]) < EVENED_OUT * steps)
    if 2 * shown.sum() < counts.sum():
        return 0.0
    return float(np.average(steps / numbers[1:], weights=shown))
