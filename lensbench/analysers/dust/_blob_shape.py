"""The shapes of round dirt marks: ellipses with a soft rim, fitted to the grey picture, many at once."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._cells import CELL_PX
from lensbench.analysers.dust._matched_filters import Peaks
from lensbench.analysers.dust._pyramid import Box, Level
from lensbench.analysers.dust._residual import GreyPicture
from lensbench.analysers.dust._rim import fade, faded_at
from lensbench.analysers.numerics.strips import interpolation_matrix, subtract_product
from lensbench.findings import Figure

REACH_CELLS = 10
"""Half-width of the fitted window; the filter that found the mark is 1 to 2 cells wide."""

WINDOW_LENGTHS = 7
"""Cells to a mark's length when it is fitted anew: the window then reaches past both ends."""

STEEPNESS = (1.3, 20.0)
"""Limits of the rim's steepness: 2 is a Gaussian, 20 as good as a hard-edged disc."""

STEPS = 30
"""Steps of the fit at most."""

SETTLED, SETTLED_SHARE = 0.02, 2e-5
"""The fit has settled when a step changes the sum of squares (in noise) by less than this and that share of it."""

PARAMETERS = 8
"""Height, ground, x, y, the three of the ellipse, logarithm of the steepness."""


@dataclass(frozen=True, eq=False)
class Shape:
    """A round mark: depth × exp(−ln 2 · ρ^steepness), ρ being 1 where it is half as deep as in its middle.

    Attributes
    ----------
    x, y : float
        Its middle in pixels.
    ellipse : ndarray, shape (2, 2)
        Takes a place relative to the middle, in pixels, to a vector of length ρ.
    steepness : float
        Of the rim.
    width, length : Figure
        Across and along, at half depth, in pixels.
    depth : Figure
        In percent of the light around, darker positive.
    signal_to_noise : float
        Of the filter that matches the mark.
    unexplained : float
        Share of the mark's energy that the shape leaves over.
    """

    x: float
    y: float
    ellipse: NDArray[np.float64]
    steepness: float
    width: Figure
    length: Figure
    depth: Figure
    signal_to_noise: float
    unexplained: float

    def radius(self, x: NDArray, y: NDArray) -> NDArray:
        """ρ at places in pixels: 1 at half depth."""
        dx, dy = x - self.x, y - self.y
        (a, b), (c, d) = self.ellipse
        return np.hypot(a * dx + b * dy, c * dx + d * dy)

    @property
    def axis(self) -> NDArray[np.float64]:
        """The way that it is long, as a unit vector."""
        return np.linalg.svd(self.ellipse)[2][1]

    @property
    def reach(self) -> float:
        """Distance from its middle at which its shadow has faded."""
        return faded_at(self.steepness) * self.length.value / 2

    @property
    def box(self) -> Box:
        """The part of the frame that it changes."""
        return Box(self.x, self.y, self.x, self.y).grown(self.reach + CELL_PX)

    def lift(self, z: NDArray[np.float32], picture: GreyPicture, share: float = 1.0) -> None:
        """Lift the picture by a share of its shadow (-1 puts it back)."""
        box = self.box
        top, bottom = np.clip([box.top // CELL_PX, box.bottom // CELL_PX + 1], 0, z.shape[0]).astype(int)
        left, right = np.clip([box.left // CELL_PX, box.right // CELL_PX + 1], 0, z.shape[1]).astype(int)
        if bottom <= top or right <= left:
            return
        # Wide marks are smooth: every so many cells will do, with straight lines between.
        step = max(int(self.width.value / 40 / CELL_PX), 1)
        rows, down = _thinned(top, bottom, step)
        columns, across = _thinned(left, right, step)
        x, y = (CELL_PX * v + (CELL_PX - 1) / 2 for v in (columns, rows))
        strength = float(picture.strength_at(self.x, self.y))
        faded = fade(self.radius(x[None, :], y[:, None]), self.steepness)
        shadow = share * self.depth.value / 100 * strength * faded
        subtract_product(z[top:bottom, left:right], down, shadow.astype(np.float32) @ across.T)


def _thinned(start: int, stop: int, step: int) -> tuple[NDArray, NDArray[np.float32]]:
    """Every `step`-th cell, and the weights that interpolate between them, shape (cells, thinned)."""
    count = -(-(stop - start - 1) // step) + 1
    return start + step * np.arange(count), interpolation_matrix(np.arange(stop - start) / step, count)


def fit_shapes(picture: GreyPicture, levels: list[Level], peaks: Peaks) -> list[Shape | None]:
    """Fit a shape around each peak, in a window of the grid on which it is a few cells wide.

    Parameters
    ----------
    picture : GreyPicture
        The grey picture, for its signal to noise and, for the smallest marks, its single pixels.
    levels : list of Level
        The grey picture and its halvings, without the marks already known.
    peaks : Peaks
        Where to begin.

    Returns
    -------
    list of Shape or None
        One for each peak; None where nothing of a shape is there, or more than the window holds.
    """
    if not len(peaks.x):
        return []
    windows = _windows(picture, levels, _fitting_level(levels, peaks.sigma), peaks.x, peaks.y)
    radius = 1.3 * np.maximum(peaks.sigma / windows.cell_px, 1.0)
    zero = np.zeros(len(radius))
    theta = np.stack([zero, zero, zero, zero, 1 / radius, zero, 1 / radius, np.log(3.0) + zero], axis=1)
    theta[:, :2] = _best_height(theta, windows)
    return _fit(theta, windows, picture)


def refit_shapes(picture: GreyPicture, levels: list[Level], shapes: list[Shape]) -> list[Shape | None]:
    """Fit shapes anew where others have since been taken out around them.

    Parameters
    ----------
    picture, levels
        As in `fit_shapes`; the levels are those without any of the marks.
    shapes : list of Shape
        As found so far.

    Returns
    -------
    list of Shape or None
        As from `fit_shapes`.
    """
    if not shapes:
        return []
    x, y, length = np.array([(s.x, s.y, s.length.value) for s in shapes]).T
    numbers = np.maximum(_fitting_level(levels, length / WINDOW_LENGTHS), 0)
    windows = _windows(picture, levels, numbers, x, y)
    theta = np.stack([_parameters(s, picture, cell) for s, cell in zip(shapes, windows.cell_px, strict=True)])
    # The levels are without these shapes: what they leave over of nothing is put back.
    own = _design(theta, replace(windows, z=np.zeros_like(windows.z)))[:, -1]
    return _fit(theta, replace(windows, z=windows.z - own), picture)


def _parameters(shape: Shape, picture: GreyPicture, cell: float) -> NDArray[np.float64]:
    """What the fit would start from to give this shape, in cells."""
    height = shape.depth.value / 100 * float(picture.strength_at(shape.x, shape.y)) * cell / 2
    # The rotation that makes the ellipse's matrix lower triangular with a positive diagonal.
    lower = np.linalg.cholesky((shape.ellipse.T @ shape.ellipse)[::-1, ::-1])[::-1, ::-1].T * cell
    return np.array([height, 0, 0, 0, lower[0, 0], lower[1, 0], lower[1, 1], np.log(shape.steepness)])


def _fitting_level(levels: list[Level], sizes: NDArray) -> NDArray[np.int64]:
    """Numbers of the coarsest levels with cells no larger than each size; -1 for none."""
    return np.searchsorted([level.cell_px for level in levels], sizes, side="right") - 1


# -- windows --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Windows:
    """Windows around places x, y in pixels: what is there, where in cells from the place, how much it counts.

    Places and the cell of each window are of shape (n,), the rest of shape (n, cells).
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    u: NDArray[np.float64]
    v: NDArray[np.float64]
    good: NDArray[np.float64]
    cell_px: NDArray[np.float64]

    def chosen(self, which: NDArray) -> _Windows:
        """The windows of an index."""
        return _Windows(*(getattr(self, field.name)[which] for field in fields(self)))


def _windows(picture: GreyPicture, levels: list[Level], numbers: NDArray, x: NDArray, y: NDArray) -> _Windows:
    """A window around each place on the level of its number; of single pixels where that is -1."""
    order = np.argsort(numbers, kind="stable")
    parts = []
    for number in np.unique(numbers):
        own = numbers == number
        parts.append(_pixels(picture, x[own], y[own]) if number < 0 else _cells(levels[number], x[own], y[own]))
    together = _Windows(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(_Windows)))
    return together.chosen(np.argsort(order))


def _window_places(x: NDArray, y: NDArray, cell: int, offset: float) -> tuple[NDArray, NDArray]:
    """Rows and columns of the cells around each place, shape (places, cells)."""
    steps = np.arange(-REACH_CELLS, REACH_CELLS + 1)
    rows = np.rint((y - offset) / cell).astype(int)[:, None] + np.repeat(steps, len(steps))
    columns = np.rint((x - offset) / cell).astype(int)[:, None] + np.tile(steps, len(steps))
    return rows, columns


def _cells(level: Level, x: NDArray, y: NDArray) -> _Windows:
    cell, offset = level.cell_px, level.offset
    rows, columns = _window_places(x, y, cell, offset)
    height, width = level.z.shape
    good = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    z = level.z[np.clip(rows, 0, height - 1), np.clip(columns, 0, width - 1)].astype(np.float64)
    u = columns + (offset - x[:, None]) / cell
    v = rows + (offset - y[:, None]) / cell
    return _Windows(x, y, z, u, v, (good & (z != 0)).astype(np.float64), np.full(len(x), float(cell)))


def _pixels(picture: GreyPicture, x: NDArray, y: NDArray) -> _Windows:
    """Windows of single pixels, without the defective ones."""
    rows, columns = _window_places(x, y, 1, 0.0)
    width, height = picture.size
    good = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    depth, noise = picture.pixels(np.clip(columns, 0, width - 1), np.clip(rows, 0, height - 1))
    strength = picture.strength_at(x, y)[:, None] / 2
    z = depth * strength
    # Each pixel counts by its own noise, brought to that of an average one.
    weight = 1 / np.maximum(noise * strength, 1e-9) ** 2
    odd = np.abs(z - np.median(z, axis=1, keepdims=True)) > 60
    return _Windows(x, y, z, columns - x[:, None], rows - y[:, None], weight * good * ~odd, np.ones(len(x)))


# -- the fit --------------------------------------------------------------------------------------------------


def _fit(theta: NDArray, windows: _Windows, picture: GreyPicture) -> list[Shape | None]:
    """Levenberg-Marquardt on all windows at once, from parameters theta of shape (n, PARAMETERS)."""
    theta, radius = theta.copy(), 2 / (theta[:, 4] + theta[:, 6])
    products = _products(theta, windows)
    damping = np.full(len(theta), 1e-2)
    busy, own = np.arange(len(theta)), windows
    for _ in range(STEPS):
        trial = _bounded(theta[busy] + _step(products[busy], damping[busy]), radius[busy])
        trial_products = _products(trial, own)
        error = products[busy, -1, -1]
        gain = error - trial_products[:, -1, -1]
        better = gain > 0
        theta[busy[better]], products[busy[better]] = trial[better], trial_products[better]
        damping[busy] *= np.where(better, 0.25, 6)
        unsettled = (np.abs(gain) > SETTLED + SETTLED_SHARE * error) & (damping[busy] <= 1e6)
        if not unsettled.any():
            break
        if not unsettled.all():
            busy, own = busy[unsettled], own.chosen(unsettled)
    return _described(theta, products, windows, picture)


def _step(products: NDArray, damping: NDArray) -> NDArray[np.float64]:
    """What to change the parameters by, shape (n, PARAMETERS)."""
    normal, right = products[:, :-1, :-1], products[:, :-1, -1:]
    diagonal = np.einsum("nii->ni", normal)
    more = damping[:, None] * diagonal + 1e-9 * np.maximum(diagonal.max(axis=1, keepdims=True), 1)
    return np.linalg.solve(normal + np.eye(PARAMETERS) * more[:, None], right)[..., 0]


def _products(theta: NDArray, windows: _Windows) -> NDArray[np.float64]:
    """Products of the columns of `_design` with each other, weighed and summed over each window."""
    design = _design(theta, windows)
    return (design * windows.good[:, None]) @ design.transpose(0, 2, 1)


def _best_height(theta: NDArray, windows: _Windows) -> NDArray:
    """Height and ground that fit best with the other parameters as they are and these 0, shape (n, 2)."""
    products = _products(theta, windows)
    return np.linalg.solve(products[:, :2, :2] + 1e-9 * np.eye(2), products[:, :2, -1:])[..., 0]


def _design(theta: NDArray, windows: _Windows) -> NDArray[np.float64]:
    """Slopes of the model by each parameter, and at last what it leaves over, shape (n, PARAMETERS + 1, cells)."""
    height, ground, x, y, a, b, c, log_steep = (column[:, None] for column in theta.T)
    du, dv = windows.u - x, windows.v - y
    p, q = a * du, b * du + c * dv
    square = np.maximum(p * p + q * q, 1e-12)
    steep = np.exp(log_steep)
    log_radius = 0.5 * np.log(square)
    power = np.exp(np.minimum(steep * log_radius, 4.0))
    profile = np.exp(-np.log(2) * power)
    # height · d(profile)/d(log ρ), over ρ² where a derivative by p or q follows.
    by_log = (-height * np.log(2) * steep) * power * profile
    by_square = by_log / square
    by_p, by_q = by_square * p, by_square * q
    design = np.empty((len(theta), PARAMETERS + 1, windows.z.shape[1]))
    design[:, 0] = profile
    design[:, 1] = 1
    design[:, 2] = -a * by_p - b * by_q
    design[:, 3] = -c * by_q
    design[:, 4] = by_p * du
    design[:, 5] = by_q * du
    design[:, 6] = by_q * dv
    design[:, 7] = by_log * log_radius
    design[:, 8] = windows.z - ground - height * profile
    return design


def _bounded(theta: NDArray, radius: NDArray) -> NDArray:
    """Parameters kept where the window can tell them."""
    out = theta.copy()
    out[:, 2:4] = np.clip(out[:, 2:4], -2 * radius[:, None], 2 * radius[:, None])
    low, high = 1 / (2.0 * REACH_CELLS), 1 / 0.4
    out[:, 4] = np.clip(out[:, 4], low, high)
    out[:, 5] = np.clip(out[:, 5], -high, high)
    out[:, 6] = np.clip(out[:, 6], low, high)
    out[:, 7] = np.clip(out[:, 7], *np.log(STEEPNESS))
    return out


# -- what it means --------------------------------------------------------------------------------------------


def _described(theta: NDArray, products: NDArray, windows: _Windows, picture: GreyPicture) -> list[Shape | None]:
    """The shapes; None where little of one, or none, lies in the window."""
    counted = (windows.good > 0).sum(axis=1)
    inside = np.abs(theta[:, 2:4]).max(axis=1) <= 0.6 * REACH_CELLS
    inside &= 1 / theta[:, [4, 6]].min(axis=1) <= 0.9 * REACH_CELLS
    held = np.flatnonzero(inside & (counted >= 4 * PARAMETERS))
    shapes: list[Shape | None] = [None] * len(theta)
    theta, windows, counted = theta[held], windows.chosen(held), counted[held]
    normal, left, cell = products[held, :-1, :-1], products[held, -1, -1], windows.cell_px
    spread = np.maximum(left / np.maximum(counted - PARAMETERS, 1), 1.0)
    covariance = np.linalg.pinv(normal, hermitian=True) * spread[:, None, None]
    x, y = windows.x + cell * theta[:, 2], windows.y + cell * theta[:, 3]
    extents, half_extents = _extents(theta[:, 4:7], covariance[:, 4:7, 4:7])
    strength = picture.strength_at(x, y) * cell / 2
    depth = 100 * theta[:, 0] / strength
    half_depth = 196 * np.sqrt(np.maximum(covariance[:, 0, 0], 0)) / strength
    energy = theta[:, 0] ** 2 * normal[:, 0, 0]
    unexplained = np.maximum(left - counted, 0) / np.maximum(energy, 1e-9)
    for n, number in enumerate(held):
        shapes[number] = Shape(
            float(x[n]),
            float(y[n]),
            np.array([[theta[n, 4], 0.0], [theta[n, 5], theta[n, 6]]]) / cell[n],
            float(np.exp(theta[n, 7])),
            Figure.of(cell[n] * extents[n, 0], cell[n] * half_extents[n, 0], "px"),
            Figure.of(cell[n] * extents[n, 1], cell[n] * half_extents[n, 1], "px"),
            Figure.of(depth[n], half_depth[n], "%"),
            float(np.sqrt(energy[n])),
            float(unexplained[n]),
        )
    return shapes


def _extents(three: NDArray, covariance: NDArray) -> tuple[NDArray, NDArray]:
    """Widths and lengths at half depth in cells, and half of their intervals, shape (n, 2).

    From the three parameters of each ellipse, shape (n, 3), and their covariance.
    """

    def of(three: NDArray) -> NDArray:
        a, b, c = three.T
        return 2 / np.linalg.svd(np.stack([a, 0 * a, b, c], axis=-1).reshape(-1, 2, 2), compute_uv=False)

    small = 1e-4 * np.abs(three).max(axis=1, keepdims=True)
    slopes = np.stack([(of(three + small * e) - of(three - small * e)) / (2 * small) for e in np.eye(3)], axis=1)
    squares = np.einsum("nji,njk,nki->ni", slopes, covariance, slopes)
    return of(three), 1.96 * np.sqrt(np.maximum(squares, 0))
