"""What a fit of edges results in, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _profile as profile
from lensbench.analysers.edge._data import EdgeData, FarBins
from lensbench.analysers.edge._equations import Equations
from lensbench.analysers.edge._model import EdgeModel
from lensbench.analysers.edge._texture import Texture
from lensbench.analysers.numerics import banded


@dataclass(frozen=True, eq=False)
class EdgeFit(EdgeModel):
    """A fitted model of n edges with what it was fitted to, and how sure it is.

    Attributes
    ----------
    data : EdgeData
        The samples.
    far : FarBins
        The far ones by bin.
    texture : Texture, optional
        Of the sheet; unknown before the last step.
    equations : Equations
        What the last step solved.
    factors : ndarray, shape (n, K, 4)
        Of the profiles' matrices, for `banded.solved`.
    along : ndarray, shape (n, 4, K)
        How the profile follows turn, curvature and the light's gradient and curvature; 0 before the last step.
    covariance : ndarray, shape (n, 4, 4)
        Of these four; 0 before the last step.
    reduced_chi_squared : ndarray, shape (n,)
        Variance of the line's pieces over what the samples' noise gives: ragged or dirty edges have more than 1.
    confounding : ndarray, shape (n,)
        Variance of the turn over what it would be were the profile known: large where a turn and a stretched
        profile move all samples alike.
    pulled : ndarray, shape (n,)
        Variance of the MTF50 by what pulls pieces of the edge apart, over that by noise (`_pulls`).
    """

    data: EdgeData
    far: FarBins
    texture: Texture | None
    equations: Equations
    factors: NDArray[np.float64]
    along: NDArray[np.float64]
    covariance: NDArray[np.float64]
    reduced_chi_squared: NDArray[np.float64]
    confounding: NDArray[np.float64]
    pulled: NDArray[np.float64]

    @property
    def reach(self) -> NDArray[np.float64]:
        """How far the samples go on the dark and the bright side, in pixels, shape (n, 2)."""
        return self.equations.reach

    @property
    def gap(self) -> NDArray[np.float64]:
        """The widest gap between samples across the rise, in blur widths, shape (n,)."""
        z = profile.bin_places()
        share = z / (2 * self.blur[:, None])
        place = np.where(self.equations.count > 0, np.clip(share, -1, 1), -1)
        return 2 * np.diff(np.maximum.accumulate(place, axis=1), axis=1).max(axis=1)

    def spread(self, derivative: NDArray) -> NDArray[np.float64]:
        """Standard deviation of figures with these derivatives by the coefficients, shape (n, m, K) to (n, m).

        By noise, and by texture and what pulls pieces apart after the last step; before it is as if line and
        light were known.
        """
        derivative = np.ascontiguousarray(derivative)
        solved, by_rest, by_score = self._solved(derivative)
        variance = (derivative * solved).sum(axis=-1) + (by_score * by_rest).sum(axis=-1)
        variance *= 1 + self.pulled[:, None]
        if self.texture is not None:
            variance += self.texture.variance_of(*self._taken(solved, by_score))
        return np.sqrt(np.maximum(variance, 0))

    def variances_apart(self, derivative: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        """The parts of the square of `spread`, shape (n, m) each.

        Returns
        -------
        by_noise : ndarray
            By the samples' noise alone, through profile and light, as if both were what is expected beforehand.
        beyond : ndarray
            What it is more because other profiles and another light would be no surprise.
        by_texture : ndarray
        """
        derivative = np.ascontiguousarray(derivative)
        solved, by_rest, by_score = self._solved(derivative)
        by_noise = (self._by_bin(solved, by_score) ** 2 * (self.equations.count / self.variance)[:, None]).sum(
            axis=-1
        )
        whole = (derivative * solved).sum(axis=-1) + (by_score * by_rest).sum(axis=-1)
        taken = self._taken(solved, by_score)
        by_texture = self.texture.variance_of(*taken) if self.texture is not None else np.zeros_like(whole)
        return by_noise, np.maximum(whole - by_noise, 0), by_texture

    def by_bin(self, derivative: NDArray) -> NDArray[np.float64]:
        """How figures follow samples of each bin, times their variance: shape (n, m, K) to (n, m, BINS)."""
        solved, _, by_score = self._solved(np.ascontiguousarray(derivative))
        return self._by_bin(solved, by_score)

    def _solved(self, derivative: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        """How figures follow the profile's equations were the rest known, the rest, and the rest's equations."""
        solved = banded.solved(self.factors, derivative)
        by_rest = derivative @ self.along.transpose(0, 2, 1)
        return solved, by_rest, by_rest @ self.covariance

    def _by_bin(self, solved: NDArray, by_score: NDArray) -> NDArray[np.float64]:
        rows = solved + by_score @ self.along
        of_profile = profile.levels(rows.reshape(-1, rows.shape[-1])).reshape(*rows.shape[:2], profile.BINS)
        return np.asarray(of_profile - by_score[..., 2:] @ self.by_gradient(self.tables.level))

    def covariances_apart(self, derivative: NDArray) -> tuple[NDArray, NDArray]:
        """Covariance of figures with these derivatives by the coefficients, shape (n, m, K) to (n, m, m) twice.

        Returns
        -------
        by_noise : ndarray
            By the samples' noise and the texture.
        beyond : ndarray
            What it is more because other profiles and another light would be no surprise.
        """
        derivative = np.ascontiguousarray(derivative)
        solved, by_rest, by_score = self._solved(derivative)
        whole = derivative @ solved.transpose(0, 2, 1) + by_score @ by_rest.transpose(0, 2, 1)
        by_bin = self._by_bin(solved, by_score)
        weight = (self.equations.count / self.variance)[:, None]
        by_noise = (by_bin * weight) @ by_bin.transpose(0, 2, 1)
        beyond = whole - by_noise
        if self.texture is not None:
            by_noise = by_noise + self.texture.covariance_of(*self._taken(solved, by_score))
        return by_noise, beyond

    def _taken(self, solved: NDArray, by_score: NDArray) -> tuple[NDArray, NDArray]:
        """What figures take from the profile's cells, shape (n, m, cells) and (stray edges, m, cells).

        Parameters
        ----------
        solved : ndarray, shape (n, m, K)
            How figures follow the right sides of the profile's equations, were the rest known.
        by_score : ndarray, shape (n, m, 4)
            How they follow those of the line and the light.

        Returns
        -------
        relative : ndarray
            From their light's relative deviation.
        plain : ndarray
            From its deviation in contrasts, of the edges beside stray light.
        """
        rows, by_light = solved + by_score @ self.along, by_score[..., 2:]

        def by_cell(edges: NDArray | slice, weight: NDArray, of_light: NDArray) -> NDArray[np.float64]:
            return profile.weighted_cell_sums(rows[edges], weight) - by_light[edges] @ of_light

        stray = self.texture.is_stray if self.texture is not None else np.zeros(self.n, bool)
        relative, plain = self._weights
        return by_cell(slice(None), *relative), by_cell(stray, *(part[stray] for part in plain))

    @cached_property
    def _weights(self) -> tuple[tuple[NDArray, NDArray], tuple[NDArray, NDArray]]:
        """Weights of the bins, (n, BINS), and what the gradient adds by cell, (n, 2, cells): as `_taken`."""
        level = self.tables.level
        plain, of_light = self.equations.count / self.variance, self.by_gradient(level)
        relative = plain * np.maximum(level + self.segments.dark[:, None], 0)
        of_relative, of_plain = (profile.cell_sums(of_light * weight[:, None]) for weight in (relative, plain))
        return (relative, of_relative), (plain, of_plain)
