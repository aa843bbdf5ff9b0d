"""How the panel was moved between flats: a search for the shifts at which one panel explains all flats."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from lensbench.analysers.falloff._panel_field import Moves, PanelField, PanelFit

STATED_SIGMA = 0.04
"""Standard error of a shift that the session file states, in half-diagonals (our own choice)."""

FREE_SIGMA, TURNED_SIGMA = 0.6, 0.05
"""Standard deviations of the prior, in half-diagonals: of a shift that nobody states, and of a panel that is only
turned (our own choice)."""

LEAST_MOVE, MOST_MOVE, MOVE_STEP = 0.2, 0.95, 0.06
"""Half-diagonals between which shifts are searched, and in what steps."""

FEWEST_OVERLAP = 0.2
"""Share of the cells that must overlap for a shift to be judged."""

ALONE, MOST_COMBINED, CANDIDATES = 3, 64, 4
"""Shifts of each position alone, combinations of them, and those improved."""

MARGIN = 0.15
"""How far beyond the shifts tried the panel's field extends, in half-diagonals."""

EVERY, FIRST_PITCH = 2, 0.25
"""For a first look: every so many cells, and splines so far apart."""

PITCHES, FOLLOWED = (0.25, 0.16, 0.125), 2.0
"""The splines' pitch is reduced until the reduced chi-squared shows that they follow the panel."""

OTHER_MOVES = (0.35, 0.6, 0.9)
"""Half-diagonals of other shifts, tried to see whether the flats determine the shifts at all."""

APART = 0.15
"""Half-diagonals by which two solutions for the shifts differ."""

SIGNIFICANT = 25.0
"""Difference of chi-squared from which one solution is better than another: five standard deviations."""


@dataclass(frozen=True)
class PanelGiven:
    """The panel's position for a flat, as the session file states it.

    Attributes
    ----------
    panel : int
        The number of the position.
    turn_deg : float
        Anticlockwise as seen in the picture.
    shift : (float, float) or None
        Parts of the picture's width to the right, and of its height down.
    """

    panel: int = 1
    turn_deg: float = 0.0
    shift: tuple[float, float] | None = None


class PanelSolution(NamedTuple):
    """The best panel with its moves, and the mean light of other solutions that fit as well but for chance."""

    field: PanelField
    best: PanelFit
    rivals: list[NDArray[np.float64]]


def find_moves(cells: NDArray, values: NDArray, given: Sequence[PanelGiven], extent: NDArray) -> PanelSolution:
    """Find panel and moves that explain the flats.

    Parameters
    ----------
    cells : ndarray, shape (cells, 2)
        Positions in half-diagonals from the frame's centre.
    values : ndarray, shape (positions, cells)
        What the flats of each panel position show, in stops.
    given : sequence of PanelGiven
        One for each position.
    extent : ndarray, shape (2,)
        Width and height of the frame in half-diagonals.

    Returns
    -------
    PanelSolution
    """
    prior = _prior(given, extent)
    starts = _starts(PanelField(values, cells, prior.turn_deg), values, prior)
    tried = [prior.moved(np.array(shift)) for shift in _combined(starts)]
    first, best = _look(cells[::EVERY], values[:, ::EVERY], tried, FIRST_PITCH)
    free = np.array([len(group) > 1 for group in starts])
    others = [best.moves.moved(shift) for shift in _other_moves(best.moves.shift, free)]
    fits = [first.fit(moves) for moves in sorted(others, key=first.misfit)[:CANDIDATES]]
    rivals = [first.seen(fit, cells) for fit in fits if _is_rival(fit, best)]
    tried = [best.moves]
    for pitch in PITCHES:
        field, best = _look(cells, values, tried, pitch)
        if best.scale < FOLLOWED:
            break
        tried = [best.moves]
    return PanelSolution(field, best, rivals)


def _prior(given: Sequence[PanelGiven], extent: NDArray) -> Moves:
    """The prior of the shifts, with the first position as the origin."""
    known, sigma = np.zeros((len(given), 2)), np.full((len(given), 2), FREE_SIGMA)
    for number, position in enumerate(given):
        if position.shift is not None or number == 0:
            known[number], sigma[number] = np.array(position.shift or (0, 0)) * extent, STATED_SIGMA
        elif position.turn_deg != given[0].turn_deg:
            sigma[number] = TURNED_SIGMA
    known -= known[0]
    return Moves(known, known, sigma, np.array([position.turn_deg for position in given]))


def _starts(field: PanelField, values: NDArray, prior: Moves) -> list[list[NDArray]]:
    """Shifts to start from, for each position."""
    # What is not symmetric in a flat is the panel's, if the lens is symmetric; what differs is, if positions are
    # many.
    asymmetric = [field.asymmetric_part(flats.T).T for flats in (values, field.change)[: len(values) - 1]]
    starts = []
    for number, (known, sigma) in enumerate(zip(prior.known, prior.sigma, strict=True)):
        if sigma[0] == FREE_SIGMA:
            likely = [_likely_moves(field.cells, flats[0], flats[number]) for flats in asymmetric]
            starts.append(list(itertools.chain(*likely)))
        else:
            starts.append([known])
    return starts


def _look(cells: NDArray, values: NDArray, tried: list[Moves], pitch: float) -> tuple[PanelField, PanelFit]:
    """The best of the likelier moves, improved."""
    reach = max(np.abs(moves.shift).max() for moves in tried) + MARGIN
    field = PanelField(values, cells, tried[0].turn_deg, reach, pitch)
    likely = sorted(tried, key=field.misfit)[:CANDIDATES] if len(tried) > 1 else tried
    return field, min((field.fit(moves) for moves in likely), key=lambda fit: fit.misfit)


def _is_rival(fit: PanelFit, best: PanelFit) -> bool:
    """Whether a solution differs from the best and fits as well but for chance."""
    apart = np.abs(fit.moves.shift - best.moves.shift).max()
    return bool(apart > APART and (fit.misfit - best.misfit) / best.scale < SIGNIFICANT)


def _other_moves(shift: NDArray, free: NDArray[np.bool_]) -> list[NDArray]:
    """Quite other moves. A panel that is a mere parabola fits them as well, with another curvature."""
    if not free.any():
        return []
    length = float(np.hypot(*shift[free].T).max())
    signs = [np.array(sign) for sign in itertools.product((1, -1), repeat=2)]
    factors = [sign * size / length for sign in signs for size in (length, *OTHER_MOVES)][1:]
    return [np.where(free[:, None], factor * shift, shift) for factor in factors]


def _combined(starts: list[list[NDArray]]) -> list[tuple[NDArray, ...]]:
    """Every choice of one start a position; of the likeliest of each alone where that would be too many."""
    kept = [list(group) for group in starts]
    while np.prod([len(group) for group in kept]) > MOST_COMBINED:
        max(kept, key=len).pop()
    return list(itertools.product(*kept))


def _likely_moves(cells: NDArray, first: NDArray, second: NDArray) -> list[NDArray]:
    """Shifts at which the asymmetric part of one flat correlates best with that of another."""
    steps = np.arange(-MOST_MOVE, MOST_MOVE + 1e-9, MOVE_STEP)
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    grid = grid[(np.hypot(*grid.T) >= LEAST_MOVE) & (np.hypot(*grid.T) <= MOST_MOVE)]
    tree = KDTree(cells)
    pitch = np.sqrt(np.prod(np.ptp(cells, axis=0)) / len(cells))
    score = np.full(len(grid), -np.inf)
    for number, move in enumerate(grid):
        distance, partner = tree.query(cells - move)
        overlap = distance < pitch
        if overlap.sum() > len(cells) * FEWEST_OVERLAP:
            correlation = np.corrcoef(second[overlap], first[partner[overlap]])[0, 1]
            score[number] = correlation * np.sqrt(overlap.mean())
    chosen: list[NDArray] = []
    for number in np.argsort(-score):
        if all(np.hypot(*(grid[number] - other)) > 2.5 * MOVE_STEP for other in chosen):
            chosen.append(grid[number])
        if len(chosen) == ALONE:
            break
    return chosen
