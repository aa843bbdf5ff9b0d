"""The light panel as a smooth field that moves over the frame, fitted together with its moves.

Every flat shows lens and panel together: the lens's falloff stays, the panel's field moves along with the panel.
Differences between flats are the panel's alone, so the falloff is free at every cell, with one weak prior: that of
lenses is nearly rotationally symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.numerics.b_splines import spline_basis

NOISE = 4e-4
"""Standard error of a cell of a flat, in stops: noise, and what the splines can't follow (chosen by
experience)."""

GLARE = 0.03
"""Share of the light that may be spread over the frame as veiling glare (our own choice)."""

ASYMMETRY = 0.01
"""Prior standard deviation of a lens's deviation from symmetry at each cell, in stops (our own choice)."""

CURVATURE = 0.4
"""Prior of a panel's falloff by curvature, in stops at a half-diagonal from its middle: it decides only where the
flats do not (our own choice)."""

THIRD_DERIVATIVE = 2.0
"""Prior of the third derivatives of a panel's light, in stops over a cubed half-diagonal (our own choice).

They grow with the cube of the spatial frequency, so a finer pitch of the splines comes with a wider prior.
"""

USUAL_PITCH = 0.25
"""Distance of the panel's splines in half-diagonals, to which that prior belongs."""

STEP = 1e-3
"""Half-diagonals over which the field's derivative by a shift is taken."""

LONGEST_STEP, ROUNDS, HALVINGS, SETTLED = 0.12, 12, 4, 5e-4
"""Gauss-Newton: the longest step in half-diagonals, steps and halvings of one at most, and the share by which the
misfit must fall for another step."""


@dataclass(frozen=True, eq=False)
class Moves:
    """The panel's positions: shifts in half-diagonals (right, down) with their prior, and turns.

    Attributes
    ----------
    shift, known, sigma : ndarray, shape (positions, 2)
        The shift of each position from the first one, and mean and standard deviation of its prior.
    turn_deg : ndarray, shape (positions,)
        Anticlockwise as seen.
    """

    shift: NDArray[np.float64]
    known: NDArray[np.float64]
    sigma: NDArray[np.float64]
    turn_deg: NDArray[np.float64]

    def moved(self, shift: NDArray) -> Moves:
        """The same with other shifts."""
        return Moves(shift, self.known, self.sigma, self.turn_deg)


@dataclass(frozen=True, eq=False)
class PanelFit:
    """A panel and its moves.

    Attributes
    ----------
    moves : Moves
    misfit : float
        Chi-squared, priors included.
    scale : float
        Reduced chi-squared, 1 or more; variances are multiplied by it.
    covariance : ndarray
        Of the panel's coefficients, then of the shifts of all positions but the first.
    coefficients : ndarray
    """

    moves: Moves
    misfit: float
    scale: float
    covariance: NDArray[np.float64]
    coefficients: NDArray[np.float64]


class PanelField:
    """Flats of several positions of the panel, on coarse cells.

    Parameters
    ----------
    stops : ndarray, shape (positions, cells)
        What each flat shows, in stops, positive is darker.
    cells : ndarray, shape (cells, 2)
        The cells' positions in half-diagonals from the frame's centre.
    turn_deg : array_like, shape (positions,)
        How the panel was turned.
    reach : float
        How far it may have been moved, in half-diagonals.
    pitch : float
        Distance of the panel's splines.
    """

    def __init__(
        self,
        stops: NDArray,
        cells: NDArray,
        turn_deg: ArrayLike,
        reach: float = 1.0,
        pitch: float = USUAL_PITCH,
    ) -> None:
        self.cells = cells
        turns = np.asarray(turn_deg, float)
        self._turns = [_turn(degrees) for degrees in turns]
        extent = np.abs(cells).max(axis=0) + reach
        if any(turns % 180):
            extent[:] = extent.max()
        self._extent = extent
        self.splines = np.maximum(np.ceil(2 * extent / pitch).astype(int), 2) + 3
        self._penalty = _penalty_matrix(self.splines, pitch)
        self.change = stops - stops.mean(axis=0)
        self._symmetric = np.linalg.qr(_symmetric_functions(cells))[0]
        self._mean = self.asymmetric_part(stops.mean(axis=0))
        change = self.change
        # Glare, which comes from the whole of the panel, dilutes its changes where the lens is dark.
        dilution = GLARE * (2.0 ** (stops.mean(axis=0) - stops.mean(axis=0).min()) - 1) * np.abs(change).max()
        self._root_weight = 1 / np.hypot(NOISE, dilution)
        self._change = self._levelled(change)

    def _levelled(self, change: NDArray) -> NDArray:
        """Changes without each position's own level, over their standard errors; shape (positions, cells, …)."""
        root_weight = self._root_weight.reshape(-1, *[1] * (change.ndim - 2))
        return (change - np.average(change, axis=1, weights=self._root_weight**2)[:, None]) * root_weight

    def basis(self, number: int, shift: NDArray, points: NDArray | None = None) -> NDArray[np.float64]:
        """The panel's splines at points (the cells) with the panel at one of its positions."""
        seen = ((self.cells if points is None else points) - shift) @ self._turns[number]
        columns = []
        for axis in (0, 1):
            share = (seen[:, axis] + self._extent[axis]) / (2 * self._extent[axis])
            columns.append(spline_basis(np.clip(share, 0, 1) - 0.5, 1, int(self.splines[axis])))
        return (columns[1][:, :, None] * columns[0][:, None, :]).reshape(len(seen), -1)

    def seen(self, fit: PanelFit, points: NDArray) -> NDArray[np.float64]:
        """The panel's light at points, as a mean over its own positions."""
        return np.mean(
            [self.basis(k, s, points) @ fit.coefficients for k, s in enumerate(fit.moves.shift)], axis=0
        )

    def misfit(self, moves: Moves) -> float:
        """Chi-squared of the best panel for some moves."""
        return self._solved(moves, self._systems(moves))[1]

    def fit(self, moves: Moves) -> PanelFit:
        """Improve the moves by Gauss-Newton steps, with the panel refitted at each."""
        systems = self._systems(moves)
        coefficients, misfit = self._solved(moves, systems)
        for _ in range(ROUNDS):
            step = self._step(moves, coefficients, systems)
            step *= min(1.0, LONGEST_STEP / max(np.abs(step).max(), 1e-12))
            for _ in range(HALVINGS):
                newer = moves.moved(moves.shift + np.vstack([np.zeros(2), step]))
                changed = self._systems(newer)
                found, value = self._solved(newer, changed)
                if value < misfit:
                    break
                step = step / 2
            else:
                break
            settled = misfit - value < SETTLED * misfit
            moves, coefficients, misfit, systems = newer, found, value, changed
            if settled:
                break
        normal = self._joint_system(moves, coefficients, systems)[0]
        scale = self._scale(misfit, len(coefficients))
        return PanelFit(moves, misfit, scale, np.linalg.pinv(normal, hermitian=True) * scale, coefficients)

    def _scale(self, misfit: float, splines: int) -> float:
        return max(misfit / max(self._change.size - splines / 2, 1), 1.0)

    def slopes(self, moves: Moves, coefficients: NDArray) -> NDArray[np.float64]:
        """Derivatives of the panel's light by all positions' shifts but the first's, shape (2 (n - 1), cells)."""
        rows = []
        for number in range(1, len(moves.shift)):
            for axis in np.eye(2):
                ahead, behind = (
                    self.basis(number, moves.shift[number] + sign * STEP * axis) @ coefficients for sign in (1, -1)
                )
                rows.append((ahead - behind) / (2 * STEP))
        return np.array(rows)

    def asymmetric_part(self, values: NDArray) -> NDArray:
        """Values over the cells, shape (cells, …), less all that a lens may contribute to them."""
        return values - self._symmetric @ (self._symmetric.T @ values)

    def _systems(self, moves: Moves) -> tuple[NDArray, NDArray]:
        """What changes between positions, (positions, cells, splines), and the asymmetric part of the mean."""
        bases = np.stack([self.basis(number, shift) for number, shift in enumerate(moves.shift)])
        mean = bases.mean(axis=0)
        return self._levelled(bases - mean), self.asymmetric_part(mean)

    def _solved(self, moves: Moves, systems: tuple[NDArray, NDArray]) -> tuple[NDArray, float]:
        """The best panel's coefficients for some moves, and its chi-squared."""
        change, mean = systems
        flat = change.reshape(-1, change.shape[2])
        normal = flat.T @ flat + mean.T @ mean / ASYMMETRY**2 + self._penalty
        right = flat.T @ self._change.ravel() + mean.T @ self._mean / ASYMMETRY**2
        coefficients = np.linalg.solve(normal, right)
        misfit = np.sum((self._change.ravel() - flat @ coefficients) ** 2)
        misfit += np.sum((self._mean - mean @ coefficients) ** 2) / ASYMMETRY**2
        misfit += coefficients @ self._penalty @ coefficients
        misfit += np.sum(((moves.shift - moves.known) / moves.sigma)[1:] ** 2)
        return coefficients, float(misfit)

    def _step(self, moves: Moves, coefficients: NDArray, systems: tuple[NDArray, NDArray]) -> NDArray:
        """The Gauss-Newton step of the shifts, shape (positions - 1, 2)."""
        normal, right = self._joint_system(moves, coefficients, systems)
        ridge = 1e-9 * np.trace(normal) / len(normal) * np.eye(len(normal))
        return np.linalg.solve(normal + ridge, right)[len(coefficients) :].reshape(-1, 2)

    def _joint_system(
        self, moves: Moves, coefficients: NDArray, systems: tuple[NDArray, NDArray]
    ) -> tuple[NDArray, NDArray]:
        """Normal matrix and right-hand side for panel and shifts together."""
        change, mean = systems
        positions, count = len(moves.shift), len(coefficients)
        slopes = self.slopes(moves, coefficients)
        moving = np.zeros((positions, len(self.cells), len(slopes)))
        for number, slope in enumerate(slopes):
            moving[:, :, number] -= slope / positions
            moving[1 + number // 2, :, number] += slope
        rows = np.concatenate([change, self._levelled(moving)], axis=2).reshape(-1, count + len(slopes))
        mean_rows = np.concatenate([mean, self.asymmetric_part(slopes.T / positions)], axis=1)
        normal = rows.T @ rows + mean_rows.T @ mean_rows / ASYMMETRY**2
        normal[:count, :count] += self._penalty
        weight = 1 / moves.sigma[1:].ravel() ** 2
        normal[count:, count:] += np.diag(weight)
        residual = self._change.ravel() - change.reshape(-1, count) @ coefficients
        mean_residual = self._mean - mean @ coefficients
        right = rows.T @ residual + mean_rows.T @ mean_residual / ASYMMETRY**2
        right[:count] -= self._penalty @ coefficients
        right[count:] += weight * (moves.known - moves.shift)[1:].ravel()
        return normal, right


def _turn(degrees: float) -> NDArray[np.float64]:
    """Matrix from row vectors in the picture to the panel's axes, turned anticlockwise as seen (y down)."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[cos, sin], [-sin, cos]])


def _symmetric_functions(cells: NDArray) -> NDArray[np.float64]:
    """What a lens may contribute: any profile of the radius, hot spots, and order 1 around it as by decentring."""
    u, v = cells.T
    q = u**2 + v**2
    even = [q**power for power in range(5)] + [np.exp(-q / (2 * width**2)) for width in (0.08, 0.14, 0.22, 0.32)]
    return np.stack(even + [side * q**power for side in (u, v) for power in range(3)], axis=1)


def _penalty_matrix(splines: NDArray, pitch: float) -> NDArray[np.float64]:
    """Penalty of a panel's coefficients: the priors of its curvature and of its third derivatives."""
    across, down = (int(n) for n in splines)
    third = THIRD_DERIVATIVE * max(USUAL_PITCH / pitch, 1.0) ** 6 * pitch**3
    second = 2 * CURVATURE * pitch**2 * np.sqrt(across * down)
    total = 1e-4 * np.eye(across * down)
    for order, prior in ((3, third), (2, second)):
        d = [np.diff(np.eye(n), order, axis=0) for n in (across, down)]
        total += (np.kron(d[1].T @ d[1], np.eye(across)) + np.kron(np.eye(down), d[0].T @ d[0])) / prior**2
    mixed = np.kron(np.diff(np.eye(down), axis=0), np.diff(np.eye(across), axis=0))
    return total + mixed.T @ mixed / second**2
