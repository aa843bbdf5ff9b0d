"""A fitted mapping with the covariance of its parameters, and the figures read off it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.geometry._mapping import CENTRE, DECENTRING, LEAN, Mapping
from lensbench.findings import NORMAL_95, Figure

DIFFERENCE_STEP = 1e-5
"""Step of central differences by a parameter, relative where that is larger than 1 (their rounding error and their
truncation error are both below 1e-9 there)."""


@dataclass(frozen=True, eq=False)
class MappingFit:
    """A mapping fitted to the edges of one shot.

    Attributes
    ----------
    mapping : Mapping
    own, blur, shared : ndarray, shape (parameters, parameters)
        Covariance of the parameters: from the noise of this shot's edges, from what asymmetric blur may have moved
        these by, and from what all shots of the sheet share (the ruler bars and the prior of the image distance).
    used : ndarray of bool, shape (edges,)
        The edges that were not rejected as outliers.
    residual : ndarray, shape (edges,)
        Residual of each edge along its normal, in pixels.
    reach : float
        Largest distance of a used edge from the centre of distortion, in half-diagonals.
    sheet_deviation : float
        Largest deviation of the ruler bars or the image distance from their priors, in standard deviations; where
        it is large the print's aspect ratio is not what the ruler bars say.
    """

    mapping: Mapping
    own: NDArray[np.float64]
    blur: NDArray[np.float64]
    shared: NDArray[np.float64]
    used: NDArray[np.bool_]
    residual: NDArray[np.float64]
    reach: float
    sheet_deviation: float

    def value_and_sigmas(self, function: Callable[[Mapping], ArrayLike]) -> tuple[NDArray, NDArray, NDArray]:
        """Values read off the mapping, with their standard deviations from the shot's own and `shared` errors."""
        mapping = self.mapping
        jacobian = _jacobian(lambda theta: np.atleast_1d(function(replace(mapping, theta=theta))), mapping.theta)
        variances = (
            np.einsum("vi,ij,vj->v", jacobian, part, jacobian) for part in (self.own + self.blur, self.shared)
        )
        own, shared = (np.sqrt(np.maximum(variance, 0.0)) for variance in variances)
        return np.atleast_1d(function(mapping)), own, shared

    def figures(self, function: Callable[[Mapping], ArrayLike], unit: str) -> list[Figure]:
        """Figures read off the mapping, with the intervals that follow from the covariance of its parameters."""
        values, own, shared = self.value_and_sigmas(function)
        return [Figure.of(v, NORMAL_95 * s, unit) for v, s in zip(values, np.hypot(own, shared), strict=True)]

    def figure(self, function: Callable[[Mapping], ArrayLike], unit: str) -> Figure:
        """One figure read off the mapping."""
        return self.figures(function, unit)[0]

    def lean_inflation_by_centre(self) -> float:
        """Standard deviation of the lean over what it would be were the centre of distortion known."""
        covariance = self.own + self.blur + self.shared
        lean, centre = np.r_[LEAN], np.r_[CENTRE, DECENTRING]
        across = covariance[np.ix_(lean, centre)]
        explained = across @ np.linalg.pinv(covariance[np.ix_(centre, centre)], hermitian=True) @ across.T
        whole = np.diagonal(covariance)[lean]
        return float(np.sqrt(np.max(whole / np.maximum(whole - np.diagonal(explained), 1e-12 * whole))))


def _jacobian(function: Callable[[NDArray], NDArray], theta: NDArray) -> NDArray:
    """Derivative of a vector by each parameter, by central differences, shape (values, parameters)."""
    columns = []
    for i, value in enumerate(theta):
        step = np.zeros_like(theta)
        step[i] = DIFFERENCE_STEP * max(1.0, abs(value))
        columns.append((function(theta + step) - function(theta - step)) / (2 * step[i]))
    return np.stack(columns, axis=-1)
