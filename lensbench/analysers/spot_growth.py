"""A bright spot that grows as the iris closes, told from the lens's own falloff by flats at several apertures.

What a lens does to the light by its field angle is the same at every aperture, and what rims take away only ever
eases as the iris closes. So where closing the iris leaves the middle brighter against its surroundings, light is
thrown back by rings and tubes. It is a part of the light that grows with the square of the f-number: the iris dims
the picture, and not what is thrown about.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, nnls

from lensbench.analysers.bright_spot import (
    LEAST,
    NARROWEST,
    OFF_CENTRE,
    WIDTHS,
    describe_spot,
    spot_shape,
    trimmed_rms,
)
from lensbench.analysers.round_light import centre_of_light
from lensbench.findings import BrightSpot
from lensbench.frame import centre_of, half_diagonal

WIDEST = 0.6
"""Standard deviation of the widest spot looked for, in half-diagonals."""

REACH = 0.85
"""How far from the frame's centre the light is compared, as a share of the half-diagonal."""

BENDS = np.linspace(0, REACH, 9)[:-1]
"""Where along the radius the wider aperture's rims may begin to cut the light."""

BESIDES = 5e-4
"""Stops by which two flats' difference departs from any model, noise apart."""

BETTER = 1.3
"""How many times more must be left over without the spot than with it."""

RELUCTANCE = 1.0
"""Cost of a spot or a rim that takes a stop, against the misfit of a block by its noise."""

SURE_AXIS = 0.1
"""Interval, in half-diagonals, up to which the centre of what rims take away is used."""

POINTS = 2500
"""About how many blocks are compared."""

GROWS = (
    "It grows as the iris closes, as reflections in rings and tubes do. Blacken or baffle the inside of the rings."
)


def growing_spot(
    size: tuple[int, int],
    x: NDArray,
    y: NDArray,
    stops: Sequence[NDArray],
    good: Sequence[NDArray],
    f_numbers: Sequence[float],
    spread: float,
) -> list[tuple[NDArray, BrightSpot | None]]:
    """Find what a growing spot adds at each aperture.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops : sequence of ndarray, shape (y, x)
        How dark each block is, for two apertures or more.
    good : sequence of ndarray of bool
        Which blocks count.
    f_numbers : sequence of float
        Rising.
    spread : float
        Standard deviation of one block's noise, in stops.

    Returns
    -------
    list of (ndarray, BrightSpot or None)
        For each aperture the stops by which the spot brightens each block, and the finding; None and 0 where there
        is none worth the name.
    """
    nothing = [(np.zeros_like(one), None) for one in stops]
    half, middle = half_diagonal(size), centre_of(size)
    u, v = np.meshgrid((x - middle[0]) / half, (y - middle[1]) / half)
    thin = max(round(np.sqrt(stops[0].size / POINTS)), 1)
    near = np.zeros(stops[0].shape, bool)
    near[::thin, ::thin] = True
    near &= (np.hypot(u, v) < REACH) & np.all(np.array(good), axis=0)
    if near.sum() < 100:
        return nothing
    places = np.stack([u[near], v[near]])
    growth = (np.asarray(f_numbers) / f_numbers[-1]) ** 2
    noise = np.sqrt(2) * np.hypot(spread, BESIDES)
    centre = centre_of_light(x, y, stops[0] - stops[-1], np.all(np.array(good), axis=0), size, spread)
    axis = centre[0] if centre is not None and centre[1].max() < SURE_AXIS else np.zeros(2)
    pairs = _Pairs(
        places, np.array([one[near] for one in stops]), growth, noise, np.zeros(2) if axis is None else axis
    )
    fits = [
        least_squares(
            pairs.rest,
            start,
            loss="soft_l1",
            f_scale=4 * noise,
            bounds=([0, np.log(NARROWEST), *2 * [-OFF_CENTRE]], [5, np.log(WIDEST), *2 * [OFF_CENTRE]]),
            diff_step=1e-3,
            max_nfev=30,
        )
        for start in pairs.likely()
    ]
    fit = min(fits, key=lambda one: one.cost)
    reach = 2.5 * float(np.exp(fit.x[1]))
    around = np.tile(np.hypot(*(places - fit.x[2:, None])) < reach, len(stops) - 1)
    left, plain = (
        trimmed_rms(pairs.rest(spot)[: len(around)][around]) for spot in (fit.x, np.array([0.0, *fit.x[1:]]))
    )
    if fit.x[0] < LEAST or plain < BETTER * left or np.abs(fit.x[2:]).max() > 0.97 * OFF_CENTRE:
        return nothing
    # What is left over besides noise is smooth, and so much the same over some sixteen neighbours.
    smooth = np.sqrt(max(left**2 - noise**2, 0.0))
    sigma = np.sqrt(np.diag(np.linalg.pinv(fit.jac.T @ fit.jac))) * np.hypot(left, 4 * smooth)
    shape = spot_shape(np.stack([u, v]), float(np.exp(fit.x[1])), fit.x[2:])
    found = []
    for share in growth:
        strength = share * fit.x[0]
        spot = np.array([strength, *fit.x[1:]])
        doubt = np.array([share * sigma[0], *sigma[1:]])
        named = describe_spot(size, spot, doubt, GROWS) if strength >= LEAST else None
        found.append((np.log2(1 + strength * shape), named))
    return found


class _Pairs:
    """How the light changes from each aperture to the next smaller one."""

    def __init__(self, places: NDArray, stops: NDArray, growth: NDArray, noise: float, axis: NDArray) -> None:
        self._places, self._stops, self._growth = places, stops, growth
        u, v = places
        r = np.hypot(u - axis[0], v - axis[1])
        beyond = np.clip(r[:, None] - BENDS, 0, None)
        # What may have either sign: a level, and what is lopsided, since rims may sit off the axis.
        free = np.stack([np.ones_like(u), u, v, u * v, u * u - v * v, u * r * r, v * r * r], axis=1)
        self._free = np.linalg.qr(free)[0]
        self._easing = self._without_free(np.concatenate([beyond, beyond**1.5, beyond**3], axis=1))
        # Spot and rims can nearly cancel each other; of such answers the one with less of both is meant.
        self._reluctance = np.sqrt(RELUCTANCE * len(r)) * noise
        normal = self._easing.T @ self._easing + self._reluctance**2 * np.eye(self._easing.shape[1])
        self._root = np.linalg.cholesky(normal)

    def _without_free(self, values: NDArray) -> NDArray:
        return values - self._free @ (self._free.T @ values)

    def rest(self, spot: NDArray) -> NDArray[np.float64]:
        """What spot and rims leave over of the changes, one after the other; then what spot and rims cost."""
        shape = spot_shape(self._places, float(np.exp(spot[1])), spot[2:])
        lens = self._stops + np.log2(1 + spot[0] * self._growth[:, None] * shape)
        left, taken = [], []
        for eased in lens[:-1] - lens[1:]:
            eased = self._without_free(eased)
            parts, _ = nnls(self._root.T, np.linalg.solve(self._root, self._easing.T @ eased))
            left.append(eased - self._easing @ parts)
            taken.append(self._reluctance * parts)
        return np.concatenate([*left, *taken, [self._reluctance * spot[0]]])

    def likely(self) -> list[NDArray[np.float64]]:
        """The best strength for each of a few widths, in the very middle."""
        strengths = LEAST * 3.0 ** np.arange(5)
        tried = [[np.array([s, np.log(width), 0.0, 0.0]) for s in strengths] for width in (*WIDTHS[1::2], 0.35)]
        return [min(group, key=lambda spot: float(np.sum(self.rest(spot) ** 2))) for group in tried]
