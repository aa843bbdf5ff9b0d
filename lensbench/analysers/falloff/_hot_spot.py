"""A hot spot that grows as the iris closes, separated from the lens's own falloff by flats at several apertures.

The falloff that depends on the field angle is the same at every aperture, and vignetting by rims only decreases as
the iris closes. So where closing the iris leaves the middle brighter against its surroundings, light is reflected
by rings and tubes. Its share of the light is proportional to the square of the f-number: the iris dims the
picture, and not the reflections.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeResult, least_squares, nnls

from lensbench.analysers.flat_light import LightMap, centre_of_light
from lensbench.findings import NORMAL_95, Figure, HotSpot, Position
from lensbench.frame import centre_of, half_diagonal

WIDTHS = (0.1, 0.2, 0.35)
"""Standard deviations of the Gaussian spots that the fit starts from, in half-diagonals."""

NARROWEST, WIDEST = 0.03, 0.45
"""Bounds of a spot's standard deviation, in half-diagonals (chosen by experience)."""

LEAST_STRENGTH = 0.004
"""Share of the light that a spot adds at its centre at least (chosen by experience)."""

OFF_CENTRE = 0.15
"""How far from the frame's centre a spot may lie, in half-diagonals (chosen by experience)."""

REACH = 0.65
"""Distance from the frame's centre within which the light is compared, in half-diagonals (chosen by
experience)."""

KNOTS = np.linspace(0, REACH, 9)[:-1]
"""Radii at which vignetting at the wider aperture may begin, in half-diagonals."""

MODEL_ERROR = 5e-4
"""Stops by which two flats' difference deviates from any model, noise apart (chosen by experience)."""

MISFIT_RATIO = 1.3
"""How many times larger the residual must be without the spot than with it (chosen by experience)."""

PENALTY = 30.0
"""Cost of a spot or a rim of one stop, against the misfit of a block by its noise (chosen by experience)."""

KNOWN_AXIS = 0.1
"""Half of the interval, in half-diagonals, up to which the axis of the vignetting is used (chosen by
experience)."""

SHAPE_ERROR = 0.02
"""Share of a spot's strength by which it may be wrong because a real spot is no Gaussian (chosen by
experience)."""

POINTS, FEWEST_POINTS = 2500, 100
"""About how many blocks are compared, and how many at least."""

TRIM = 0.97
"""Share of the residuals that is judged; the largest are dirt."""

CORRELATED = 16
"""Neighbouring blocks over which the residual besides noise is alike (chosen by experience)."""

GROWS = (
    "It grows as the iris closes, as reflections in rings and tubes do. Blacken or baffle the inside of the rings."
)


class SpotLight(NamedTuple):
    """A hot spot at one aperture: the stops by which it brightens each block, and the finding, if any."""

    stops: NDArray[np.float64]
    finding: HotSpot | None


def find_hot_spots(
    maps: Sequence[LightMap], stops: Sequence[NDArray], f_numbers: Sequence[float]
) -> list[SpotLight]:
    """Find what a growing hot spot adds at each aperture.

    Parameters
    ----------
    maps : sequence of LightMap
        For two apertures or more; all over the same blocks.
    stops : sequence of ndarray, shape (y, x)
        How dark each block is at each aperture.
    f_numbers : sequence of float
        Rising.

    Returns
    -------
    list of SpotLight
        One for each aperture; with stops of 0 where there is no spot that counts.
    """
    nothing = [SpotLight(np.zeros_like(one), None) for one in stops]
    first = maps[0]
    size, half, middle = first.size, half_diagonal(first.size), centre_of(first.size)
    u, v = np.meshgrid((first.x - middle[0]) / half, (first.y - middle[1]) / half)
    good = np.all([one.readable & ~one.rough for one in maps], axis=0)
    step = max(round(np.sqrt(stops[0].size / POINTS)), 1)
    near = np.zeros(stops[0].shape, bool)
    near[::step, ::step] = True
    near &= (np.hypot(u, v) < REACH) & good
    if near.sum() < FEWEST_POINTS:
        return nothing
    points = np.stack([u[near], v[near]])
    growth = (np.asarray(f_numbers) / f_numbers[-1]) ** 2
    noise = np.sqrt(2) * np.hypot(first.spread, MODEL_ERROR)
    centre = centre_of_light(first.x, first.y, stops[0] - stops[-1], good, size, first.spread)
    axis = centre[0] if centre is not None and centre[1].max() < KNOWN_AXIS else np.zeros(2)
    changes = _Changes(points, np.array([one[near] for one in stops]), growth, noise, axis)
    fit = _best_fit(changes, noise)
    misfit, without = (_misfit_around(changes, fit.x, spot) for spot in (fit.x, np.array([0.0, *fit.x[1:]])))
    off_centre = np.abs(fit.x[2:]).max() > 0.97 * OFF_CENTRE
    if fit.x[0] < LEAST_STRENGTH or without < MISFIT_RATIO * misfit or off_centre:
        return nothing
    model_error = np.sqrt(max(misfit**2 - noise**2, 0.0))
    variance = misfit**2 + CORRELATED * model_error**2
    sigma = np.sqrt(np.diag(np.linalg.pinv(fit.jac.T @ fit.jac))) * np.sqrt(variance)
    shape = _gaussian(np.stack([u, v]), float(np.exp(fit.x[1])), fit.x[2:])
    found = []
    for share in growth:
        strength = share * fit.x[0]
        spot = np.array([strength, *fit.x[1:]])
        errors = np.array([np.hypot(share * sigma[0], SHAPE_ERROR * strength), *sigma[1:]])
        finding = _finding(size, spot, errors) if strength >= LEAST_STRENGTH else None
        found.append(SpotLight(np.log2(1 + strength * shape), finding))
    return found


def _best_fit(changes: _Changes, noise: float) -> OptimizeResult:
    """The spot that fits best, from several starts."""
    fits = [
        least_squares(
            changes.residuals,
            start,
            loss="soft_l1",
            f_scale=4 * noise,
            bounds=([0, np.log(NARROWEST), *2 * [-OFF_CENTRE]], [5, np.log(WIDEST), *2 * [OFF_CENTRE]]),
            diff_step=1e-3,
            max_nfev=30,
        )
        for start in changes.starts()
    ]
    return min(fits, key=lambda one: one.cost)


def _misfit_around(changes: _Changes, place: NDArray, spot: NDArray) -> float:
    """Root mean square of the residuals of a spot around another one's place."""
    reach = 2.5 * float(np.exp(place[1]))
    around = np.tile(np.hypot(*(changes.points - place[2:, None])) < reach, changes.count)
    return _trimmed_rms(changes.residuals(spot)[: len(around)][around])


def _finding(size: tuple[int, int], spot: NDArray, sigma: NDArray) -> HotSpot:
    """The finding for a spot.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    spot, sigma : ndarray, shape (4,)
        Strength, logarithm of the standard deviation in half-diagonals, position in half-diagonals from the
        frame's centre (x, y); and standard errors of these.
    """
    half, middle = half_diagonal(size), centre_of(size)
    at_half = np.sqrt(2 * np.log(2)) * float(np.exp(spot[1])) * half
    x, y = (
        Figure.of(m + c * half, NORMAL_95 * s * half, "px")
        for m, c, s in zip(middle, spot[2:], sigma[2:], strict=True)
    )
    return HotSpot(
        percent=Figure.of(100 * spot[0], 100 * NORMAL_95 * sigma[0], "%"),
        radius_px=Figure.of(at_half, NORMAL_95 * sigma[1] * at_half, "px"),
        centre_px=Position(x, y),
        note=GROWS,
    )


def _gaussian(points: NDArray, width: float, centre: NDArray) -> NDArray[np.float64]:
    """A spot of height 1 at points (x, y) along the first axis; all in half-diagonals."""
    squared = (points[0] - centre[0]) ** 2 + (points[1] - centre[1]) ** 2
    return np.exp(-squared / (2 * width**2))


def _trimmed_rms(residuals: NDArray) -> float:
    """Root mean square of all but the largest few."""
    return float(np.sqrt(np.mean(np.sort(residuals**2)[: int(TRIM * len(residuals))])))


class _Changes:
    """How the light changes from each aperture to the next smaller one, at points (x, y) in half-diagonals."""

    def __init__(self, points: NDArray, stops: NDArray, growth: NDArray, noise: float, axis: NDArray) -> None:
        self.points, self.count = points, len(stops) - 1
        self._stops, self._growth = stops, growth
        u, v = points
        r = np.hypot(u - axis[0], v - axis[1])
        beyond = np.clip(r[:, None] - KNOTS, 0, None)
        # Terms of either sign: a level, and all that is not symmetric, since rims may be off the axis.
        free = np.stack([np.ones_like(u), u, v, u * v, u * u - v * v, u * r * r, v * r * r], axis=1)
        self._free = np.linalg.qr(free)[0]
        self._vignetting = self._without_free(np.concatenate([beyond, beyond**1.5, beyond**3], axis=1))
        # Spot and vignetting can nearly cancel each other; of such solutions the penalty prefers the smaller.
        self._penalty = np.sqrt(PENALTY * len(r)) * noise
        normal = self._vignetting.T @ self._vignetting + self._penalty**2 * np.eye(self._vignetting.shape[1])
        self._root = np.linalg.cholesky(normal)

    def _without_free(self, values: NDArray) -> NDArray:
        return values - self._free @ (self._free.T @ values)

    def residuals(self, spot: NDArray) -> NDArray[np.float64]:
        """Residuals of the changes after spot and vignetting, one after the other; then the penalties of both."""
        shape = _gaussian(self.points, float(np.exp(spot[1])), spot[2:])
        lens = self._stops + np.log2(1 + spot[0] * self._growth[:, None] * shape)
        residuals, penalties = [], []
        for change in lens[:-1] - lens[1:]:
            decrease = self._without_free(change)
            amounts, _ = nnls(self._root.T, np.linalg.solve(self._root, self._vignetting.T @ decrease))
            residuals.append(decrease - self._vignetting @ amounts)
            penalties.append(self._penalty * amounts)
        return np.concatenate([*residuals, *penalties, [self._penalty * spot[0]]])

    def starts(self) -> list[NDArray[np.float64]]:
        """The best strength for each of a few widths, in the very middle."""
        strengths = LEAST_STRENGTH * 3.0 ** np.arange(5)
        tried = [[np.array([s, np.log(width), 0.0, 0.0]) for s in strengths] for width in WIDTHS]
        return [min(group, key=lambda spot: float(np.sum(self.residuals(spot) ** 2))) for group in tried]
