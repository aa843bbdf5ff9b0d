"""A bright spot in the middle of an even light: what rings and tubes throw back, told from the lens's own falloff.

In one flat the two look much alike. A lens's own falloff is that of the field angle (cos⁴), and of rims that cut
in from somewhere half-way out; the skirt of a spot levels off, which those never do. Where a session has flats at
several apertures, `spot_growth` tells far better.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares, nnls

from lensbench.findings import BrightSpot, Figure, Place
from lensbench.frame import centre_of, half_diagonal

REACH = 0.7
"""How far from the frame's centre the light is looked at, as a share of the half-diagonal."""

FIELDS = np.array([0.1, 0.3, 0.6, 1.0, 1.6, 2.4, 3.5])
"""Squared tangents of the field angle at the corner for which the lens's own falloff may be made up of cos⁴."""

BENDS = np.linspace(0.3, REACH, 6)[:-1]
"""Where along the radius a rim may begin to cut the light; one that does so farther in looks like a spot."""

WIDTHS = (0.06, 0.1, 0.15, 0.2, 0.25)
"""Standard deviations of the spots looked for, in half-diagonals."""

NARROWEST, WIDEST = 0.03, 0.33
LEAST = 0.004
"""Part of the light that a spot adds at least in its middle."""

OFF_CENTRE = 0.25
"""How far from the frame's centre a spot may lie, in half-diagonals."""

PLAINER, MUCH_PLAINER, FOLLOWED = 1.5, 3.0, 2.5
"""How many times more must be left over without the spot than with it: where this is noise, and where it is more
than so many times the noise."""

BESIDES = 3e-4
"""Stops by which blocks depart from any model, noise apart."""

ONE_APERTURE = (
    "Seen at one aperture only. Reflections in rings and tubes grow as the iris closes: take flats at a wide and "
    "at a small aperture to be sure of it."
)

POINTS = 2500
"""About how many blocks are looked at."""


def find_bright_spot(
    size: tuple[int, int],
    x: NDArray,
    y: NDArray,
    stops: NDArray,
    trust: NDArray,
    spread: float,
    axis: NDArray | None = None,
) -> tuple[NDArray, BrightSpot | None]:
    """Look for a bright spot and find what it adds.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops : ndarray, shape (y, x)
        How dark each block is, positive is darker.
    trust : ndarray, shape (y, x)
        0 for blocks that don't count.
    spread : float
        Standard deviation of one block's noise, in stops.
    axis : ndarray, shape (2,), optional
        Where the lens's own light is centred, in half-diagonals from the frame's centre.

    Returns
    -------
    added : ndarray, shape (y, x)
        Stops by which the spot brightens each block; 0 where there is none.
    BrightSpot or None
    """
    half, middle = half_diagonal(size), centre_of(size)
    nothing = np.zeros_like(stops), None
    u, v = np.meshgrid((x - middle[0]) / half, (y - middle[1]) / half)
    thin = max(round(np.sqrt(stops.size / POINTS)), 1)
    near = np.zeros(stops.shape, bool)
    near[::thin, ::thin] = True
    near &= (np.hypot(u, v) < REACH) & (trust > 0)
    if near.sum() < 100:
        return nothing
    middle_of_light = axis if axis is not None else np.zeros(2)
    light = _Light(np.stack([u[near], v[near]]), stops[near], middle_of_light)
    noise = np.hypot(spread, BESIDES)
    plain = light.rest(0.0, WIDTHS[0], middle_of_light)
    if trimmed_rms(plain) < PLAINER * noise:
        return nothing
    fit = least_squares(
        lambda spot: light.rest(spot[0], float(np.exp(spot[1])), spot[2:]),
        light.likeliest(),
        loss="soft_l1",
        f_scale=4 * noise,
        bounds=([0, np.log(NARROWEST), *2 * [-OFF_CENTRE]], [3, np.log(WIDEST), *2 * [OFF_CENTRE]]),
        diff_step=1e-3,
        max_nfev=30,
    )
    strength, width, centre = fit.x[0], float(np.exp(fit.x[1])), fit.x[2:]
    left = trimmed_rms(light.rest(strength, width, centre))
    # What is left over besides noise is smooth, and so much the same over some sixteen neighbours.
    smooth = np.sqrt(max(left**2 - noise**2, 0.0))
    sigma = np.sqrt(np.diag(np.linalg.pinv(fit.jac.T @ fit.jac))) * np.hypot(left, 4 * smooth)
    told = strength > LEAST and width < 0.97 * WIDEST and np.abs(centre).max() < 0.97 * OFF_CENTRE
    better = trimmed_rms(plain) / left
    if not told or better < (PLAINER if left < FOLLOWED * noise else MUCH_PLAINER):
        return nothing
    added = np.log2(1 + strength * spot_shape(np.stack([u, v]), width, centre))
    spot = describe_spot(size, fit.x, sigma, ONE_APERTURE)
    return added, spot


def describe_spot(size: tuple[int, int], spot: NDArray, sigma: NDArray, note: str) -> BrightSpot:
    """The finding for a spot.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    spot, sigma : array_like, shape (4,)
        Strength, logarithm of the standard deviation in half-diagonals, place in half-diagonals from the frame's
        centre (x, y); and standard deviations of these.
    note : str
        What is to be thought of it.
    """
    half, middle = half_diagonal(size), centre_of(size)
    at_half = np.sqrt(2 * np.log(2)) * float(np.exp(spot[1])) * half
    at = [
        Figure.of(m + c * half, 1.96 * s * half, "px") for m, c, s in zip(middle, spot[2:], sigma[2:], strict=True)
    ]
    return BrightSpot(
        percent=Figure.of(100 * spot[0], 196 * sigma[0], "%"),
        radius_px=Figure.of(at_half, 1.96 * sigma[1] * at_half, "px"),
        centre_px=Place(*at),
        note=note,
    )


def spot_shape(places: NDArray, width: float, centre: NDArray) -> NDArray[np.float64]:
    """A spot of height 1 at places (x, y) along the first axis; all in half-diagonals."""
    squared = (places[0] - centre[0]) ** 2 + (places[1] - centre[1]) ** 2
    return np.exp(-squared / (2 * width**2))


def trimmed_rms(rest: NDArray) -> float:
    """Root mean square of all but the largest few, which are dirt."""
    return float(np.sqrt(np.mean(np.sort(rest**2)[: int(0.97 * len(rest))])))


class _Light:
    """The middle of the frame's light, to be split into a lens's profile and a spot."""

    def __init__(self, places: NDArray, stops: NDArray, axis: NDArray) -> None:
        self.places, self.stops = places, stops
        u, v = places
        r = np.hypot(u - axis[0], v - axis[1])
        natural = 2 * np.log2(1 + FIELDS * (r**2)[:, None])
        beyond = np.clip(r[:, None] - BENDS, 0, None) ** 1.5
        bending = np.column_stack([natural, r**4, r**6, beyond])
        # What may have either sign is taken out first: a level, what is lopsided, and what goes twice around.
        free = np.stack([np.ones_like(u), u, v, u * v, u * u - v * v], axis=1)
        self._free = np.linalg.qr(free)[0]
        self._bending = self._without_free(bending)

    def _without_free(self, values: NDArray) -> NDArray:
        return values - self._free @ (self._free.T @ values)

    def rest(self, strength: float, width: float, centre: NDArray) -> NDArray[np.float64]:
        """What the best lens leaves over once a spot is taken off."""
        lens = self.stops + np.log2(1 + strength * spot_shape(self.places, width, centre))
        lens = self._without_free(lens)
        normal = self._bending.T @ self._bending
        steady = 1e-9 * np.trace(normal) / len(normal) * np.eye(len(normal))
        root = np.linalg.cholesky(normal + steady)
        parts, _ = nnls(root.T, np.linalg.solve(root, self._bending.T @ lens))
        return lens - self._bending @ parts

    def likeliest(self) -> NDArray[np.float64]:
        """The best of a few widths and strengths in the very middle."""
        tried = [(strength, width) for width in WIDTHS for strength in LEAST * 3.0 ** np.arange(5)]
        best = min(tried, key=lambda spot: np.sum(self.rest(*spot, np.zeros(2)) ** 2))
        return np.array([best[0], np.log(best[1]), 0.0, 0.0])
