"""What fitted profiles of edges show: plateaus, half crossings, responses, MTF50, and how sure all that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.optics import gaussian_mtf50

GAUSSIAN_MTF50 = gaussian_mtf50(1.0)
"""MTF50 times standard deviation of a Gaussian blur; any edge's blur width is this over its MTF50."""

CORE = 3.0
"""Within so many blur widths the profile's slope tells of the line."""


def below_half(mtf: NDArray) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Where curves at `profile.Q`, shape (n, Q), first fall to half: as `EdgeProfiles.q50`."""
    below = mtf < 0.5
    k = np.clip(np.argmax(below, axis=1), 1, None)
    row = np.arange(len(mtf))
    drop = np.maximum(mtf[row, k - 1] - mtf[row, k], 1e-12)
    share = np.clip((mtf[row, k - 1] - 0.5) / drop, 0, 1)
    gap = profile.Q[k] - profile.Q[k - 1]
    return np.where(below.any(axis=1), profile.Q[k - 1] + share * gap, np.nan), k, share, drop / gap


@dataclass(frozen=True, eq=False)
class EdgeProfiles:
    """Profiles of n edges, however they were found.

    Attributes
    ----------
    blur : ndarray, shape (n,)
        Blur widths in pixels: of the core, where that stands in a glow.
    coefficients : ndarray, shape (n, K)
        The spline's.
    """

    blur: NDArray[np.float64]
    coefficients: NDArray[np.float64]

    @property
    def n(self) -> int:
        """How many there are."""
        return len(self.blur)

    def plateaus(self) -> tuple[NDArray, NDArray]:
        """Levels at infinity on the dark and the bright side."""
        dark, white = profile.plateau_rows()
        return self.coefficients @ dark, self.coefficients @ white

    def half_crossing(self) -> NDArray:
        """Where the profile crosses half between its plateaus, in pixels; 0 where it does not."""
        return self.crossing(0.5, CORE * self.blur)

    def crossing(self, share: float, within: NDArray) -> NDArray:
        """Where the profile crosses a share of its contrast nearest to the line, in pixels; 0 where it does not.

        Parameters
        ----------
        share : float
            0 to 1.
        within : ndarray, shape (n,)
            How far from the line it is looked for, in pixels.
        """
        z = profile.bin_places()
        dark, white = self.plateaus()
        level = profile.levels(self.coefficients) - ((1 - share) * dark + share * white)[:, None]
        up = (level[:, :-1] < 0) & (level[:, 1:] >= 0) & (np.abs(z[:-1]) < within[:, None])
        k = np.argmin(np.where(up, np.abs(z[:-1]), np.inf), axis=1)
        row = np.arange(self.n)
        low, high = level[row, k], level[row, k + 1]
        step = -low / np.where(high > low, high - low, 1)
        return np.where(up.any(axis=1), z[k] + step * (z[k + 1] - z[k]), 0.0)

    def response(self) -> NDArray[np.complex128]:
        """Complex response at `profile.Q`, 1 at zero, shape (n, Q)."""
        spectrum = self.coefficients @ profile.transform().T
        total = spectrum[:, :1].real
        return spectrum / np.where(np.abs(total) > 1e-9, total, 1.0)

    def q50(self) -> tuple[NDArray, NDArray, NDArray, NDArray]:
        """Where the MTF first falls to half, in cycles a pixel (NaN: nowhere).

        Returns
        -------
        q : ndarray, shape (n,)
        place : ndarray of int, shape (n,)
            `profile.Q` brackets it from place - 1 to place ...
        share : ndarray, shape (n,)
            ... and so far between the two.
        fall : ndarray, shape (n,)
            How steeply the MTF falls there, by q.
        """
        return below_half(np.abs(self.response()))

    def sensitivity(self, rows: NDArray[np.complex128]) -> NDArray[np.float64]:
        """The MTF's derivative by the coefficients, for rows of the transform.

        Parameters
        ----------
        rows : ndarray, shape (m, K) or (n, m, K)

        Returns
        -------
        ndarray, shape (n, m, K)
        """
        rows = np.broadcast_to(rows, (self.n, *rows.shape[-2:]))
        spectrum = np.einsum("nmj,nj->nm", rows, self.coefficients)
        dark, white = profile.plateau_rows()
        total = self.coefficients @ (white - dark)
        total = np.where(np.abs(total) > 1e-9, total, 1.0)[:, None]
        ratio = spectrum / total
        mtf = np.abs(ratio)
        unit = np.conj(ratio) / np.maximum(mtf, 1e-9)
        by = (unit[..., None] * rows).real - mtf[..., None] * (white - dark)
        return by / total[..., None]
