"""The light panel as a smooth field that moves over the frame, fitted together with its moves.

Every flat shows lens and panel together: the lens stays, the panel's field moves along with the panel. Differences
between flats are the panel's alone, so the lens is free at every place, but for one weak piece of knowledge: what
lenses do to light is nearly round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.numerics.b_splines import spline_basis

NOISE = 4e-4
"""Stops by which a cell of a flat may depart from the model: noise, and what the splines can't follow."""

GLARE = 0.03
"""Part of the light that may lie over the frame as veiling glare."""

ROUNDNESS = 0.01
"""Stops by which a lens may depart from roundness at each cell."""

BEND = 0.4
"""How strongly panels bend, in stops at a half-diagonal from their middle: for where nothing else tells."""

ROUGH = 2.0
"""Third derivatives of a panel's light, in stops over a cubed half-diagonal, that are nothing unusual.

They grow with the cube of how finely the light ripples, and so are allowed more where the splines stand closer.
"""

USUAL_PITCH = 0.25
"""Distance of the panel's splines in half-diagonals."""

STEP = 1e-3
"""Half-diagonals over which the field's slope is taken."""

LONGEST_STEP = 0.12
ROUNDS, SETTLED = 12, 5e-4
"""Most steps of a fit, and the share by which the misfit must fall for another one."""


@dataclass(frozen=True, eq=False)
class Moves:
    """How the panel stood: shifts in half-diagonals (right, down), what is known of them beforehand, and turns.

    Attributes
    ----------
    shift, known, sigma : ndarray, shape (places, 2)
        Where each place lies, where it was said or guessed to lie, and how surely; the first place is the origin.
    turn_deg : ndarray, shape (places,)
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
        Sum of squares over their variances, priors included.
    scale : float
        By how much variances must be widened for the misfit to be what it should, 1 or more.
    covariance : ndarray
        Of the panel's coefficients, then of the shifts of all places but the first.
    coefficients : ndarray
    """

    moves: Moves
    misfit: float
    scale: float
    covariance: NDArray[np.float64]
    coefficients: NDArray[np.float64]


class PanelField:
    """Flats of several places of the panel, on coarse cells.

    Parameters
    ----------
    stops : ndarray, shape (places, cells)
        What each flat shows, in stops, positive is darker.
    cells : ndarray, shape (cells, 2)
        Where, in half-diagonals from the frame's centre.
    turn_deg : sequence of float
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
        turn_deg: Sequence[float],
        reach: float = 1.0,
        pitch: float = USUAL_PITCH,
    ) -> None:
        self.cells = cells
        self._turns = [_turn(degrees) for degrees in turn_deg]
        extent = np.abs(cells).max(axis=0) + reach
        if any(np.asarray(turn_deg) % 180):
            extent[:] = extent.max()
        self._extent = extent
        self.splines = np.maximum(np.ceil(2 * extent / pitch).astype(int), 2) + 3
        self._stiffness = _stiffness(self.splines, pitch)
        self.change = stops - stops.mean(axis=0)
        self._round = np.linalg.qr(_round_functions(cells))[0]
        self._mean = self.not_round(stops.mean(axis=0))
        change = self.change
        # Glare, which comes from the whole of the panel, thins its changes out where the lens is dark.
        thinned = GLARE * (2.0 ** (stops.mean(axis=0) - stops.mean(axis=0).min()) - 1) * np.abs(change).max()
        self._trust = 1 / np.hypot(NOISE, thinned)
        self._change = self._levelled(change)

    def _levelled(self, change: NDArray) -> NDArray:
        """Changes without each place's own level, in units of what they may be off; shape (places, cells, …)."""
        trust = self._trust.reshape(-1, *[1] * (change.ndim - 2))
        return (change - np.average(change, axis=1, weights=self._trust**2)[:, None]) * trust

    def basis(self, place: int, shift: NDArray, at: NDArray | None = None) -> NDArray[np.float64]:
        """The panel's splines as they lie over places (the cells) with the panel at one of its places."""
        seen = ((self.cells if at is None else at) - shift) @ self._turns[place]
        columns = []
        for axis in (0, 1):
            share = (seen[:, axis] + self._extent[axis]) / (2 * self._extent[axis])
            columns.append(spline_basis(np.clip(share, 0, 1) - 0.5, 1, int(self.splines[axis])))
        return (columns[1][:, :, None] * columns[0][:, None, :]).reshape(len(seen), -1)

    def seen(self, fit: PanelFit, at: NDArray) -> NDArray[np.float64]:
        """The panel's light at places, as a mean over its own places."""
        return np.mean([self.basis(k, s, at) @ fit.coefficients for k, s in enumerate(fit.moves.shift)], axis=0)

    def misfit(self, moves: Moves) -> float:
        """How badly the best panel for some moves fits."""
        return self._solved(moves, self._systems(moves))[1]

    def fit(self, moves: Moves) -> PanelFit:
        """Improve the moves, by Gauss and Newton, with the panel refitted at every step."""
        systems = self._systems(moves)
        coefficients, misfit = self._solved(moves, systems)
        for _ in range(ROUNDS):
            step = self._step(moves, coefficients, systems)
            step *= min(1.0, LONGEST_STEP / max(np.abs(step).max(), 1e-12))
            for _ in range(4):
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
        normal = self._together(moves, coefficients, systems)[0]
        scale = self._scale(misfit, len(coefficients))
        return PanelFit(moves, misfit, scale, np.linalg.pinv(normal, hermitian=True) * scale, coefficients)

    def _scale(self, misfit: float, splines: int) -> float:
        return max(misfit / max(self._change.size - splines / 2, 1), 1.0)

    def slopes(self, moves: Moves, coefficients: NDArray) -> NDArray[np.float64]:
        """How the panel's light changes as each place but the first moves, shape (2 (places - 1), cells)."""
        rows = []
        for place in range(1, len(moves.shift)):
            for axis in np.eye(2):
                ahead, behind = (
                    self.basis(place, moves.shift[place] + sign * STEP * axis) @ coefficients for sign in (1, -1)
                )
                rows.append((ahead - behind) / (2 * STEP))
        return np.array(rows)

    def not_round(self, values: NDArray) -> NDArray:
        """What is left of values over the cells, shape (cells, …), without what a lens may do to them."""
        return values - self._round @ (self._round.T @ values)

    def _systems(self, moves: Moves) -> tuple[NDArray, NDArray]:
        """What changes from place to place, (places, cells, splines), and the mean without its round part."""
        bases = np.stack([self.basis(place, shift) for place, shift in enumerate(moves.shift)])
        mean = bases.mean(axis=0)
        return self._levelled(bases - mean), self.not_round(mean)

    def _solved(self, moves: Moves, systems: tuple[NDArray, NDArray]) -> tuple[NDArray, float]:
        """The best panel's coefficients for some moves, and its misfit."""
        change, mean = systems
        flat = change.reshape(-1, change.shape[2])
        normal = flat.T @ flat + mean.T @ mean / ROUNDNESS**2 + self._stiffness
        right = flat.T @ self._change.ravel() + mean.T @ self._mean / ROUNDNESS**2
        coefficients = np.linalg.solve(normal, right)
        misfit = np.sum((self._change.ravel() - flat @ coefficients) ** 2)
        misfit += np.sum((self._mean - mean @ coefficients) ** 2) / ROUNDNESS**2
        misfit += coefficients @ self._stiffness @ coefficients
        misfit += np.sum(((moves.shift - moves.known) / moves.sigma)[1:] ** 2)
        return coefficients, float(misfit)

    def _step(self, moves: Moves, coefficients: NDArray, systems: tuple[NDArray, NDArray]) -> NDArray:
        """The step of the shifts, shape (places - 1, 2)."""
        normal, right = self._together(moves, coefficients, systems)
        steady = 1e-9 * np.trace(normal) / len(normal) * np.eye(len(normal))
        return np.linalg.solve(normal + steady, right)[len(coefficients) :].reshape(-1, 2)

    def _together(
        self, moves: Moves, coefficients: NDArray, systems: tuple[NDArray, NDArray]
    ) -> tuple[NDArray, NDArray]:
        """The normal matrix of panel and shifts together, and the right-hand side."""
        change, mean = systems
        places, count = len(moves.shift), len(coefficients)
        slopes = self.slopes(moves, coefficients)
        moving = np.zeros((places, len(self.cells), len(slopes)))
        for number, slope in enumerate(slopes):
            moving[:, :, number] -= slope / places
            moving[1 + number // 2, :, number] += slope
        rows = np.concatenate([change, self._levelled(moving)], axis=2).reshape(-1, count + len(slopes))
        mean_rows = np.concatenate([mean, self.not_round(slopes.T / places)], axis=1)
        normal = rows.T @ rows + mean_rows.T @ mean_rows / ROUNDNESS**2
        normal[:count, :count] += self._stiffness
        weight = 1 / moves.sigma[1:].ravel() ** 2
        normal[count:, count:] += np.diag(weight)
        off = self._change.ravel() - change.reshape(-1, count) @ coefficients
        mean_off = self._mean - mean @ coefficients
        right = rows.T @ off + mean_rows.T @ mean_off / ROUNDNESS**2
        right[:count] -= self._stiffness @ coefficients
        right[count:] += weight * (moves.known - moves.shift)[1:].ravel()
        return normal, right


def _turn(degrees: float) -> NDArray[np.float64]:
    """Takes row vectors in the picture to the panel's own axes, it being turned anticlockwise as seen (y down)."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[cos, sin], [-sin, cos]])


def _round_functions(cells: NDArray) -> NDArray[np.float64]:
    """What a lens may do: free along the radius, bright spots too, and once around it as a decentred one does."""
    u, v = cells.T
    q = u**2 + v**2
    even = [q**power for power in range(5)] + [np.exp(-q / (2 * width**2)) for width in (0.08, 0.14, 0.22, 0.32)]
    return np.stack(even + [side * q**power for side in (u, v) for power in range(3)], axis=1)


def _rough(pitch: float) -> float:
    return ROUGH * max(USUAL_PITCH / pitch, 1.0) ** 6


def _stiffness(splines: NDArray, pitch: float) -> NDArray[np.float64]:
    across, down = (int(n) for n in splines)
    total = 1e-4 * np.eye(across * down)
    for order, unusual in ((3, _rough(pitch) * pitch**3), (2, 2 * BEND * pitch**2 * np.sqrt(across * down))):
        d = [np.diff(np.eye(n), order, axis=0) for n in (across, down)]
        total += (np.kron(d[1].T @ d[1], np.eye(across)) + np.kron(np.eye(down), d[0].T @ d[0])) / unusual**2
    mixed = np.kron(np.diff(np.eye(down), axis=0), np.diff(np.eye(across), axis=0))
    return total + mixed.T @ mixed / (2 * BEND * pitch**2 * np.sqrt(across * down)) ** 2
