"""The tiles of the target in a shot, each with its lattice place.

From a smaller picture of the shot: dark outlines with three straight sides, gathered into a lattice step by step,
matched to the sheet by the way they point, then completed with the tiles that their neighbours say must be there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.frame import place_in_words
from lensbench.shot import Shot
from lensbench.target.lattice import FEWEST, Match, grow_lattices, match_lattice
from lensbench.target.layout import LEG_CORNERS, Layout
from lensbench.target.neighbours import reckon_corners, settle_on_edges
from lensbench.target.outlines import Reduced, Triangles, find_triangles, reduce_shot

ODD = 0.1
"""A tile that lies this many legs from where its neighbours say is none."""

LEAST_EDGE = 0.35
"""Share of at least one edge that must lie in the frame for a cut tile to be of use."""


@dataclass(frozen=True, eq=False)
class FoundTiles:
    """The tiles found in one shot.

    Attributes
    ----------
    column, row : ndarray of int, shape (tiles,)
        Lattice place in the layout.
    corners_px : ndarray, shape (tiles, 3, 2)
        Corners in the layout's order, in pixels, to ±1 px; outside the frame where the border cuts the tile
        (then reckoned from the mapping of its neighbours).
    whole : ndarray of bool, shape (tiles,)
        Whether the tile lies wholly in the frame.
    mirrored : bool
        Whether the print (or the film) was seen from its back.
    notes : tuple of str
        What was not found, and why, in sentences for the user.
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    corners_px: NDArray[np.float64]
    whole: NDArray[np.bool_]
    mirrored: bool
    notes: tuple[str, ...] = ()


def find_tiles(shot: Shot, layout: Layout) -> FoundTiles:
    """Find every tile of the sheet that the frame shows.

    Parameters
    ----------
    shot : Shot
        A shot of the target, at any turn, tilted and bent, seen from either side.
    layout : Layout
        The sheet that it shows.

    Returns
    -------
    FoundTiles
        With no tiles, and a note that says why, where the sheet isn't seen.
    """
    picture = reduce_shot(shot)
    triangles = find_triangles(picture)
    match = _best_match(triangles, layout)
    if match is None:
        return FoundTiles(*_no_tiles(), (_why_none(len(triangles)),))
    sheet = _sheet_index(layout, match)
    corners = _in_layout_order(triangles.corners[match.index], match.mirrored)
    sheet, corners = _without_odd(layout.corners_mm[sheet], corners, sheet)
    sheet, corners, unseen = _with_missing(layout, sheet, corners, picture, shot.size)
    corners_px = picture.to_shot(corners)
    inside = (corners_px >= 0) & (corners_px <= np.array(shot.size) - 1)
    order = np.argsort(sheet)
    found = sheet[order]
    return FoundTiles(
        layout.column[found],
        layout.row[found],
        corners_px[order],
        inside.all(axis=(1, 2))[order],
        match.mirrored,
        _notes(len(found), picture.to_shot(unseen), shot.size),
    )


def _best_match(triangles: Triangles, layout: Layout) -> Match | None:
    matches = (match_lattice(grown, layout) for grown in grow_lattices(triangles))
    return next((match for match in matches if match is not None), None)


def _no_tiles() -> tuple:
    none = np.empty(0, np.int64)
    return none, none, np.empty((0, 3, 2)), np.empty(0, bool), False


def _why_none(triangles: int) -> str:
    if triangles < FEWEST:
        return (
            f"no target is seen: {triangles} dark set squares, and {FEWEST} are needed. Fill the frame with the "
            "sheet, focus, light it evenly; where the lens is very soft, print the coarse lattice."
        )
    return (
        f"{triangles} dark set squares are seen, but they don't stand as on the sheet of target.json. Use the "
        "target.json that was made with this print."
    )


def _sheet_index(layout: Layout, match: Match) -> NDArray[np.int64]:
    """The place in the layout's lists of each matched tile."""
    number = np.full((layout.rows, layout.columns), -1)
    number[layout.row, layout.column] = np.arange(len(layout.row))
    return number[match.row, match.column]


def _in_layout_order(corners: NDArray, mirrored: bool) -> NDArray:
    """Corners clockwise from the right angle, as on the sheet: seen from behind, the sheet runs anticlockwise."""
    return corners[:, [0, 2, 1]] if mirrored else corners


def _without_odd(sheet_mm: NDArray, corners: NDArray, sheet: NDArray) -> tuple[NDArray, NDArray]:
    """Leave out tiles that don't lie where their neighbours say."""
    reckoned = reckon_corners(sheet_mm, sheet_mm, corners, np.arange(len(corners)))
    off = np.linalg.norm(reckoned - corners, axis=2).max(axis=1)
    leg = np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)
    keep = off < ODD * leg
    return sheet[keep], corners[keep]


def _with_missing(
    layout: Layout, sheet: NDArray, corners: NDArray, picture: Reduced, size: tuple[int, int]
) -> tuple[NDArray, NDArray, NDArray]:
    """Add the tiles that the frame must show, ring after ring; also where those lie that could not be seen."""
    width, height = picture.from_shot(np.array(size, float) - 1)
    tried = np.zeros(len(layout.row), bool)
    tried[sheet] = True
    unseen = [np.empty((0, 2))]
    while True:
        ahead = _beside_found(layout, sheet) & ~tried
        if not ahead.any():
            return sheet, corners, np.concatenate(unseen)
        wanted = np.flatnonzero(ahead)
        tried[wanted] = True
        reckoned = reckon_corners(layout.corners_mm[wanted], layout.corners_mm[sheet], corners)
        shown = _share_of_edges(reckoned, width, height) >= LEAST_EDGE
        settled = [(i, settle_on_edges(c, picture)) for i, c in zip(wanted[shown], reckoned[shown], strict=True)]
        seen = [(i, c) for i, c in settled if c is not None]
        whole = ((reckoned > 2) & (reckoned < (width - 2, height - 2))).all(axis=(1, 2))
        blank = np.array([c is None for _, c in settled], bool)
        unseen.append(reckoned[shown][blank & whole[shown]].mean(axis=1))
        if seen:
            sheet = np.concatenate([sheet, [i for i, _ in seen]])
            corners = np.concatenate([corners, [c for _, c in seen]])


def _beside_found(layout: Layout, sheet: NDArray) -> NDArray[np.bool_]:
    """Which tiles of the layout stand next to a found one, or are one."""
    beside = np.zeros((layout.rows + 2, layout.columns + 2), bool)
    for down in range(3):
        for across in range(3):
            beside[layout.row[sheet] + down, layout.column[sheet] + across] = True
    return beside[layout.row + 1, layout.column + 1]


def _share_of_edges(corners: NDArray, width: float, height: float) -> NDArray[np.float64]:
    """The largest share of any one edge that lies in the frame, for each tile."""
    t = np.linspace(0.05, 0.95, 19)[:, None]
    shares = []
    for i, j in LEG_CORNERS:
        points = corners[:, None, i] + t * (corners[:, None, j] - corners[:, None, i])
        shares.append(((points > 0) & (points < (width, height))).all(axis=2).mean(axis=1))
    return np.max(shares, axis=0)


def _notes(found: int, unseen: NDArray, size: tuple[int, int]) -> tuple[str, ...]:
    if not len(unseen):
        return ()
    places = sorted({place_in_words(x, y, size) for x, y in unseen})
    return (
        f"{len(unseen)} of {found + len(unseen)} tiles could not be made out ({', '.join(places)}): too soft, too "
        "dark or covered there.",
    )
