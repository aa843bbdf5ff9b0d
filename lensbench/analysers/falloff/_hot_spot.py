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

from lensbench.analysers.flat_light import centre_of_light
from lensbench.findings import NORMAL_95, Figure, HotSpot, Position
from lensbench.frame import centre_of, half_diagonal

WIDTHS = (0.1, 0.2, 0.35)
"""Standard deviations of the spots looked for, in half-diagonals."""

NARROWEST, WIDEST = 0.03, 0.45
LEAST = 0.004
"""Part of the light that a spot adds at least in its middle."""

OFF_CENTRE = 0.15
"""How far from the frame's centre a spot may lie, in half-diagonals."""

REACH = 0.65
"""How far from the frame's centre the light is compared, as a share of the half-diagonal."""

BENDS = np.linspace(0, REACH, 9)[:-1]
"""Where along the radius the wider aperture's rims may begin to cut the light."""

BESIDES = 5e-4
"""Stops by which two flats' difference departs from any model, noise apart."""

BETTER = 1.3
"""How many times more must be left over without the spot than with it."""

RELUCTANCE = 30.0
"""Cost of a spot or a rim that takes a stop, against the misfit of a block by its noise."""

SURE_AXIS = 0.1
"""Interval, in half-diagonals, up to which the centre of what rims take away is used."""

SHAPE_DOUBT = 0.02
"""Part of a spot's strength by which it may be off because its true shape isn't known."""

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
) -> list[tuple[NDArray, HotSpot | None]]:
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
    list of (ndarray, HotSpot or None)
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
    pairs = _Pairs(places, np.array([one[near] for one in stops]), growth, noise, axis)
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
        _trimmed_rms(pairs.rest(spot)[: len(around)][around]) for spot in (fit.x, np.array([0.0, *fit.x[1:]]))
    )
    if fit.x[0] < LEAST or plain < BETTER * left or np.abs(fit.x[2:]).max() > 0.97 * OFF_CENTRE:
        return nothing
    # What is left over besides noise is smooth, and so much the same over some sixteen neighbours.
    smooth = np.sqrt(max(left**2 - noise**2, 0.0))
    sigma = np.sqrt(np.diag(np.linalg.pinv(fit.jac.T @ fit.jac))) * np.hypot(left, 4 * smooth)
    shape = _shape(np.stack([u, v]), float(np.exp(fit.x[1])), fit.x[2:])
    found = []
    for share in growth:
        strength = share * fit.x[0]
        spot = np.array([strength, *fit.x[1:]])
        doubt = np.array([np.hypot(share * sigma[0], SHAPE_DOUBT * strength), *sigma[1:]])
        named = _described(size, spot, doubt) if strength >= LEAST else None
        found.append((np.log2(1 + strength * shape), named))
    return found


def _described(size: tuple[int, int], spot: NDArray, sigma: NDArray) -> HotSpot:
    """The finding for a spot.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    spot, sigma : array_like, shape (4,)
        Strength, logarithm of the standard deviation in half-diagonals, place in half-diagonals from the frame's
        centre (x, y); and standard deviations of these.
    """
    half, middle = half_diagonal(size), centre_of(size)
    at_half = np.sqrt(2 * np.log(2)) * float(np.exp(spot[1])) * half
    at = [
        Figure.of(m + c * half, NORMAL_95 * s * half, "px")
        for m, c, s in zip(middle, spot[2:], sigma[2:], strict=True)
    ]
    return HotSpot(
        percent=Figure.of(100 * spot[0], 100 * NORMAL_95 * sigma[0], "%"),
        radius_px=Figure.of(at_half, NORMAL_95 * sigma[1] * at_half, "px"),
        centre_px=Position(*at),
        note=GROWS,
    )


def _shape(places: NDArray, width: float, centre: NDArray) -> NDArray[np.float64]:
    """A spot of height 1 at places (x, y) along the first axis; all in half-diagonals."""
    squared = (places[0] - centre[0]) ** 2 + (places[1] - centre[1]) ** 2
    return np.exp(-squared / (2 * width**2))


def _trimmed_rms(rest: NDArray) -> float:
    """Root mean square of all but the largest few, which are dirt."""
    return float(np.sqrt(np.mean(np.sort(rest**2)[: int(0.97 * len(rest))])))


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
        shape = _shape(self._places, float(np.exp(spot[1])), spot[2:])
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
        tried = [[np.array([s, np.log(width), 0.0, 0.0]) for s in strengths] for width in WIDTHS]
        return [min(group, key=lambda spot: float(np.sum(self.rest(spot) ** 2))) for group in tried]
