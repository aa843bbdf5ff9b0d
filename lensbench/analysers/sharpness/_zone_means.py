"""Means of sharpness over the areas of zones, from the positions that there are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY
from lensbench.analysers.numerics.area_means import area_means
from lensbench.analysers.sharpness._between_shots import variance_between_shots
from lensbench.analysers.sharpness._positions import Positions
from lensbench.findings import COMMON_RELATIVE_SIGMA, DIRECTIONS, MEAN, NORMAL_95


@dataclass(frozen=True, eq=False)
class ZoneMean:
    """The mean over a zone's area in one direction.

    `sigma` is its standard deviation, `noise_sigma` that of the mean over these very positions, both without the
    error that all edges have in common; `curve` the mean curve and its standard deviation at `FREQUENCY`, where
    there is one; `count` the number of positions.
    """

    value: float
    sigma: float
    noise_sigma: float
    curve: tuple[NDArray[np.float64], NDArray[np.float64]] | None
    count: int

    @property
    def whole_sigma(self) -> float:
        """The standard deviation with the common error."""
        return _with_common_error(self.value, self.sigma)


class ZoneMeans(NamedTuple):
    """Means of one zone by direction (the mean of both where both are known), and the difference's sigma."""

    by_direction: dict[str, ZoneMean]
    difference_sigma: float | None


@dataclass(frozen=True, eq=False)
class _AreaFigures:
    """A quantity's mean over the area of each zone, with its standard deviation and that by noise alone.

    `count` is how many positions there are in the zone; the others are NaN where there are none.
    """

    mean: NDArray[np.float64]
    sigma: NDArray[np.float64]
    noise_sigma: NDArray[np.float64]
    count: NDArray[np.int64]


def zone_means(positions: Positions, size: tuple[int, int]) -> list[ZoneMeans]:
    """Means over the area of each zone that has positions, by direction, in the order of `frame.ZONES`.

    Parameters
    ----------
    positions : Positions
        Tiles or groups of free edges, in one channel.
    size : (int, int)
        Width and height of the frame in pixels.
    """
    zone = frame.zone_index(positions.x, positions.y, size)
    areas = frame.zone_points(size)
    sides = [_over_zones(positions, zone, areas, np.eye(2)[k]) for k in (0, 1)]
    both = _over_zones(positions, zone, areas, np.array([0.5, 0.5]))
    apart = _over_zones(positions, zone, areas, np.array([1.0, -1.0]))
    result = []
    for j in range(len(areas)):
        means = {}
        for k, direction in enumerate(DIRECTIONS):
            if sides[k].count[j]:
                chosen = (zone == j) & np.isfinite(positions.mtf50[:, k])
                means[direction] = _zone_mean(positions, chosen, k, sides[k], j)
        difference = None
        if len(means) == 2:
            first, second = means.values()
            if_apart = float(np.hypot(first.sigma, second.sigma))
            difference = _known(apart.sigma[j], if_apart)
            means[MEAN] = _mean_of(first, second, _known(both.sigma[j], if_apart / 2))
        result.append(ZoneMeans(means, difference))
    return result


def _known(value: float, otherwise: float) -> float:
    return float(value) if np.isfinite(value) else otherwise


def _over_zones(
    positions: Positions, zone: NDArray, areas: list[NDArray], share: NDArray[np.float64]
) -> _AreaFigures:
    """A sum of both directions' figures over the areas of zones, of the positions that have all it takes."""
    good = np.flatnonzero(np.isfinite(positions.mtf50[:, share != 0]).all(axis=1))
    n = len(areas)
    count = np.bincount(zone[good], minlength=n)
    # Several shots of a tile are one value: no area is known better for them than the tile is.
    tile, owner = np.unique(positions.tile[good], return_inverse=True)
    owner = owner.ravel()
    shots = np.maximum(np.bincount(owner, minlength=len(tile)), 1)
    known = np.where(share != 0, positions.mtf50[good], 0.0) @ share
    value, x, y = (
        np.bincount(owner, part, len(tile)) / shots for part in (known, positions.x[good], positions.y[good])
    )
    noise = np.where(share != 0, positions.noise_sigma[good], 0.0) ** 2 @ share**2
    excess = np.where(share != 0, positions.excess_sigma[good], 0.0) ** 2 @ share**2
    variance = np.bincount(owner, noise, len(tile)) / shots**2 + np.bincount(owner, excess, len(tile)) / shots
    of_tile = zone[good][np.unique(owner, return_index=True)[1]] if len(good) else zone[good]
    mean, sigma, noise_sigma = np.full((3, n), np.nan)
    for k in np.flatnonzero(count):
        inside = of_tile == k
        if inside.any():
            mean[k], sigma[k], noise_sigma[k] = _plain_mean(value[inside], variance[inside])
    positive = bool((share >= 0).all())
    at = np.stack([x, y], axis=1)
    found = area_means(at, value, np.diag(variance), areas, positive) if len(tile) else None
    if found is not None:
        seen = np.isfinite(found.mean) & np.isfinite(mean)
        mean[seen], sigma[seen] = found.mean[seen], found.sigma[seen]
    for k in np.flatnonzero(count) if positions.shot.any() else ():
        inside = zone[good] == k
        of_shot = positions.shot[good][inside]
        unlike = variance_between_shots(known[inside], noise[inside], owner[inside], of_shot)
        sigma[k], noise_sigma[k] = np.hypot(sigma[k], unlike**0.5), np.hypot(noise_sigma[k], unlike**0.5)
    return _AreaFigures(mean, sigma, noise_sigma, np.where(np.isfinite(mean), count, 0))


def _plain_mean(value: NDArray, variance: NDArray) -> tuple[float, float, float]:
    """The mean of a few values, its standard deviation by all that they scatter by, and that by noise alone."""
    n = len(value)
    noise = float(np.sqrt(variance.sum())) / n
    if n < 2:
        return float(value[0]), noise, noise
    scatter = np.sqrt(max(float(np.var(value, ddof=1) - variance.mean()), 0.0) / n)
    # Student's distribution is wider than the normal one.
    return float(value.mean()), float(np.hypot(noise, scatter * stdtrit(n - 1, 0.975) / NORMAL_95)), noise


def _zone_mean(positions: Positions, chosen: NDArray, k: int, figures: _AreaFigures, j: int) -> ZoneMean:
    value, sigma, noise = (float(a[j]) for a in (figures.mean, figures.sigma, figures.noise_sigma))
    by_choice = np.sqrt(max(sigma**2 - noise**2, 0.0))
    return ZoneMean(value, sigma, noise, _mean_curve(positions, chosen, k, value, by_choice), int(chosen.sum()))


def _mean_of(first: ZoneMean, second: ZoneMean, sigma: float) -> ZoneMean:
    """The mean of two directions."""
    curve = None
    if first.curve is not None and second.curve is not None:
        # Most of the two curves' errors is common to both.
        curve = (first.curve[0] + second.curve[0]) / 2, (first.curve[1] + second.curve[1]) / 2
    noise = float(np.hypot(first.noise_sigma, second.noise_sigma) / 2)
    return ZoneMean((first.value + second.value) / 2, sigma, noise, curve, first.count + second.count)


def _with_common_error(value: float, sigma: float) -> float:
    return float(np.hypot(sigma, COMMON_RELATIVE_SIGMA * value))


def _mean_curve(
    positions: Positions, chosen: NDArray[np.bool_], k: int, value: float, by_choice: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """The mean of the positions' curves, scaled to the zone's MTF50, and its standard deviation."""
    known = chosen & np.isfinite(positions.curve[:, k, 0])
    if not known.any():
        return None
    scale = positions.mtf50[known, k].mean() / value
    mtf = np.interp(FREQUENCY * scale, FREQUENCY, positions.curve[known, k].mean(axis=0))
    noise = np.sqrt((positions.curve_sigma[known, k] ** 2).sum(axis=0)) / known.sum()
    # The curves are scaled to their positions' MTF50, so an error of MTF50 scales the frequency.
    own = np.hypot(by_choice, positions.excess_sigma_of_mean(known, k))
    scaling = _with_common_error(1.0, own / value)
    return mtf, np.hypot(noise, scaling * np.abs(np.gradient(mtf, FREQUENCY)) * FREQUENCY)
