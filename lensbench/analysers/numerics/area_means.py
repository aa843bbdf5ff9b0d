"""Means over areas of what is measured at scattered points only: block kriging.

What varies smoothly over the plane is a low polynomial and a random field about it, of a size and a range that the
values themselves tell (restricted maximum likelihood). The mean over an area is then the best linear prediction
from all points around, and its variance counts the points' noise, their scatter beyond it, and which there were.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

QUADRATIC_FROM, LINEAR_FROM, CONSTANT_FROM = 24, 12, 6
"""Points from which the polynomial is a quadratic, a plane, a constant; fewer tell nothing of areas."""

RANGES = np.array([0.25, 0.5, 1.0, 2.0])
"""Ranges of the field that are tried, over the root mean square distance of the points from their middle ..."""

FIELD_SHARES = np.array([0.0, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0])
"""... its variances, over that of what the polynomial leaves ..."""

SCATTER_SHARES = np.array([0.0, 0.01, 0.03, 0.1, 0.3, 1.0])
"""... and variances of single points beyond their noise, over the same."""

GROWTH = 2.0
"""A field's standard deviation is larger by so much at the root mean square distance than in the middle: lenses
vary most near the corners (chosen by lenses that lean, bow and are decentred)."""

CENTRED = 0.1
"""Variance of a term in the fourth power of the distance from the middle, over the field's: what centred lenses
have beside their curvature peaks in the middle, or bends back at the corners (chosen by the same lenses)."""

LEAST_WEIGHT = 0.02
"""Fields less likely than this, over the likeliest, are left out."""

DOUBT = 1.3
"""Standard deviations are larger by so much than those of the likely fields: what lenses draw is no random field,
with lines of best focus narrower than all around (study: `tests/bench/zones.py`)."""

FAR = 2.0
"""Points of an area farther from all values than so many sides of the square that each value has to itself are no
part of it."""


class AreaMeans(NamedTuple):
    """Means over areas and their standard deviations, shape (areas,); NaN where an area has no values near."""

    mean: NDArray[np.float64]
    sigma: NDArray[np.float64]


class _Field(NamedTuple):
    """Range and variance of the random field, and variance of single points beyond their noise."""

    reach: float
    variance: float
    scatter: float


def area_means(points: NDArray, values: NDArray, noise: NDArray, areas: list[NDArray]) -> AreaMeans | None:
    """Predict means over areas.

    Parameters
    ----------
    points : ndarray, shape (n, 2)
        Where the values are.
    values : ndarray, shape (n,)
        The values.
    noise : ndarray, shape (n, n)
        Their covariance by noise.
    areas : list of ndarray, shape (m, 2)
        Points spread evenly over each area.

    Returns
    -------
    AreaMeans or None
        None where there are too few points.

    References
    ----------
    N. Cressie, Statistics for Spatial Data (1993), sections 2.6 (restricted maximum likelihood) and 3.4 (universal
    kriging), of which the prediction of block means is a linear case (memory).
    """
    distinct = len(np.unique(points, axis=0))
    if distinct < CONSTANT_FROM:
        return None
    middle = points.mean(axis=0)
    unit = max(float(np.sqrt(((points - middle) ** 2).sum(axis=1).mean())), 1e-9)
    at = (points - middle) / unit
    degree = 2 if distinct >= QUADRATIC_FROM else int(distinct >= LINEAR_FROM)
    trend = _polynomial(at, degree)
    fields, weight = _likely(at, values, float(np.mean(np.diagonal(noise))), trend)
    inside = [_near((np.asarray(area, float) - middle) / unit, at) for area in areas]
    each = [_predicted(at, values, noise, trend, field, inside, degree) for field in fields]
    mean, variance = (np.stack(part) for part in zip(*each, strict=True))
    whole = weight @ mean
    # What the likely fields differ by is in the interval, too.
    return AreaMeans(whole, DOUBT * np.sqrt(weight @ (variance + (mean - whole) ** 2)))


def _predicted(
    at: NDArray,
    values: NDArray,
    noise: NDArray,
    trend: NDArray,
    field: _Field,
    inside: list[NDArray],
    degree: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means over areas and their variances by one field; `inside` are the areas' points."""
    covariance = field.variance * _correlation(at, at, field.reach) + noise + field.scatter * np.eye(len(at))
    covariance += 1e-12 * np.trace(covariance) / len(at) * np.eye(len(at))
    weights = np.linalg.inv(covariance)
    by_trend = np.linalg.pinv(trend.T @ weights @ trend, hermitian=True)
    coefficients = by_trend @ (trend.T @ (weights @ values))
    rest = weights @ (values - trend @ coefficients)
    means, variances = np.full((2, len(inside)), np.nan)
    for k, points in enumerate(inside):
        if len(points):
            tie = field.variance * _correlation(at, points, field.reach).mean(axis=1)
            own = field.variance * _correlation(points, points, field.reach).mean()
            basis = _polynomial(points, degree).mean(axis=0)
            lever = basis - trend.T @ (weights @ tie)
            means[k] = basis @ coefficients + tie @ rest
            variances[k] = max(own - tie @ weights @ tie + lever @ by_trend @ lever, 0.0)
    return means, variances


def _polynomial(at: NDArray, degree: int) -> NDArray[np.float64]:
    x, y = at.T
    terms = [np.ones_like(x), x, y, x * x, x * y, y * y]
    return np.stack(terms[: (1, 3, 6)[degree]], axis=1)


def _correlation(a: NDArray, b: NDArray, reach: float) -> NDArray[np.float64]:
    """Matérn's of index 5/2, for fields with two derivatives, times a size that grows away from the middle.

    And the fourth power of the distance from there.
    """
    r = np.sqrt(5) / reach * np.hypot(a[:, None, 0] - b[:, 0], a[:, None, 1] - b[:, 1])
    first, second = (np.square(part).sum(axis=1) for part in (a, b))
    grown = (1 + GROWTH * first)[:, None] * (1 + GROWTH * second)
    return grown * (1 + r + r * r / 3) * np.exp(-r) + CENTRED * np.square(first)[:, None] * np.square(second)


def _near(area: NDArray, at: NDArray) -> NDArray[np.float64]:
    """The points of an area that values stand for."""
    usual = np.sqrt(np.prod(np.ptp(at, axis=0)) / len(at))
    away = np.hypot(area[:, None, 0] - at[:, 0], area[:, None, 1] - at[:, 1]).min(axis=1)
    return area[away <= FAR * usual]


def _likely(
    at: NDArray, values: NDArray, noise: float, trend: NDArray
) -> tuple[list[_Field], NDArray[np.float64]]:
    """Of each range the likeliest field, by restricted maximum likelihood over a grid, and the fields' weights.

    All points count as equally noisy.
    """
    full, _ = np.linalg.qr(trend, mode="complete")
    without = full[:, np.linalg.matrix_rank(trend) :]
    rest = without.T @ values
    usual = max(float(rest @ rest) / max(len(rest), 1) - noise, 1e-3 * noise, 1e-30)
    variance, scatter = (usual * a for a in np.meshgrid(FIELD_SHARES, SCATTER_SHARES, indexing="ij"))
    fields, likelihoods = [], []
    for reach in RANGES:
        value, vector = np.linalg.eigh(without.T @ _correlation(at, at, reach) @ without)
        square = (vector.T @ rest) ** 2
        total = variance[..., None] * np.maximum(value, 0) + scatter[..., None] + noise + 1e-9 * usual
        likelihood = -0.5 * (np.log(total) + square / total).sum(axis=-1)
        i = np.unravel_index(np.argmax(likelihood), likelihood.shape)
        fields.append(_Field(float(reach), float(variance[i]), float(scatter[i])))
        likelihoods.append(likelihood[i])
    weight = np.exp(np.array(likelihoods) - max(likelihoods))
    good = weight > LEAST_WEIGHT
    return [field for field, likely in zip(fields, good, strict=True) if likely], weight[good] / weight[good].sum()
