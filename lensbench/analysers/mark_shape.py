"""The shape of one dirt mark: an ellipse with a soft rim, fitted to the grey picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.grey import GreyPicture
from lensbench.findings import Figure

if TYPE_CHECKING:
    from lensbench.analysers.dust import Candidate, Level

REACH = 5.0
"""Half-width of the fitted window in standard deviations of the filter that found the mark."""

SOFTNESS = (0.06, 1.0)
"""Limits of the rim's softness, in radii: below, cells can't tell; above, width and depth can't be told apart."""


@dataclass(frozen=True)
class Shape:
    """A mark: place in px, width and length at half depth in px, depth in percent, signal to noise, lie."""

    x: float
    y: float
    width: Figure
    length: Figure
    depth: Figure
    signal_to_noise: float
    angle: float

    def covers(self, x: float, y: float) -> bool:
        """Whether a place lies on the mark or its rim."""
        dx, dy = x - self.x, y - self.y
        along = dx * np.cos(self.angle) + dy * np.sin(self.angle)
        across = dy * np.cos(self.angle) - dx * np.sin(self.angle)
        room = 6.0
        half = 0.8 * self.length.value + room, 0.8 * self.width.value + room
        return bool((along / half[0]) ** 2 + (across / half[1]) ** 2 <= 1)


def fit_shape(levels: list[Level], picture: GreyPicture, candidate: Candidate) -> Shape | None:
    """Fit an ellipse with a soft rim around a candidate, on the grid where it is a few cells wide.

    Returns
    -------
    Shape or None
        None where nothing with a shape is there.
    """
    fitting = [level for level in levels if candidate.sigma_px >= 1.4 * level.cell_px]
    level = fitting[-1] if fitting else levels[0]
    window = _window(level, candidate)
    z, u, v = window
    if z.size < 20:
        return None
    start = np.array(
        [0.0, 0.0, np.log(1.2 * candidate.sigma_px), np.log(1.2 * candidate.sigma_px), 0.0, np.log(0.3)]
    )
    return _solve(z, u, v, start, level, picture, candidate)


def _window(level: Level, candidate: Candidate) -> tuple[NDArray, NDArray, NDArray]:
    reach = max(REACH * candidate.sigma_px, 3 * level.cell_px)
    offset = (level.cell_px - 1) / 2
    rows = _cells(candidate.y, reach, offset, level.cell_px, level.z.shape[0])
    columns = _cells(candidate.x, reach, offset, level.cell_px, level.z.shape[1])
    z = level.z[rows, columns].astype(np.float64)
    v = np.arange(rows.start, rows.stop) * level.cell_px + offset - candidate.y
    u = np.arange(columns.start, columns.stop) * level.cell_px + offset - candidate.x
    u, v = np.meshgrid(u, v)
    return z.ravel(), u.ravel(), v.ravel()


def _cells(middle: float, reach: float, offset: float, cell: int, count: int) -> slice:
    low = int(np.clip(np.floor((middle - reach - offset) / cell), 0, count))
    high = int(np.clip(np.ceil((middle + reach - offset) / cell) + 1, 0, count))
    return slice(low, high)


def _profile(parameters: NDArray, u: NDArray, v: NDArray) -> NDArray:
    """The mark's profile, 1 in its middle, ½ near its rim."""
    x, y, log_a, log_b, angle, log_soft = parameters
    du, dv = u - x, v - y
    along = (du * np.cos(angle) + dv * np.sin(angle)) * np.exp(-log_a)
    across = (dv * np.cos(angle) - du * np.sin(angle)) * np.exp(-log_b)
    steepness = 1.7 * np.exp(-log_soft)
    rim = np.clip(steepness * (np.hypot(along, across) - 1), -60, 60)
    return (1 + np.exp(-steepness)) / (1 + np.exp(rim))


def _solve(
    z: NDArray, u: NDArray, v: NDArray, start: NDArray, level: Level, picture: GreyPicture, candidate: Candidate
) -> Shape | None:
    """Levenberg-Marquardt over the shape; height and ground are linear and solved anew at each step."""
    parameters, damping = start, 1e-2
    height, rest = _linear(parameters, z, u, v)
    for _ in range(40):
        slopes = _slopes(parameters, height[0], u, v)
        design = np.column_stack([_profile(parameters, u, v), np.ones_like(z), slopes])
        normal = design.T @ design
        right = design.T @ rest
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-9), right)[2:]
        limit = np.array([candidate.sigma_px, candidate.sigma_px, 0.5, 0.5, 0.5, 0.5])
        trial = _bounded(parameters + np.clip(step, -limit, limit), candidate.sigma_px)
        height_trial, rest_trial = _linear(trial, z, u, v)
        if rest_trial @ rest_trial < rest @ rest:
            gained = rest @ rest - rest_trial @ rest_trial
            parameters, height, rest, damping = trial, height_trial, rest_trial, damping / 3
            if gained < 1e-3:
                break
        else:
            damping *= 5
            if damping > 1e6:
                break
    return _described(parameters, height, rest, u, v, level, picture, candidate)


def _bounded(parameters: NDArray, sigma: float) -> NDArray:
    out = parameters.copy()
    out[:2] = np.clip(out[:2], -3 * sigma, 3 * sigma)
    out[2:4] = np.clip(out[2:4], np.log(0.8), np.log(4 * sigma))
    out[5] = np.clip(out[5], *np.log(SOFTNESS))
    return out


def _linear(parameters: NDArray, z: NDArray, u: NDArray, v: NDArray) -> tuple[NDArray, NDArray]:
    design = np.column_stack([_profile(parameters, u, v), np.ones_like(z)])
    solution, *_ = np.linalg.lstsq(design, z, rcond=None)
    return solution, z - design @ solution


def _slopes(parameters: NDArray, height: float, u: NDArray, v: NDArray) -> NDArray:
    columns = []
    for number in range(len(parameters)):
        delta = 0.05 if number < 2 else 1e-3
        shift = np.zeros(len(parameters))
        shift[number] = delta
        columns.append((_profile(parameters + shift, u, v) - _profile(parameters - shift, u, v)) / (2 * delta))
    return height * np.column_stack(columns)


def _described(
    parameters: NDArray,
    height: NDArray,
    rest: NDArray,
    u: NDArray,
    v: NDArray,
    level: Level,
    picture: GreyPicture,
    candidate: Candidate,
) -> Shape | None:
    profile = _profile(parameters, u, v)
    design = np.column_stack([profile, np.ones_like(profile), _slopes(parameters, height[0], u, v)])
    spread = max(float(np.sqrt(rest @ rest / max(len(rest) - 8, 1))), 1.0)
    covariance = np.linalg.pinv(design.T @ design) * spread**2
    half = 1.96 * np.sqrt(np.maximum(np.diag(covariance), 0))
    x, y = candidate.x + parameters[0], candidate.y + parameters[1]
    inside = np.clip([x, y], 0, [picture.size[0] - 1, picture.size[1] - 1])
    strength = picture.strength_at(*inside) * level.cell_px / 2
    steepness = 1.7 * np.exp(-parameters[5])
    at_half = 1 + np.log1p(2 * np.exp(-steepness)) / steepness
    extents = 2 * at_half * np.exp(parameters[2:4])
    turn = parameters[4] if extents[0] >= extents[1] else parameters[4] + np.pi / 2
    order = np.argsort(extents)
    halves = extents * half[4:6]
    return Shape(
        float(x),
        float(y),
        Figure.of(extents[order[0]], halves[order[0]], "px"),
        Figure.of(extents[order[1]], halves[order[1]], "px"),
        Figure.of(100 * height[0] / strength, 100 * half[0] / strength, "%"),
        float(abs(height[0]) * np.sqrt(profile @ profile) / spread),
        float(turn),
    )
