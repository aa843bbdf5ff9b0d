"""What is handed out of measured edges: their lines, their modulation transfer, their plateaus."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

FREQUENCY = (np.arange(65) / 64) ** 2
"""Frequencies of the response curves in cycles a pixel, 0 to 1."""

NEARLY_LEVEL = 0.35
"""Half the steepness of a Gaussian blur's curve at its MTF50: below, small doubts of contrast move MTF50 far."""

UNFOLLOWED, UNFOLLOWED_FROM = 0.0015, 0.02
"""Contrast, as a standard deviation, that a profile too smooth or too rough misses, and from how many cy/px on."""


def unfollowed_contrast(frequency: NDArray) -> NDArray[np.float64]:
    """What a response curve may be off by, noise apart, since its edge's profile may be too smooth or too rough.

    The size is what glows, aberrations and pupils with a hole ask for; averaging over edges doesn't lessen it.

    Parameters
    ----------
    frequency : ndarray
        Cycles a pixel.

    Returns
    -------
    ndarray
        A standard deviation for each frequency: nothing at zero.
    """
    return UNFOLLOWED * np.clip(np.asarray(frequency) / UNFOLLOWED_FROM, 0, 1)


@dataclass(frozen=True, eq=False)
class EdgeResponses:
    """What one channel shows at n edges, in the order of the places; NaN where `reason` says it is not measurable.

    Attributes
    ----------
    x, y : ndarray, shape (n,)
        Middle of the used length, on the measured line.
    normal : ndarray, shape (n, 2)
        Unit vector across the edge, towards the bright side, at the middle.
    angle_deg : ndarray, shape (n,)
        The way the edge runs, anticlockwise as seen from x right, 0 to 180.
    offset_px, offset_sigma_px : ndarray, shape (n,)
        How far the measured line (where the profile crosses half) lies from the nominal one, averaged along the
        used length, positive towards bright; its standard deviation.
    curvature_px : ndarray, shape (n,)
        How far the line's ends lie from the tangent at its middle, over the used length, positive towards bright.
    length_px : ndarray, shape (n,)
        The used length.
    mtf, mtf_sigma : ndarray, shape (n, len(FREQUENCY))
        Contrast at `FREQUENCY`, 1 at zero, and its standard deviation by noise and by the uncertainty of the
        crosstalk from a figure's other edges; `unfollowed_contrast` is besides.
    mtf50, mtf50_sigma : ndarray, shape (n,)
        Cycles a pixel; where the curve runs nearly level, so far as its own interval leaves the crossing open.
    steepness : ndarray, shape (n,)
        MTF50 times how steeply the contrast falls there, by the frequency: 0.69 for a Gaussian blur.
    rise_px, rise_sigma_px : ndarray, shape (n,)
        Distance from 10 % to 90 %.
    quartile_px : ndarray, shape (n,)
        Distance from 25 % to 75 %.
    tail, tail_covariance : ndarray, shape (n, T), (n, T, T)
        Share of the light that lands farther than `TAIL_STEPS` of these distances from the edge, on both sides
        together, for means over `LEAST_AVERAGED` edges or more, and its covariance by noise ...
    tail_model_covariance : ndarray, shape (n, T, T)
        ... and by what their fit takes for likely: how smooth a profile is between its samples, how much light
        comes from a figure's other edges. Edges that are blurred alike are wrong alike, so averaging over them
        doesn't lessen it.
    reach_px : ndarray, shape (n,)
        How far the samples go on both sides: farther out, tails are extrapolated.
    overshoot : ndarray, shape (n,)
        How far the profile passes its plateaus, as a share of the contrast.
    dark, white : ndarray, shape (n,)
        The plateaus in light above black at the middle, stored units.
    clipped : ndarray, shape (n,)
        Share of the samples that were clipped.
    contrast_to_noise : ndarray, shape (n,)
        White minus dark over the noise of one white sample.
    reason : ndarray of str, shape (n,)
        Why an edge could not be measured; empty where it was.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    normal: NDArray[np.float64]
    angle_deg: NDArray[np.float64]
    offset_px: NDArray[np.float64]
    offset_sigma_px: NDArray[np.float64]
    curvature_px: NDArray[np.float64]
    length_px: NDArray[np.float64]
    mtf: NDArray[np.float64]
    mtf_sigma: NDArray[np.float64]
    mtf50: NDArray[np.float64]
    mtf50_sigma: NDArray[np.float64]
    steepness: NDArray[np.float64]
    rise_px: NDArray[np.float64]
    rise_sigma_px: NDArray[np.float64]
    quartile_px: NDArray[np.float64]
    tail: NDArray[np.float64]
    tail_covariance: NDArray[np.float64]
    tail_model_covariance: NDArray[np.float64]
    reach_px: NDArray[np.float64]
    overshoot: NDArray[np.float64]
    dark: NDArray[np.float64]
    white: NDArray[np.float64]
    clipped: NDArray[np.float64]
    contrast_to_noise: NDArray[np.float64]
    reason: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.x)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Where there are figures, shape (n,)."""
        return self.reason == ""

    @property
    def nearly_level(self) -> NDArray[np.bool_]:
        """Where the contrast runs so nearly level about a half that MTF50 says little, shape (n,)."""
        return self.steepness < NEARLY_LEVEL

    def take(self, which: NDArray) -> EdgeResponses:
        """The edges at some indices (or where a mask is true)."""
        return EdgeResponses(**{f.name: getattr(self, f.name)[which] for f in fields(self)})
