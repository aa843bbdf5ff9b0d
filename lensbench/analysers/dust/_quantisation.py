"""The quantisation step of a shot's numbers, where its noise is too small to average it out."""

from __future__ import annotations

import numpy as np

from lensbench.noise import Noise
from lensbench.shot import Shot

AVERAGED_OUT = 0.4
"""Noise of this share of a step averages the steps out: less than a tenth of one is left in a mean of many
samples.

(A twelfth of the step's square is the variance of the rounding itself; with σ the rest of the noise in steps,
e^(-2π²σ²) / π of a step is left. B. Widrow and I. Kollár, Quantization Noise, 2008.)"""

SAMPLES = 200_000
"""Samples that are looked at, about."""


def quantisation_step(flat: Shot, noise: Noise) -> float:
    """One step of the stored numbers as a share of the light, where noise doesn't average the steps out.

    Parameters
    ----------
    flat : Shot
        An even light.
    noise : Noise
        Of its reference channel.

    Returns
    -------
    float
        0 where noise averages the steps out, as in any raw file. In 8 bits it may be a percent: a smooth gradient
        of the light then has contours of that depth.
    """
    part = next(flat.sublattices(flat.reference))
    thin = max(int(np.sqrt(part.samples.size / SAMPLES)), 1)
    numbers, counts = np.unique(flat.light(part.samples[::thin, ::thin], part.colour_index), return_counts=True)
    lit = numbers > 0
    numbers, counts = numbers[lit], counts[lit]
    if len(numbers) < 2:
        return 0.0
    # Most samples have neighbouring numbers on both sides; isolated dark ones don't matter.
    steps = np.diff(numbers)
    visible = counts[1:] * (noise.sigma(numbers[1:]) < AVERAGED_OUT * steps)
    if 2 * visible.sum() < counts.sum():
        return 0.0
    return float(np.average(steps / numbers[1:], weights=visible))
