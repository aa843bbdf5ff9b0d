"""The shapes of round dirt marks: ellipses with a soft rim, fitted to the grey picture, many at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import CELL_PX, GreyPicture
from lensbench.analysers.mark_fading import fade, faded_at
from lensbench.analysers.mark_filters import Peaks
from lensbench.analysers.mark_grids import Box, Level
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
    def box(self) -> Box:
        """The part of the frame that it changes."""
        reach = faded_at(self.steepness) * self.length.value / 2 + CELL_PX
        return Box(self.x - reach, self.y - reach, self.x + reach, self.y + reach)

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
        z[top:bottom, left:right] -= down @ shadow.astype(np.float32) @ across.T


def _thinned(start: int, stop: int, step: int) -> tuple[NDArray, NDArray[np.float32]]:
    """Every `step`-th cell, and the weights that interpolate between them, shape (cells, thinned)."""
    count = -(-(stop - start - 1) // step) + 1
    place = np.arange(stop - start) / step
    weights = np.maximum(1 - np.abs(place[:, None] - np.arange(count)), 0)
    return start + step * np.arange(count), weights.astype(np.float32)


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
    shapes: list[Shape | None] = [None] * len(peaks.x)
    # Pixels by themselves where not even the finest cells are small enough.
    for number, members in _by_level(levels, peaks.sigma):
        own = peaks.chosen(members)
        windows = _pixels(picture, own.x, own.y) if number < 0 else _cells(levels[number], own.x, own.y)
        radius = 1.3 * np.maximum(own.sigma / windows.cell_px, 1.0)
        zero = np.zeros(len(radius))
        theta = np.stack([zero, zero, zero, zero, 1 / radius, zero, 1 / radius, np.log(3.0) + zero], axis=1)
        theta[:, :2] = _best_height(theta, windows)
        for member, shape in zip(members, _fit(theta, windows, picture), strict=True):
            shapes[member] = shape
    return shapes


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
    renewed: list[Shape | None] = [None] * len(shapes)
    sizes = np.array([shape.length.value / WINDOW_LENGTHS for shape in shapes])
    for number, members in _by_level(levels, sizes):
        level = levels[max(number, 0)]
        own = [shapes[i] for i in members]
        windows = _cells(level, np.array([s.x for s in own]), np.array([s.y for s in own]))
        theta = np.stack([_parameters(shape, picture, level.cell_px) for shape in own])
        _, rest = _design(theta, replace(windows, z=np.zeros_like(windows.z)))
        windows = replace(windows, z=windows.z - rest)
        for member, shape in zip(members, _fit(theta, windows, picture), strict=True):
            renewed[member] = shape
    return renewed


def _parameters(shape: Shape, picture: GreyPicture, cell: int) -> NDArray[np.float64]:
    """What the fit would start from to give this shape, in cells."""
    height = shape.depth.value / 100 * float(picture.strength_at(shape.x, shape.y)) * cell / 2
    # The rotation that makes the ellipse's matrix lower triangular with a positive diagonal.
    lower = np.linalg.cholesky((shape.ellipse.T @ shape.ellipse)[::-1, ::-1])[::-1, ::-1].T * cell
    return np.array([height, 0, 0, 0, lower[0, 0], lower[1, 0], lower[1, 1], np.log(shape.steepness)])


def _by_level(levels: list[Level], sizes: NDArray) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """The coarsest level with cells no larger than each size (-1 for none), with the sizes that fall to it."""
    choice = np.searchsorted([level.cell_px for level in levels], sizes, side="right") - 1
    for number in np.unique(choice):
        yield int(number), np.flatnonzero(choice == number)


# -- windows --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Windows:
    """Windows around places x, y in pixels: what is there, where in cells from the place, how much it counts."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    z: NDArray[np.float64]
    u: NDArray[np.float64]
    v: NDArray[np.float64]
    good: NDArray[np.float64]
    cell_px: int

    def chosen(self, which: NDArray) -> _Windows:
        """The windows of an index."""
        parts = (getattr(self, name)[which] for name in ("x", "y", "z", "u", "v", "good"))
        return _Windows(*parts, self.cell_px)


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
    return _Windows(x, y, z, u, v, (good & (z != 0)).astype(np.float64), cell)


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
    return _Windows(x, y, z, columns - x[:, None], rows - y[:, None], weight * good * ~odd, 1)


# -- the fit --------------------------------------------------------------------------------------------------


def _fit(theta: NDArray, windows: _Windows, picture: GreyPicture) -> list[Shape | None]:
    """Levenberg-Marquardt on all windows at once, from parameters theta of shape (n, PARAMETERS)."""
    theta, radius = theta.copy(), 2 / (theta[:, 4] + theta[:, 6])
    damping = np.full(len(theta), 1e-2)
    busy = np.arange(len(theta))
    for _ in range(STEPS):
        own = windows.chosen(busy)
        design, rest = _design(theta[busy], own)
        weighed = (design * own.good[..., None]).transpose(0, 2, 1)
        normal, right = weighed @ design, weighed @ rest[..., None]
        diagonal = np.einsum("nii->ni", normal)
        more = damping[busy, None] * diagonal + 1e-9 * np.maximum(diagonal.max(axis=1, keepdims=True), 1)
        step = np.linalg.solve(normal + np.eye(PARAMETERS) * more[:, None], right)[..., 0]
        trial = _bounded(theta[busy] + step, radius[busy])
        error = (own.good * rest**2).sum(axis=1)
        gain = error - (own.good * _rest(trial, own) ** 2).sum(axis=1)
        theta[busy[gain > 0]] = trial[gain > 0]
        damping[busy] *= np.where(gain > 0, 0.25, 6)
        busy = busy[(np.abs(gain) > SETTLED + SETTLED_SHARE * error) & (damping[busy] <= 1e6)]
        if not len(busy):
            break
    design, rest = _design(theta, windows)
    return _described(theta, design, rest, windows, picture)


def _rest(theta: NDArray, windows: _Windows) -> NDArray[np.float64]:
    """What the model leaves over, shape (n, cells)."""
    height, ground, x, y, a, b, c, log_steep = (column[:, None] for column in theta.T)
    du, dv = windows.u - x, windows.v - y
    square = np.maximum((a * du) ** 2 + (b * du + c * dv) ** 2, 1e-12)
    power = np.exp(np.minimum(0.5 * np.exp(log_steep) * np.log(square), 4.0))
    return windows.z - ground - height * np.exp(-np.log(2) * power)


def _design(theta: NDArray, windows: _Windows) -> tuple[NDArray, NDArray]:
    """Slopes of the model by each parameter, shape (n, cells, parameters), and what the model leaves over."""
    height, ground, x, y, a, b, c, log_steep = (column[:, None] for column in theta.T)
    du, dv = windows.u - x, windows.v - y
    p, q = a * du, b * du + c * dv
    radius = np.maximum(np.hypot(p, q), 1e-6)
    steep = np.exp(log_steep)
    log_radius = np.log(radius)
    power = np.exp(np.minimum(steep * log_radius, 4.0))
    profile = np.exp(-np.log(2) * power)
    # height · d(profile)/d(log ρ), over ρ² where a derivative by p or q follows.
    by_log = -height * np.log(2) * steep * power * profile
    by_p, by_q = by_log * p / radius**2, by_log * q / radius**2
    columns = [
        profile,
        np.ones_like(profile),
        -(by_p * a + by_q * b),
        -by_q * c,
        by_p * du,
        by_q * du,
        by_q * dv,
        by_log * log_radius,
    ]
    return np.stack(columns, axis=-1), windows.z - ground - height * profile


def _best_height(theta: NDArray, windows: _Windows) -> NDArray:
    """Height and ground that fit best with the other parameters as they are, shape (n, 2)."""
    design, _ = _design(theta, windows)
    two = design[..., :2]
    weighed = (two * windows.good[..., None]).transpose(0, 2, 1)
    normal = weighed @ two + 1e-9 * np.eye(2)
    return np.linalg.solve(normal, weighed @ windows.z[..., None])[..., 0]


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


def _described(
    theta: NDArray, design: NDArray, rest: NDArray, windows: _Windows, picture: GreyPicture
) -> list[Shape | None]:
    cell = windows.cell_px
    weighed = design * windows.good[..., None]
    normal = weighed.transpose(0, 2, 1) @ design
    counted = (windows.good > 0).sum(axis=1)
    spread = np.maximum((windows.good * rest**2).sum(axis=1) / np.maximum(counted - PARAMETERS, 1), 1.0)
    shapes: list[Shape | None] = []
    for n in range(len(theta)):
        outside = np.abs(theta[n, 2:4]).max() > 0.6 * REACH_CELLS or 1 / theta[n, [4, 6]].min() > 0.9 * REACH_CELLS
        if counted[n] < 4 * PARAMETERS or outside:
            shapes.append(None)
            continue
        covariance = np.linalg.pinv(normal[n], hermitian=True) * spread[n]
        x, y = windows.x[n] + cell * theta[n, 2], windows.y[n] + cell * theta[n, 3]
        ellipse = np.array([[theta[n, 4], 0.0], [theta[n, 5], theta[n, 6]]]) / cell
        extents, half_extents = _extents(ellipse, covariance[4:7, 4:7] / cell**2)
        strength = float(picture.strength_at(x, y)) * cell / 2
        depth = Figure.of(100 * theta[n, 0] / strength, 196 * np.sqrt(max(covariance[0, 0], 0)) / strength, "%")
        energy = float(theta[n, 0] ** 2 * (weighed[n, :, 0] @ design[n, :, 0]))
        excess = float((windows.good[n] * rest[n] ** 2).sum() - counted[n])
        shapes.append(
            Shape(
                float(x),
                float(y),
                ellipse,
                float(np.exp(theta[n, 7])),
                Figure.of(extents[0], half_extents[0], "px"),
                Figure.of(extents[1], half_extents[1], "px"),
                depth,
                float(np.sqrt(energy)),
                max(excess, 0.0) / max(energy, 1e-9),
            )
        )
    return shapes


def _extents(ellipse: NDArray, covariance: NDArray) -> tuple[NDArray, NDArray]:
    """Width and length at half depth, and half of their intervals, from the ellipse's three parameters."""

    def of(a: float, b: float, c: float) -> NDArray:
        return 2 / np.linalg.svd(np.array([[a, 0.0], [b, c]]), compute_uv=False)

    three = np.array([ellipse[0, 0], ellipse[1, 0], ellipse[1, 1]])
    small = 1e-4 * np.abs(three).max()
    slopes = np.stack([(of(*(three + e)) - of(*(three - e))) / (2 * small) for e in small * np.eye(3)], axis=1)
    return of(*three), 1.96 * np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slopes, covariance, slopes), 0))
