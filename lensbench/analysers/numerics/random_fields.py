"""A linear fit whose data also hold fields of unknown size: how far these may have moved its parameters.

The fields' coefficients are random, independent, normal and of one size; the size is what the residuals, and those
of fits whose fields are about as large, make likely (restricted likelihood over a grid), and no single size is
believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.smooth_fields import directions

SIZES = np.geomspace(0.0001, 3.0, 18)
"""Sizes of the fields' coefficients that are tried, equally likely beforehand, in pixels: from less than can be
seen to more than any picture of use has."""

UNLIKE = 1.0
"""Standard deviation of the logarithm of one channel's size of fields over another's (lenses that
`tests/bench/centres.py` draws)."""


class Moved(NamedTuple):
    """By how much the fitted parameters are off, shape (p,), and the covariances of that, shape (p, p).

    `by_noise` is the covariance were there no fields, `by_fields` what these add.
    """

    mean: NDArray[np.float64]
    by_noise: NDArray[np.float64]
    by_fields: NDArray[np.float64]


class FieldFit:
    """A solved least-squares fit and the fields that its data may hold besides.

    Parameters
    ----------
    jacobian : ndarray, shape (n, p)
        Of the residuals by the fitted parameters, residuals being data less model, in standard deviations.
    fields : ndarray, shape (n, f)
        What a coefficient of 1 px of each field adds to the data.
    residual : ndarray, shape (n,)
        What the fit leaves; rows without data are 0 in all.
    aside : ndarray, shape (n, more), optional
        What else may be in the data, of any size.
    """

    def __init__(
        self, jacobian: NDArray, fields: NDArray, residual: NDArray, aside: NDArray | None = None
    ) -> None:
        data = int(np.count_nonzero(residual)) - jacobian.shape[1] - fields.shape[1]
        if aside is not None:
            beside = directions(aside)
            data -= beside.shape[1]
            jacobian, fields, residual = (
                part - beside @ (beside.T @ part) for part in (jacobian, fields, residual)
            )
        self._length = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-300)
        by_parameter, upper = np.linalg.qr(-jacobian / self._length)
        self._back = np.linalg.pinv(upper)
        self._residual, self._fields = by_parameter.T @ residual, by_parameter.T @ fields
        left = residual - by_parameter @ self._residual
        seen, self._strength, self._axes = np.linalg.svd(fields - by_parameter @ self._fields, full_matrices=False)
        self._seen = seen.T @ left
        self._noise = max(float(left @ left - self._seen @ self._seen) / max(data, 1), 1e-12)

    def log_likelihood(self, size: float) -> float:
        """Of the residuals, were the fields' coefficients of this size."""
        variance = self._noise + np.square(size * self._strength)
        return float(-0.5 * np.sum(np.log(variance) + np.square(self._seen) / variance))

    def moved(self, weights: NDArray) -> Moved:
        """How far the parameters are off, over all `SIZES` with their weights."""
        each = [self._moved_by(size) for size in SIZES]
        mean = np.einsum("s,sp->p", weights, np.array([one.mean for one in each]))
        about = np.array([one.by_fields + np.outer(one.mean - mean, one.mean - mean) for one in each])
        return Moved(mean, each[0].by_noise, np.einsum("s,spq->pq", weights, about))

    def _moved_by(self, size: float) -> Moved:
        """The same for one size: the coefficients' posterior, carried over to the parameters."""
        variance = 1 / (1 / size**2 + np.square(self._strength) / self._noise)
        coefficient = variance * self._strength * self._seen / self._noise
        carried = self._back @ self._fields @ self._axes.T
        mean = self._back @ self._residual - carried @ coefficient
        by_noise, by_fields = self._noise * self._back @ self._back.T, (carried * variance) @ carried.T
        unit = np.outer(self._length, self._length)
        return Moved(mean / self._length, by_noise / unit, by_fields / unit)


def size_weights(fit: FieldFit, others: Sequence[FieldFit]) -> NDArray[np.float64]:
    """How likely each of `SIZES` is for a fit, by its residuals and those of others with fields about as large."""
    apart = np.log(SIZES)[:, None] - np.log(SIZES)
    about = np.exp(-0.5 * np.square(apart / UNLIKE))
    about /= about.sum(axis=1, keepdims=True)
    weight = _likelihoods(fit)
    for other in others:
        weight *= about @ _likelihoods(other)
    return weight / weight.sum()


def _likelihoods(fit: FieldFit) -> NDArray[np.float64]:
    """Of the residuals for each of `SIZES`, over the largest."""
    logarithm = np.array([fit.log_likelihood(size) for size in SIZES])
    return np.exp(logarithm - logarithm.max())
