"""The lattice that found tiles stand on, and which part of the sheet it is."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from lensbench.target.layout import Layout
from lensbench.target.outlines import Triangles

FEWEST = 12
"""Fewer tiles than this can't say where on the sheet they are."""

SURE = 0.85
"""Least agreement of the tiles' directions with the sheet's: the mean cosine of what is between them."""


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


def grow_lattices(tiles: Triangles) -> list[Grown]:
    """Gather the tiles into lattices, largest first; steps bend with their neighbours."""
    free = set(range(len(tiles)))
    grown = []
    middle = np.median(tiles.nodes, axis=0) if len(tiles) else None
    for seed in np.argsort(np.linalg.norm(tiles.nodes - middle, axis=1)) if len(tiles) else ():
        if int(seed) in free and len(free) >= FEWEST:
            lattice = _grow_from(int(seed), tiles, free)
            if lattice is not None and len(lattice.index) >= FEWEST:
                grown.append(lattice)
                free -= set(lattice.index.tolist())
    return sorted(grown, key=lambda lattice: -len(lattice.index))


def _grow_from(seed: int, tiles: Triangles, free: set[int]) -> Grown | None:
    nodes = tiles.nodes
    basis = _first_basis(seed, nodes)
    if basis is None:
        return None
    places, bases = {seed: (0, 0)}, {seed: basis}
    taken = {(0, 0): seed}
    queue = [(0.0, 0, seed)]
    while queue:
        _, _, tile = heapq.heappop(queue)
        for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
            step = sign * bases[tile][axis]
            place = (places[tile][0] + sign * (axis == 0), places[tile][1] + sign * (axis == 1))
            if place in taken:
                continue
            off = np.linalg.norm(nodes - nodes[tile] - step, axis=1)
            near = int(np.argmin(off))
            if off[near] > 0.3 * np.hypot(*step) or near in places or near not in free:
                continue
            # The step as seen, the other axis as before: steps bend slowly over the frame.
            basis = bases[tile].copy()
            basis[axis] = 0.5 * basis[axis] + 0.5 * sign * (nodes[near] - nodes[tile])
            places[near], bases[near], taken[place] = place, basis, near
            heapq.heappush(queue, (float(off[near] / np.hypot(*step)), near, near))
    index = np.array(sorted(places))
    place = np.array([places[i] for i in index])
    return Grown(index, place, _directions(tiles, index, place))


def _first_basis(seed: int, nodes: NDArray) -> NDArray | None:
    """Two neighbouring steps from a node, each confirmed by a node on the other side or one further on."""
    away = nodes - nodes[seed]
    near = np.argsort(np.linalg.norm(away, axis=1))[1:9]
    if len(near) < 4:
        return None
    first = away[near[0]]
    for other in near[1:]:
        second = away[other]
        cosine = first @ second / (np.hypot(*first) * np.hypot(*second))
        if abs(cosine) < 0.35 and np.hypot(*second) < 1.8 * np.hypot(*first):
            basis = np.array([first, second])
            return basis if np.linalg.det(basis) > 0 else basis[[1, 0]]
    return None


def _directions(tiles: Triangles, index: NDArray, place: NDArray) -> NDArray[np.complex128]:
    """Unit numbers for the way from the node to the right angle, in the lattice's own axes."""
    nodes, out = tiles.nodes[index], np.empty(len(index), complex)
    for k in range(len(index)):
        offset = place - place[k]
        close = np.abs(offset).max(axis=1) <= 2
        across, *_ = np.linalg.lstsq(offset[close].astype(float), nodes[close] - nodes[k], rcond=None)
        way = np.linalg.solve(across.T + 1e-9 * np.eye(2), tiles.corners[index[k], 0] - nodes[k])
        out[k] = complex(*way)
    return out / np.maximum(np.abs(out), 1e-12)


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
    if agreement < SURE or (len(tried) > 1 and agreement - tried[1][0] < 0.08):
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
    agreement = np.where(covered > 0.7 * len(place), agreement / np.maximum(covered, 1), -1)
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
