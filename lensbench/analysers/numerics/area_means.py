"""Means over areas of what is measured at scattered points only: block kriging.

What varies smoothly over the plane is a low polynomial and a random field about it, of a size and a range that the
values themselves tell (restricted maximum likelihood). The mean over an area is then the best linear prediction
from all points around, and its variance counts the points' noise, their scatter beyond it, and which there were.
Of positive values the reciprocals may be what varies smoothly: both are tried, and count alike.
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

CENTRED, CENTRED_RANGE = 0.8, 0.8
"""Share of the field's variance that depends on the distance from the middle alone, as the sharpness of centred
lenses does, and its range in squared distances over the field's own: what such a lens does between middle and
border tells how far it may go on beyond the outermost points (chosen by lenses whose focus waves, other ones than
those of the study)."""

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


def area_means(
    points: NDArray, values: NDArray, noise: NDArray, areas: list[NDArray], positive: bool = False
) -> AreaMeans | None:
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
    positive : bool
        Whether all values are, as those of sharpness: it peaks where blur, its reciprocal, has a flat minimum.
        What varies smoothly may then be either, and the interval counts what both predict.

    Returns
    -------
    AreaMeans or None
        None where there are too few points.

    References
    ----------
    N. Cressie, Statistics for Spatial Data (1993), sections 2.6 (restricted maximum likelihood) and 3.4 (universal
    kriging), of which the prediction of block means is a linear case (memory).
    """
    plane = _Plane.of(points, areas)
    if plane is None:
        return None
    scales = [_on_scale(plane, values, noise, reciprocal) for reciprocal in (False, True)[: 1 + positive]]
    mean, variance = (np.mean(part, axis=0) for part in zip(*scales, strict=True))
    apart = np.var([one for one, _ in scales], axis=0)
    return AreaMeans(mean, np.sqrt(variance + apart))


class _Plane:
    """The points and the areas' own, in units of their extent, and the polynomial that the points can tell.

    `among` are the points' correlations by range, `spectra` the eigenvalues and vectors of these `beside` the
    polynomial.
    """

    def __init__(self, at: NDArray, inside: list[NDArray], degree: int) -> None:
        self.at, self.inside, self.degree = at, inside, degree
        self.trend = _polynomial(at, degree)
        full, _ = np.linalg.qr(self.trend, mode="complete")
        self.beside = full[:, np.linalg.matrix_rank(self.trend) :]
        self.among = {float(reach): _correlation(at, at, reach) for reach in RANGES}
        self.spectra = {
            reach: np.linalg.eigh(self.beside.T @ among @ self.beside) for reach, among in self.among.items()
        }
        self._correlations: dict[float, list[tuple[NDArray, NDArray]]] = {}

    @classmethod
    def of(cls, points: NDArray, areas: list[NDArray]) -> _Plane | None:
        """None where there are too few points."""
        distinct = len(np.unique(points, axis=0))
        if distinct < CONSTANT_FROM:
            return None
        middle = points.mean(axis=0)
        unit = max(float(np.sqrt(((points - middle) ** 2).sum(axis=1).mean())), 1e-9)
        at = (points - middle) / unit
        inside = [_near((np.asarray(area, float) - middle) / unit, at) for area in areas]
        return cls(at, inside, 2 if distinct >= QUADRATIC_FROM else int(distinct >= LINEAR_FROM))

    def correlations(self, reach: float) -> list[tuple[NDArray, NDArray]]:
        """Of each area's points with all points, and among themselves; made once for each range."""
        if reach not in self._correlations:
            self._correlations[reach] = [
                (_correlation(self.at, inside, reach), _correlation(inside, inside, reach))
                for inside in self.inside
            ]
        return self._correlations[reach]


def _on_scale(
    plane: _Plane, values: NDArray, noise: NDArray, reciprocal: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means over areas and their variances, if the values, or their reciprocals, vary smoothly."""
    if reciprocal:
        noise = noise / np.outer(values, values) ** 2
        values = 1 / values
    fields, weight = _likely(plane, values, float(np.mean(np.diagonal(noise))))
    each = [_predicted(plane, values, noise, field, reciprocal) for field in fields]
    mean, variance = (np.stack(part) for part in zip(*each, strict=True))
    whole = weight @ mean
    # What the likely fields differ by is in the interval, too.
    return whole, DOUBT**2 * (weight @ (variance + (mean - whole) ** 2))


def _predicted(
    plane: _Plane, values: NDArray, noise: NDArray, field: _Field, reciprocal: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Means over areas and their variances by one field."""
    at, trend = plane.at, plane.trend
    covariance = field.variance * plane.among[field.reach] + noise + field.scatter * np.eye(len(at))
    covariance += 1e-12 * np.trace(covariance) / len(at) * np.eye(len(at))
    weights = np.linalg.inv(covariance)
    by_trend = np.linalg.pinv(trend.T @ weights @ trend, hermitian=True)
    coefficients = by_trend @ (trend.T @ (weights @ values))
    rest = weights @ (values - trend @ coefficients)
    means, variances = np.full((2, len(plane.inside)), np.nan)
    for k, (points, (with_all, among)) in enumerate(
        zip(plane.inside, plane.correlations(field.reach), strict=True)
    ):
        if len(points):
            ties, bases = field.variance * with_all, _polynomial(points, plane.degree)
            predicted = bases @ coefficients + rest @ ties
            share = np.full(len(points), 1 / len(points))
            if reciprocal:
                # No farther than twice beyond the values: extrapolated, a reciprocal may come out as nothing.
                predicted = 1 / np.clip(predicted, values.min() / 2, 2 * values.max())
                share = share * predicted**2
            means[k] = predicted.mean()
            tie, basis = ties @ share, share @ bases
            lever = basis - trend.T @ (weights @ tie)
            own = field.variance * (share @ among @ share)
            variances[k] = max(own - tie @ weights @ tie + lever @ by_trend @ lever, 0.0)
    return means, variances


def _polynomial(at: NDArray, degree: int) -> NDArray[np.float64]:
    x, y = at.T
    terms = [np.ones_like(x), x, y, x * x, x * y, y * y]
    return np.stack(terms[: (1, 3, 6)[degree]], axis=1)


def _correlation(a: NDArray, b: NDArray, reach: float) -> NDArray[np.float64]:
    """Of fields with two derivatives whose size grows away from the middle, with a part alike all around it."""
    first, second = (np.square(part).sum(axis=1) for part in (a, b))
    away = np.sqrt(np.maximum(first[:, None] + second - 2 * a @ b.T, 0))
    farther = np.abs(first[:, None] - second) / CENTRED_RANGE
    parts = (1 - CENTRED) * _matern(away / reach) + CENTRED * _matern(farther / reach)
    return (1 + GROWTH * first)[:, None] * (1 + GROWTH * second) * parts


def _matern(distance: NDArray) -> NDArray[np.float64]:
    """Matérn's correlation of index 5/2 by distances in ranges."""
    r = np.sqrt(5) * distance
    # In place: these are the most that a mean over an area takes.
    fading = np.negative(r)
    np.exp(fading, out=fading)
    growing = r / 3
    growing += 1
    growing *= r
    growing += 1
    growing *= fading
    return growing


def _near(area: NDArray, at: NDArray) -> NDArray[np.float64]:
    """The points of an area that values stand for."""
    usual = np.sqrt(np.prod(np.ptp(at, axis=0)) / len(at))
    away = np.hypot(area[:, None, 0] - at[:, 0], area[:, None, 1] - at[:, 1]).min(axis=1)
    return area[away <= FAR * usual]


def _likely(plane: _Plane, values: NDArray, noise: float) -> tuple[list[_Field], NDArray[np.float64]]:
    """Of each range the likeliest field, by restricted maximum likelihood over a grid, and the fields' weights.

    All points count as equally noisy.
    """
    rest = plane.beside.T @ values
    usual = max(float(rest @ rest) / max(len(rest), 1) - noise, 1e-3 * noise, 1e-30)
    variance, scatter = (usual * a for a in np.meshgrid(FIELD_SHARES, SCATTER_SHARES, indexing="ij"))
    fields, likelihoods = [], []
    for reach, (value, vector) in plane.spectra.items():
        square = (vector.T @ rest) ** 2
        total = variance[..., None] * np.maximum(value, 0) + scatter[..., None] + noise + 1e-9 * usual
        likelihood = -0.5 * (np.log(total) + square / total).sum(axis=-1)
        i = np.unravel_index(np.argmax(likelihood), likelihood.shape)
        fields.append(_Field(reach, float(variance[i]), float(scatter[i])))
        likelihoods.append(likelihood[i])
    weight = np.exp(np.array(likelihoods) - max(likelihoods))
    good = weight > LEAST_WEIGHT
    return [field for field, likely in zip(fields, good, strict=True) if likely], weight[good] / weight[good].sum()
