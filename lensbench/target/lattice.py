"""The lattice that found tiles stand on, and which part of the sheet it is."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve
from scipy.spatial import cKDTree

from lensbench.target.layout import LEG_OVER_PITCH, Layout
from lensbench.target.triangles import Triangles

FEWEST = 12
"""Fewer tiles than this can't say where on the sheet they are."""

SURE = 0.85
"""Least agreement of the tiles' directions with the sheet's: the mean cosine of what is between them."""

LEAD = 0.08
"""Least lead in agreement over the next likely place."""

MOSTLY_ON = 0.9
"""Share of the tiles that must lie on the sheet."""

STEP = (0.75, 1.3)
"""What a step to a neighbour may seem to measure, in pitches."""

SQUARE_DEG = 20.0
"""How far from square the steps from a tile to its neighbours may seem."""


@dataclass(frozen=True, eq=False)
class Grown:
    """Tiles that stand on one lattice: index into the triangles, whole-number place, direction on the lattice."""

    index: NDArray[np.int64]
    place: NDArray[np.int64]
    direction: NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class Match:
    """Where grown tiles are on the sheet: index into the triangles, column, row, and whether seen mirrored."""

    index: NDArray[np.int64]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    mirrored: bool
    agreement: float


@dataclass(frozen=True, eq=False)
class _Steps:
    """Steps between neighbours: from which tile, to which, and which of the lattice's four ways it is there.

    `axes` is the turn, in radians, from each tile's first leg to a lattice axis, of which there are four.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    way: NDArray[np.int64]
    axes: NDArray[np.float64]


def grow_lattices(tiles: Triangles) -> list[Grown]:
    """Gather the tiles into lattices, largest first.

    The legs of a tile show how the lens bends and shrinks things right there, so steps to neighbours are told from
    others in the sheet's own measure, wherever in the picture.
    """
    if len(tiles) < FEWEST:
        return []
    steps = _steps_between_neighbours(tiles)
    onward = [[] for _ in range(len(tiles))]
    for start, end, way in zip(steps.start.tolist(), steps.end.tolist(), steps.way.tolist(), strict=True):
        onward[start].append((end, way))
    back = {
        (s, e): w for s, e, w in zip(steps.start.tolist(), steps.end.tolist(), steps.way.tolist(), strict=True)
    }
    seen: set[int] = set()
    grown = []
    # From tiles with all of their neighbours first: their axes are the surest.
    for seed in sorted(range(len(tiles)), key=lambda tile: -len(onward[tile])):
        if seed not in seen and onward[seed]:
            places, quarters = _walk(seed, onward, back)
            seen |= places.keys()
            if len(places) >= FEWEST:
                grown.append(_as_grown(places, quarters, steps.axes))
    return sorted(grown, key=lambda lattice: -len(lattice.index))


def _steps_between_neighbours(tiles: Triangles) -> _Steps:
    """All steps of about one pitch, seen so from both of their ends, square to the other steps of both."""
    nodes = tiles.nodes
    legs = np.stack([tiles.corners[:, 1] - tiles.corners[:, 0], tiles.corners[:, 2] - tiles.corners[:, 0]], axis=2)
    near = cKDTree(nodes).query(nodes, k=min(13, len(nodes)))[1][:, 1:]
    start, end = np.repeat(np.arange(len(nodes)), near.shape[1]), near.ravel()
    step = np.linalg.solve(legs[start], (nodes[end] - nodes[start])[..., None])[..., 0] * LEG_OVER_PITCH
    fits = (np.hypot(*step.T) > STEP[0]) & (np.hypot(*step.T) < STEP[1])
    start, end, turn = start[fits], end[fits], np.arctan2(step[fits, 1], step[fits, 0])
    axes = _common_axes(start, turn, len(nodes))
    off = np.angle(np.exp(4j * (turn - axes[start]))) / 4
    square = np.abs(np.degrees(off)) < SQUARE_DEG
    start, end, turn = start[square], end[square], turn[square]
    both = np.isin(start * len(nodes) + end, end * len(nodes) + start)
    start, end, turn = start[both], end[both], turn[both]
    way = np.round((turn - axes[start]) / (np.pi / 2)).astype(int) % 4
    return _Steps(start, end, way, axes)


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
    """Places of all tiles that steps lead to from one, and by how many quarters each one's own axes are turned."""
    unit = ((1, 0), (0, 1), (-1, 0), (0, -1))
    places, quarters, taken = {seed: (0, 0)}, {seed: 0}, {(0, 0)}
    queue = deque([seed])
    while queue:
        tile = queue.popleft()
        for other, way in onward[tile]:
            if other in places:
                continue
            ahead = (way - quarters[tile]) % 4
            place = (places[tile][0] + unit[ahead][0], places[tile][1] + unit[ahead][1])
            if place not in taken:
                places[other] = place
                # Seen from there, the way back is the opposite one.
                quarters[other] = (back[other, tile] - ahead - 2) % 4
                taken.add(place)
                queue.append(other)
    return places, quarters


def _as_grown(places: dict[int, tuple[int, int]], quarters: dict[int, int], axes: NDArray) -> Grown:
    index = np.array(sorted(places))
    place = np.array([places[i] for i in index])
    # From the node, the right angle lies opposite to the sum of the legs: 225° on from the first leg.
    turn = axes[index] + np.pi / 2 * np.array([quarters[i] for i in index])
    return Grown(index, place, np.exp(1j * (np.radians(225) - turn)))


def match_lattice(grown: Grown, layout: Layout) -> Match | None:
    """Find which tiles of the sheet these are, under every shift, quarter turn and mirroring.

    Returns
    -------
    Match or None
        None where no place fits, or more than one does.
    """
    sheet = np.zeros((layout.rows, layout.columns), complex)
    way = layout.corners_mm[:, 0] - layout.nodes_mm
    sheet[layout.row, layout.column] = np.exp(1j * np.arctan2(way[:, 1], way[:, 0]))
    tried = []
    for mirrored in (False, True):
        for quarter in range(4):
            place, direction = _turned(grown, quarter, mirrored)
            tried += [(*best, mirrored) for best in _best_shifts(place, direction, sheet)]
    tried.sort(key=lambda entry: -entry[0])
    agreement, place, mirrored = tried[0]
    # How alike the runner-up may be by chance falls with the number of tiles; the pattern keeps it under 0.84.
    if agreement < SURE or (len(tried) > 1 and agreement - tried[1][0] < LEAD):
        return None
    on_sheet = _on_sheet(place, layout)
    return Match(grown.index[on_sheet], place[on_sheet, 0], place[on_sheet, 1], mirrored, float(agreement))


def _turned(grown: Grown, quarter: int, mirrored: bool) -> tuple[NDArray, NDArray]:
    place, direction = grown.place.copy(), grown.direction
    if mirrored:
        place[:, 0] *= -1
        direction = -np.conj(direction)
    for _ in range(quarter):
        place = np.stack([-place[:, 1], place[:, 0]], axis=1)
    return place, direction * 1j**quarter


def _best_shifts(place: NDArray, direction: NDArray, sheet: NDArray) -> list[tuple[float, NDArray]]:
    """The two shifts of the tiles over the sheet that agree best: (agreement, places on the sheet)."""
    low = place.min(axis=0)
    across, down = place.max(axis=0) - low + 1
    seen = np.zeros((down, across), complex)
    seen[place[:, 1] - low[1], place[:, 0] - low[0]] = direction
    agreement = fftconvolve(sheet, np.conj(seen[::-1, ::-1])).real
    # Only tiles that lie on the sheet count, and most of them must.
    covered = fftconvolve(np.abs(sheet), np.abs(seen[::-1, ::-1])).real
    agreement = np.where(covered > MOSTLY_ON * len(place), agreement / np.maximum(covered, 1), -1)
    best = np.argsort(agreement.ravel())[::-1][:2]
    shifts = np.stack(np.unravel_index(best, agreement.shape), axis=1)
    return [
        (float(agreement[row, column]), place - low + (column - across + 1, row - down + 1))
        for row, column in shifts
    ]


def _on_sheet(place: NDArray, layout: Layout) -> NDArray[np.bool_]:
    known = np.zeros((layout.rows, layout.columns), bool)
    known[layout.row, layout.column] = True
    inside = ((place >= 0) & (place < (layout.columns, layout.rows))).all(axis=1)
    clipped = np.clip(place, 0, (layout.columns - 1, layout.rows - 1))
    return inside & known[clipped[:, 1], clipped[:, 0]]
