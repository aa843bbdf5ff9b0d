"""The lattice that found triangles lie on, and which part of the sheet it is.

The constants are chosen by experience; `tests.bench.finding` shows what they achieve.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve
from scipy.spatial import cKDTree

from lensbench.target._pattern import LEG_OVER_PITCH
from lensbench.target._triangles import Triangles
from lensbench.target.layout import Layout

FEWEST = 12
"""Fewer tiles than this don't determine where on the sheet they are."""

LEAST_AGREEMENT = 0.85
"""Least agreement of the tiles' directions with the sheet's: the mean cosine of the angles between them. Wrong
positions on the same sheet stay under `_turned.MOST_ALIKE`."""

FEW, LEAST_AGREEMENT_OF_FEW = 25, 0.95
"""Of fewer tiles than this more agreement is asked: some few of another sheet agree by chance."""

LEAST_LEAD = 0.08
"""Least difference in agreement between the best and the second-best position."""

LEAST_ON_SHEET = 0.9
"""Share of the tiles that must lie on the sheet."""

STEP_RANGE = (0.75, 1.3)
"""Apparent length of a step to a neighbour, in pitches: perspective and distortion change it."""

SQUARE_DEG = 20.0
"""Apparent deviation from a right angle between a tile's steps to its neighbours."""


@dataclass(frozen=True, eq=False)
class LatticePatch:
    """Tiles that lie on one lattice.

    Attributes
    ----------
    index : ndarray of int, shape (tiles,)
        Into the triangles.
    position : ndarray of int, shape (tiles, 2)
        Whole steps (across, down) from the tile that the patch was grown from.
    direction : ndarray of complex, shape (tiles,)
        From the node to the right angle, as a unit vector x + iy on the lattice.
    """

    index: NDArray[np.int64]
    position: NDArray[np.int64]
    direction: NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class Match:
    """Where a patch lies on the sheet: index into the triangles, column, row, and whether it is seen mirrored."""

    index: NDArray[np.int64]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    mirrored: bool
    agreement: float


@dataclass(frozen=True, eq=False)
class _Steps:
    """Steps between neighbours: from which tile, to which, and along which of the lattice's four directions there.

    `axes` is the turn, in radians, from each tile's first leg to a lattice axis, of which there are four.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    direction: NDArray[np.int64]
    axes: NDArray[np.float64]


def grow_lattices(tiles: Triangles) -> list[LatticePatch]:
    """Gather the tiles into lattices, largest first.

    The legs of a tile show the local scale, perspective and distortion, so steps to neighbours are recognised in
    units of the sheet anywhere in the picture.

    Returns
    -------
    list of LatticePatch
    """
    if len(tiles) < FEWEST:
        return []
    steps = _steps_between_neighbours(tiles)
    onward: list[list[tuple[int, int]]] = [[] for _ in range(len(tiles))]
    for start, end, direction in zip(
        steps.start.tolist(), steps.end.tolist(), steps.direction.tolist(), strict=True
    ):
        onward[start].append((end, direction))
    back = {
        (start, end): direction
        for start, end, direction in zip(
            steps.start.tolist(), steps.end.tolist(), steps.direction.tolist(), strict=True
        )
    }
    seen: set[int] = set()
    patches = []
    # From tiles with all of their neighbours first: their axes are the best known.
    for seed in sorted(range(len(tiles)), key=lambda tile: -len(onward[tile])):
        if seed not in seen and onward[seed]:
            positions, quarters = _walk(seed, onward, back)
            seen |= positions.keys()
            if len(positions) >= FEWEST:
                patches.append(_as_patch(positions, quarters, steps.axes))
    return sorted(patches, key=lambda lattice: -len(lattice.index))


def _steps_between_neighbours(tiles: Triangles) -> _Steps:
    """All steps of about one pitch, seen so from both of their ends, square to the other steps of both."""
    nodes = tiles.nodes
    legs = np.stack([tiles.corners[:, 1] - tiles.corners[:, 0], tiles.corners[:, 2] - tiles.corners[:, 0]], axis=2)
    near = cKDTree(nodes).query(nodes, k=min(13, len(nodes)))[1][:, 1:]
    start, end = np.repeat(np.arange(len(nodes)), near.shape[1]), near.ravel()
    step = np.linalg.solve(legs[start], (nodes[end] - nodes[start])[..., None])[..., 0] * LEG_OVER_PITCH
    fits = (np.hypot(*step.T) > STEP_RANGE[0]) & (np.hypot(*step.T) < STEP_RANGE[1])
    start, end, turn = start[fits], end[fits], np.arctan2(step[fits, 1], step[fits, 0])
    axes = _common_axes(start, turn, len(nodes))
    off = np.angle(np.exp(4j * (turn - axes[start]))) / 4
    square = np.abs(np.degrees(off)) < SQUARE_DEG
    start, end, turn = start[square], end[square], turn[square]
    both = np.isin(start * len(nodes) + end, end * len(nodes) + start)
    start, end, turn = start[both], end[both], turn[both]
    direction = np.round((turn - axes[start]) / (np.pi / 2)).astype(int) % 4
    return _Steps(start, end, direction, axes)


def _common_axes(start: NDArray, turn: NDArray, tiles: int) -> NDArray[np.float64]:
    """The turn, modulo a quarter, that most of each tile's steps share."""
    four = np.exp(4j * turn)

    def total(weight: NDArray) -> NDArray:
        return np.bincount(start, weight * four.real, tiles) + 1j * np.bincount(start, weight * four.imag, tiles)

    axes = total(np.ones(len(turn)))
    for _ in range(2):
        agreeing = (four * np.conj(axes[start])).real > 0.5 * np.abs(axes[start])
        axes = total(agreeing.astype(float))
    return np.angle(axes) / 4


def _walk(
    seed: int, onward: list[list[tuple[int, int]]], back: dict[tuple[int, int], int]
) -> tuple[dict[int, tuple[int, int]], dict[int, int]]:
    """Positions of all tiles reached by steps from one, and the quarter turns of their own axes against its."""
    unit = ((1, 0), (0, 1), (-1, 0), (0, -1))
    positions, quarters, taken = {seed: (0, 0)}, {seed: 0}, {(0, 0)}
    queue = deque([seed])
    while queue:
        tile = queue.popleft()
        for other, direction in onward[tile]:
            if other in positions:
                continue
            ahead = (direction - quarters[tile]) % 4
            position = (positions[tile][0] + unit[ahead][0], positions[tile][1] + unit[ahead][1])
            if position not in taken:
                positions[other] = position
                # Seen from there, the direction back is the opposite one.
                quarters[other] = (back[other, tile] - ahead - 2) % 4
                taken.add(position)
                queue.append(other)
    return positions, quarters


def _as_patch(positions: dict[int, tuple[int, int]], quarters: dict[int, int], axes: NDArray) -> LatticePatch:
    index = np.array(sorted(positions))
    position = np.array([positions[i] for i in index])
    # From the node, the right angle lies opposite to the sum of the legs: 225° on from the first leg.
    turn = axes[index] + np.pi / 2 * np.array([quarters[i] for i in index])
    return LatticePatch(index, position, np.exp(1j * (np.radians(225) - turn)))


def first_match(patches: Sequence[LatticePatch], layout: Layout) -> Match | None:
    """The match of the first patch, largest first, that fits the sheet; beside large ones, small ones don't count.

    Where many tiles that belong together are of another sheet, some few beside them that fit do so by chance.
    """
    large = [patch for patch in patches if len(patch.index) >= FEW]
    matches = (match_lattice(patch, layout) for patch in large or patches)
    return next((match for match in matches if match is not None), None)


def match_lattice(patch: LatticePatch, layout: Layout) -> Match | None:
    """Find which tiles of the sheet these are, under every shift, quarter turn and mirroring.

    Parameters
    ----------
    patch : LatticePatch
    layout : Layout

    Returns
    -------
    Match or None
        None where no position fits, or more than one does.
    """
    sheet = np.zeros((layout.rows, layout.columns), complex)
    direction = layout.corners_mm[:, 0] - layout.nodes_mm
    sheet[layout.row, layout.column] = np.exp(1j * np.arctan2(direction[:, 1], direction[:, 0]))
    tried = []
    for mirrored in (False, True):
        for quarter in range(4):
            position, direction = _turned(patch, quarter, mirrored)
            tried += [(*best, mirrored) for best in _best_shifts(position, direction, sheet)]
    tried.sort(key=lambda entry: -entry[0])
    agreement, position, mirrored = tried[0]
    # The agreement of the second-best position by chance falls with the number of tiles.
    least = LEAST_AGREEMENT if len(patch.index) >= FEW else LEAST_AGREEMENT_OF_FEW
    if agreement < least or (len(tried) > 1 and agreement - tried[1][0] < LEAST_LEAD):
        return None
    on_sheet = _on_sheet(position, layout)
    return Match(patch.index[on_sheet], position[on_sheet, 0], position[on_sheet, 1], mirrored, float(agreement))


def _turned(patch: LatticePatch, quarter: int, mirrored: bool) -> tuple[NDArray, NDArray]:
    position, direction = patch.position.copy(), patch.direction
    if mirrored:
        position[:, 0] *= -1
        direction = -np.conj(direction)
    for _ in range(quarter):
        position = np.stack([-position[:, 1], position[:, 0]], axis=1)
    return position, direction * 1j**quarter


def _best_shifts(position: NDArray, direction: NDArray, sheet: NDArray) -> list[tuple[float, NDArray]]:
    """The two shifts of the tiles over the sheet that agree best: (agreement, positions on the sheet)."""
    low = position.min(axis=0)
    across, down = position.max(axis=0) - low + 1
    seen = np.zeros((down, across), complex)
    seen[position[:, 1] - low[1], position[:, 0] - low[0]] = direction
    agreement = fftconvolve(sheet, np.conj(seen[::-1, ::-1])).real
    # Only tiles that lie on the sheet count, and most of them must.
    covered = fftconvolve(np.abs(sheet), np.abs(seen[::-1, ::-1])).real
    agreement = np.where(covered > LEAST_ON_SHEET * len(position), agreement / np.maximum(covered, 1), -1)
    best = np.argsort(agreement.ravel())[::-1][:2]
    shifts = np.stack(np.unravel_index(best, agreement.shape), axis=1)
    return [
        (float(agreement[row, column]), position - low + (column - across + 1, row - down + 1))
        for row, column in shifts
    ]


def _on_sheet(position: NDArray, layout: Layout) -> NDArray[np.bool_]:
    known = np.zeros((layout.rows, layout.columns), bool)
    known[layout.row, layout.column] = True
    inside = ((position >= 0) & (position < (layout.columns, layout.rows))).all(axis=1)
    clipped = np.clip(position, 0, (layout.columns - 1, layout.rows - 1))
    return inside & known[clipped[:, 1], clipped[:, 0]]
