"""The panel's own unevenness, separated from the lens's falloff by flats for which it was moved or turned."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.falloff._panel_field import PanelField, PanelFit
from lensbench.analysers.falloff._panel_moves import PanelGiven, PanelSolution, find_moves
from lensbench.analysers.falloff._panel_notes import (
    ANGLE,
    GRADIENT,
    MOVES_UNKNOWN,
    ONE_POSITION,
    TOO_LITTLE,
    TURNED_ONLY,
    TWO_POSITIONS,
    even_panel,
)
from lensbench.findings import NORMAL_95, Figure, LightPanel, PanelPosition
from lensbench.frame import centre_of, half_diagonal

CELLS, FEWEST_CELLS = (26, 18), 60
"""About how many cells the frame is divided into, across and down, and how many must be measured."""

DARKEST = 2.0
"""Stops below the brightest light up to which cells are used (chosen by experience)."""

EVEN_STOPS = 0.004
"""Stops of smooth difference between the positions below which the panel counts as even (chosen by experience)."""

FARTHEST = 1.2
"""Half-diagonals beyond which no panel can have been moved and still fill the picture."""

MAX_SCALE = 6.0
"""Reduced chi-squared from which the panel's field does not follow what the flats show (chosen by experience)."""

MAX_RESIDUAL = 0.05
"""Stops of residual above which the panel's light is not subtracted, unless the session file states how it moved
(chosen by experience)."""

TURNED_DEG = 45.0
"""Degrees from which a turn determines the panel's gradient."""

CENTRE_REACH = 0.15
"""Half-diagonals around the frame's centre within which the light is the reference for residuals."""


def separate_panel(
    stops: NDArray, readable: NDArray, x: NDArray, y: NDArray, size: tuple[int, int], given: Sequence[PanelGiven]
) -> tuple[NDArray[np.float64], LightPanel]:
    """Find the panel's own light in flats of several positions of it.

    Parameters
    ----------
    stops : ndarray, shape (positions, y, x)
        What the flats of each position show, positive is darker.
    readable : ndarray of bool, shape (positions, y, x)
        Where it could be measured.
    x, y : ndarray
        The blocks' centres in pixels.
    size : (int, int)
        Width and height of the frame in pixels.
    given : sequence of PanelGiven
        One for each position.

    Returns
    -------
    panel : ndarray, shape (positions, y, x)
        Stops to subtract from each position's flats; 0 where it is not known.
    LightPanel
        What is known of the panel, and what is not.
    """
    nothing = np.zeros_like(stops)
    if len(given) == 1:
        return nothing, LightPanel(_positions(given), False, notes=[ONE_POSITION, ANGLE])
    half, middle = half_diagonal(size), np.array(centre_of(size))
    u, v = (x - middle[0]) / half, (y - middle[1]) / half
    cells, values = _cells(stops, readable, u, v)
    if values.shape[1] < FEWEST_CELLS:
        return nothing, LightPanel(_positions(given), False, notes=[TOO_LITTLE, ANGLE])
    moved = any(position.turn_deg == given[0].turn_deg for position in given[1:])
    unseen = [*([] if _is_turned(given) else [GRADIENT]), *([] if moved else [TURNED_ONLY]), ANGLE]
    change = _smooth_change(cells, values)
    if change < EVEN_STOPS:
        span = Figure(change, 0.0, 2 * EVEN_STOPS, "stops") if moved else None
        notes = [even_panel(moved, change), *unseen]
        return nothing, LightPanel(_positions(given), True, span, EVEN_STOPS if moved else None, notes)
    extent = np.array(size) / half
    solution = find_moves(cells, values, given, extent)
    residual = _residual(solution, _is_turned(given))
    if not _is_known(solution.best, residual, given):
        return nothing, LightPanel(_positions(given), False, notes=[_unknown(given), ANGLE])
    blocks = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    panel = _by_position(solution.field, solution.best, blocks, _is_turned(given))
    shown = panel[0] - panel[0].mean()
    span = Figure.of(shown.max() - shown.min(), 2 * residual, "stops") if moved else None
    positions = _positions(given) if solution.rivals else _positions(given, solution.best, extent)
    return panel.reshape(stops.shape), LightPanel(positions, True, span, residual if moved else None, unseen)


def _is_known(best: PanelFit, residual: float, given: Sequence[PanelGiven]) -> bool:
    """Whether a solution may be subtracted: it fits, and its moves are stated in the session file or certain."""
    moved = any(position.turn_deg == given[0].turn_deg for position in given[1:])
    stated = all(position.shift is not None or position.turn_deg != given[0].turn_deg for position in given[1:])
    uncertain = residual > MAX_RESIDUAL or np.abs(best.moves.shift).max() > FARTHEST
    return best.scale <= MAX_SCALE and (stated or not moved or not uncertain)


def _unknown(given: Sequence[PanelGiven]) -> str:
    """What to say where the panel could not be separated."""
    moved = sum(position.turn_deg == given[0].turn_deg for position in given)
    return TWO_POSITIONS if moved == 2 else MOVES_UNKNOWN


def _by_position(field: PanelField, best: PanelFit, blocks: NDArray, turned: bool) -> NDArray[np.float64]:
    """The panel's light over the blocks with the panel at each of its positions, shape (positions, blocks)."""
    panel = np.stack([field.basis(k, s, blocks) @ best.coefficients for k, s in enumerate(best.moves.shift)])
    return panel - _plane_of(panel.mean(axis=0), blocks, turned)


def _is_turned(given: Sequence[PanelGiven]) -> bool:
    """Whether the panel was turned far enough to determine its gradient."""
    turns = [(position.turn_deg - given[0].turn_deg + 180) % 360 - 180 for position in given]
    return max(abs(turn) for turn in turns) >= TURNED_DEG


def _cells(stops: NDArray, readable: NDArray, u: NDArray, v: NDArray) -> tuple[NDArray, NDArray]:
    """Medians of the blocks over coarse cells that can be measured in all positions: where, and how dark."""
    steps = [max(round(n / m), 1) for n, m in zip(stops.shape[1:], CELLS[::-1], strict=True)]
    centres, values = [], []
    usable = readable & (stops - np.percentile(stops[readable], 1) < DARKEST)
    for top in range(0, stops.shape[1], steps[0]):
        for left in range(0, stops.shape[2], steps[1]):
            part = np.s_[top : top + steps[0], left : left + steps[1]]
            if usable[(slice(None), *part)].all():
                centres.append((u[part[1]].mean(), v[part[0]].mean()))
                values.append(np.median(stops[(slice(None), *part)].reshape(len(stops), -1), axis=1))
    return np.array(centres).reshape(-1, 2), np.array(values).T.reshape(len(stops), -1)


def _smooth_change(cells: NDArray, values: NDArray) -> float:
    """How much the flats differ smoothly, in stops: the span of a cubic polynomial fitted to the difference."""
    u, v = cells.T
    terms = np.stack([u**i * v**j for i in range(4) for j in range(4 - i)], axis=1)
    change = values - values.mean(axis=0)
    smooth = terms @ np.linalg.lstsq(terms, change.T, rcond=None)[0]
    return float(np.ptp(smooth, axis=0).max())


def _residual(solution: PanelSolution, turned: bool) -> float:
    """Stops that the uncertainty of panel and moves leaves in the lens's map (95 %), at the worst cell."""
    field, fit = solution.field, solution.best
    cells = field.cells

    def of_lens(values: NDArray) -> NDArray:
        values = values - values[np.hypot(*cells.T) < CENTRE_REACH].mean(axis=0)
        return values - _plane_of(values, cells, turned)

    by_panel = np.mean([field.basis(k, s) for k, s in enumerate(fit.moves.shift)], axis=0)
    by_moves = field.slopes(fit.moves, fit.coefficients).T / len(fit.moves.shift)
    change = of_lens(np.concatenate([by_panel, by_moves], axis=1))
    half = NORMAL_95 * np.sqrt(np.sum((change @ fit.covariance) * change, axis=1).max())
    found = field.seen(fit, cells)
    return float(max([half, *(np.abs(of_lens(other - found)).max() for other in solution.rivals)]))


def _plane_of(values: NDArray, points: NDArray, turned: bool) -> NDArray:
    """The plane fitted to values at points, which only a turned panel determines; 0 then."""
    if turned:
        return np.zeros_like(values)
    plane = np.column_stack([points, np.ones(len(points))])
    return plane @ np.linalg.lstsq(plane, values, rcond=None)[0]


def _positions(
    given: Sequence[PanelGiven], fit: PanelFit | None = None, extent: NDArray | None = None
) -> list[PanelPosition]:
    """The positions for the report, with their shifts where these are known."""
    shifts: list[tuple[Figure, Figure] | None] = [None] * len(given)
    shifts[0] = (Figure.of(0.0, 0.0, "%"), Figure.of(0.0, 0.0, "%"))
    if fit is not None and extent is not None:
        sigma = np.sqrt(np.diag(fit.covariance)[len(fit.coefficients) :]).reshape(-1, 2)
        value, half = 100 * fit.moves.shift[1:] / extent, 100 * NORMAL_95 * sigma / extent
        shifts[1:] = [
            (Figure.of(a, b, "%"), Figure.of(c, d, "%")) for (a, c), (b, d) in zip(value, half, strict=True)
        ]
    return [
        PanelPosition(position.panel, position.turn_deg, shift)
        for position, shift in zip(given, shifts, strict=True)
    ]
