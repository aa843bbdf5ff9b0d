"""What a photon transfer line tells, and the thresholds from which each sign counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SURE = 4.0
"""Standard deviations that a sign must exceed: one line in thirty thousand does by chance."""

LEAST_OFFSET = 0.001
"""A black level off by less than this share of full scale is not looked for: models of noise aren't that good."""

MOST_READ_ELECTRONS, MANY_READ_ELECTRONS = 25.0, 12.0
"""Read noise that no camera exceeds, and that few do (common practice: 1 to 15 electrons) ..."""

MOST_READ_SHARE = 5e-4
"""... who then have at least eleven stops between it and full scale (common practice)."""

MOST_RADIAL = 0.03
"""Photon noise is stronger in the corners, at like numbers, by less than this share, unless they were
brightened."""


@dataclass(frozen=True)
class NoiseSigns:
    """The line of noise variance against light, fitted to one shot or to the difference of two.

    Attributes
    ----------
    reading, reading_sigma : float
        Variance at no light, squared stored units, and its standard deviation. Below zero where numbers are
        larger than the light asks for.
    photons : float
        Stored units an electron: the line's slope.
    radial, radial_sigma : float
        By how much the slope grows from the centre to h = 1, as a share, at like light.
    full_scale : float
        The light at which the channel clips.
    """

    reading: float
    reading_sigma: float
    photons: float
    radial: float
    radial_sigma: float
    full_scale: float

    @property
    def black_offset(self) -> float:
        """How far the line meets zero below the black level stated (above it: negative), in stored units."""
        return self.reading / self.photons

    @property
    def read_electrons(self) -> float:
        """The read noise that the line asks for."""
        return float(np.sqrt(max(self.reading, 0.0))) / self.photons

    @property
    def too_quiet(self) -> bool:
        """Whether the dark is less noisy than its photons: black lies higher than stated, or it was curved."""
        highest = (self.reading + SURE * self.reading_sigma) / self.photons
        return highest < -LEAST_OFFSET * self.full_scale

    @property
    def too_noisy(self) -> bool:
        """Whether the dark is noisier than any camera's: black lies lower than stated, or it was curved."""
        least = float(np.sqrt(max(self.reading - SURE * self.reading_sigma, 0.0)))
        electrons = least / self.photons
        poor = electrons > MANY_READ_ELECTRONS and least > MOST_READ_SHARE * self.full_scale
        return electrons > MOST_READ_ELECTRONS or poor

    @property
    def brightened(self) -> bool:
        """Whether the corners' numbers were multiplied, which multiplies their noise as well."""
        return self.radial - SURE * self.radial_sigma > MOST_RADIAL
