"""The tiles of the target in a shot, each with its lattice place.

From a smaller picture of the shot: dark triangles, gathered into a lattice, matched to the sheet by the way they
point. Then a smooth mapping from the sheet says where every other tile must be, and each is settled on its edges.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from lensbench.frame import place_in_words
from lensbench.shot import Shot
from lensbench.target.lattice import FEWEST, Match, grow_lattices, match_lattice
from lensbench.target.layout import LEG_CORNERS, Layout
from lensbench.target.reduced import DIMMEST, Reduced, reduce_shot
from lensbench.target.settling import Settled, legs_of, settle
from lensbench.target.sheet_map import SheetMap, fit_map
from lensbench.target.triangles import Triangles, find_triangles

LEAST_EDGE = 0.35
"""Share of at least one edge that must lie in the frame for a cut tile to be of use."""

NEAR, FURTHEST = 0.03, 0.12
"""How far, in legs, a tile may lie from where the mapping reckons it: always, and where the others lie off too."""

ODD = 5.0
"""Tiles further off than this many times what is usual are covered or spoiled."""

STEPS_AROUND = 3
"""How far around found tiles others are looked for: a gap may be this wide."""

MOST_ROUNDS = 6
"""Times that tiles are looked for around those found so far."""

WIDE_BLUR = 0.12
"""Blur over the leg from which a tile's edges run into each other."""

DIM = 0.1
"""Paper with less than this share of the brightest paper's light counts as dark where tiles are missing."""

BLURRED, COVERED, DARK = "too blurred", "covered or spoiled", "too dark"

REMEDY = {
    BLURRED: "Focus again, or use the coarse lattice.",
    COVERED: "Is anything in the way, is the sheet folded or stained, or does the picture end there?",
    DARK: "Light the sheet more evenly or expose longer; perhaps the lens draws nothing there.",
}
"""Why tiles could not be made out, and what to do."""


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
        return _nothing(len(triangles))
    tiles, corners = _matched(layout, match, triangles)
    search = _Search(layout, picture, shot.size)
    tiles, corners, missed = search.complete(tiles, corners)
    if not len(tiles):
        return _nothing(len(triangles))
    corners_px = picture.to_shot(corners)
    return FoundTiles(
        layout.column[tiles],
        layout.row[tiles],
        corners_px,
        _in_frame(corners_px, shot.size).all(axis=1),
        match.mirrored,
        _notes(len(tiles), missed, shot.size),
    )


def _best_match(triangles: Triangles, layout: Layout) -> Match | None:
    matches = (match_lattice(grown, layout) for grown in grow_lattices(triangles))
    return next((match for match in matches if match is not None), None)


def _nothing(triangles: int) -> FoundTiles:
    """No tiles, and why."""
    none = np.empty(0, np.int64)
    return FoundTiles(none, none, np.empty((0, 3, 2)), np.empty(0, bool), False, (_why_none(triangles),))


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


def _matched(layout: Layout, match: Match, triangles: Triangles) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The matched tiles: their number in the layout's lists, and their corners in the layout's order."""
    number = np.full((layout.rows, layout.columns), -1)
    number[layout.row, layout.column] = np.arange(len(layout.row))
    corners = triangles.corners[match.index]
    # Clockwise from the right angle, as on the sheet; seen from behind, the sheet runs anticlockwise.
    return number[match.row, match.column], corners[:, [0, 2, 1]] if match.mirrored else corners


def _in_frame(corners_px: NDArray, size: tuple[int, int]) -> NDArray[np.bool_]:
    return ((corners_px >= -0.5) & (corners_px <= np.array(size) - 0.5)).all(axis=2)


@dataclass(frozen=True, eq=False)
class _Missed:
    """Tiles that must show but could not be made out: where (x, y) in the shot, and why."""

    places: NDArray[np.float64]
    why: list[str]


@dataclass(frozen=True, eq=False)
class _Search:
    """The search for all of a layout's tiles in a picture of a shot."""

    layout: Layout
    picture: Reduced
    size: tuple[int, int]

    def complete(self, tiles: NDArray, corners: NDArray) -> tuple[NDArray, NDArray, _Missed]:
        """All tiles in the frame, from those found at first: their numbers in the layout and their corners."""
        blur = np.full(len(self.layout.row), np.nan)
        before = -1
        for _ in range(MOST_ROUNDS):
            mapping, kept = fit_map(self.layout.corners_mm[tiles], corners, legs_of(corners))
            tried = self._showing(mapping, tiles[kept])
            settled = settle(self.picture, mapping, self.layout.corners_mm[tried], blur[tried])
            blur[tried] = settled.blur
            good = self._good(mapping, tried, settled)
            # The first round knows no blur, the second may still meet new tiles.
            if good.sum() in (before, 0):
                break
            before, tiles, corners = good.sum(), tried[good], settled.corners[good]
        return tried[good], settled.corners[good], self._missed(mapping, tried[~good], settled, ~good)

    def _showing(self, mapping: SheetMap, found: NDArray) -> NDArray[np.int64]:
        """Found tiles and those beside them that show enough of themselves, by their numbers."""
        beside = np.flatnonzero(_beside(self.layout, found))
        reckoned = self.picture.to_shot(mapping(self.layout.corners_mm[beside]))
        return beside[_share_of_edges(reckoned, self.size) >= LEAST_EDGE]

    def _good(self, mapping: SheetMap, tried: NDArray, settled: Settled) -> NDArray[np.bool_]:
        """Tiles of which every edge is seen that the frame shows well, near to where they must be."""
        reckoned = mapping(self.layout.corners_mm[tried])
        off = np.linalg.norm(settled.corners - reckoned, axis=2).max(axis=1)
        seen = (settled.seen | ~settled.owed).all(axis=1) & settled.seen.any(axis=1)
        leg = legs_of(reckoned)
        usual = np.median(off[seen]) if seen.any() else 0.0
        return seen & (off < np.clip(ODD * usual, NEAR * leg, FURTHEST * leg))

    def _missed(self, mapping: SheetMap, missed: NDArray, settled: Settled, which: NDArray) -> _Missed:
        reckoned = mapping(self.layout.corners_mm[missed])
        whole = _in_frame(self.picture.to_shot(reckoned), self.size).all(axis=1)
        middles = reckoned[whole].mean(axis=1)
        paper = self.picture.paper
        x, y = (np.clip(np.round(middles[:, k]).astype(int), 0, paper.shape[1 - k] - 1) for k in (0, 1))
        dark = paper[y, x] < max(DIM * float(paper.max()), DIMMEST)
        blur = settled.blur[which][whole]
        why = np.where(dark, DARK, np.where(blur > WIDE_BLUR, BLURRED, COVERED))
        return _Missed(self.picture.to_shot(middles), why.tolist())


def _beside(layout: Layout, tiles: NDArray) -> NDArray[np.bool_]:
    """Which tiles of the layout stand near some, or are among them."""
    there = np.zeros((layout.rows, layout.columns), bool)
    there[layout.row[tiles], layout.column[tiles]] = True
    return maximum_filter(there, 2 * STEPS_AROUND + 1)[layout.row, layout.column]


def _share_of_edges(corners_px: NDArray, size: tuple[int, int]) -> NDArray[np.float64]:
    """The largest share of any one edge that lies in the frame, for each tile."""
    t = np.linspace(0.025, 0.975, 20)[:, None]
    shares = []
    for i, j in LEG_CORNERS:
        points = corners_px[:, None, i] + t * (corners_px[:, None, j] - corners_px[:, None, i])
        shares.append(_in_frame(points, size).mean(axis=1))
    return np.max(shares, axis=0)


def _notes(found: int, missed: _Missed, size: tuple[int, int]) -> tuple[str, ...]:
    notes = []
    for why in sorted(set(missed.why)):
        places = [
            place_in_words(x, y, size) for (x, y), w in zip(missed.places, missed.why, strict=True) if w == why
        ]
        number = f"{len(places)} tile{'s' if len(places) > 1 else ''} beside the {found} found"
        notes.append(f"{number} could not be made out, {why}: {_counted(places)}. {REMEDY[why]}")
    return tuple(notes)


def _counted(places: list[str]) -> str:
    """Such as `3 at the left, 1 in the middle`."""
    return ", ".join(
        f"{places.count(place)} {place}" for place in sorted(set(places), key=lambda p: (-places.count(p), p))
    )
