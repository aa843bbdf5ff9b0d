"""The tiles of the target in a shot, each with its lattice position.

In a reduced picture of the shot dark triangles are found, gathered into a lattice, and matched to the sheet by
their directions. A smooth mapping from the sheet then predicts every other tile, and each is refined on its edges.

The constants are chosen by experience; `tests.bench.finding` shows what they achieve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from lensbench.frame import place_in_words
from lensbench.shot import Shot
from lensbench.target._known_sheets import sheet_shown
from lensbench.target._lattice import FEWEST, LatticePatch, Match, first_match, grow_lattices
from lensbench.target._reduced import DIMMEST, Reduced, reduce_shot
from lensbench.target._refinement import RefinedTiles, legs_of, refine_tiles
from lensbench.target._sheet_map import SheetMap, fit_map
from lensbench.target._triangles import Triangles, find_triangles
from lensbench.target.layout import LEG_CORNERS, Layout

LEAST_EDGE = 0.35
"""Share of at least one edge that must lie in the frame for a cut tile to be of use."""

NEAR, FURTHEST = 0.03, 0.12
"""Distance of a tile from its prediction, in legs: always allowed; allowed where the other tiles deviate too."""

OUTLIER = 5.0
"""Tiles that deviate by more than this many times what is typical are covered or spoiled."""

STEPS_AROUND = 3
"""Lattice steps around found tiles within which others are looked for: a gap may be this wide."""

MOST_ROUNDS = 6
"""Rounds of looking for tiles around those found so far."""

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
"""What to do, by the reason why tiles could not be made out."""


@dataclass(frozen=True, eq=False)
class FoundTiles:
    """The tiles found in one shot.

    Attributes
    ----------
    column, row : ndarray of int, shape (tiles,)
        Lattice position in the layout.
    corners_px : ndarray, shape (tiles, 3, 2)
        Corners in the layout's order, in pixels, to ±1 px; outside the frame where the border cuts the tile
        (then predicted from its neighbours).
    whole : ndarray of bool, shape (tiles,)
        Whether the tile lies wholly in the frame.
    mirrored : bool
        Whether the print (or the film) was seen from its back.
    notes : tuple of str
        What was not found, and why, in sentences for the user.
    others_px : ndarray, shape (others, 3, 2)
        Where the sheet's other tiles should lie that reach into the frame: cut short by its border, or covered.
    """

    column: NDArray[np.int64]
    row: NDArray[np.int64]
    corners_px: NDArray[np.float64]
    whole: NDArray[np.bool_]
    mirrored: bool
    notes: tuple[str, ...] = ()
    others_px: NDArray[np.float64] = field(default_factory=lambda: np.empty((0, 3, 2)))


def find_tiles(shot: Shot, layout: Layout) -> FoundTiles:
    """Find every tile of the sheet that the frame shows.

    Parameters
    ----------
    shot : Shot
        A shot of the target, at any turn, tilted, with any distortion, from either side.
    layout : Layout
        The sheet that it shows.

    Returns
    -------
    FoundTiles
        With no tiles, and a note that gives the reason, where the sheet isn't seen.

    Examples
    --------
    Tiles drawn on even light are found to a pixel:

    >>> import numpy as np
    >>> from skimage.draw import polygon2mask
    >>> from lensbench import Shot, find_tiles
    >>> from lensbench.target import make_layout
    >>> layout = make_layout((36.0, 24.0), 0.1, "coarse")
    >>> corners = layout.corners_mm * 1.6 + (299.5, 199.5)  # 1.6 px a millimetre, centred in the frame
    >>> light = np.full((400, 600), 12000.0)
    >>> for tile in corners:
    ...     light[polygon2mask(light.shape, tile[:, ::-1])] = 600.0
    >>> tiles = find_tiles(Shot.from_array(light, 0, 16000), layout)
    >>> drawn = {(c, r): xy for c, r, xy in zip(layout.column, layout.row, corners)}
    >>> apart = [found - drawn[c, r] for c, r, found in zip(tiles.column, tiles.row, tiles.corners_px)]
    >>> len(apart) > 60, bool(np.abs(apart).max() < 1), tiles.mirrored
    (True, True, False)
    """
    picture = reduce_shot(shot)
    triangles = find_triangles(picture)
    patches = grow_lattices(triangles)
    match = first_match(patches, layout)
    if match is None:
        return _no_tiles(_no_match_note(len(triangles), patches, layout))
    tiles, corners = _matched(layout, match, triangles)
    search = _Search(layout, picture, shot.size)
    tiles, corners, others, missed = search.complete(tiles, corners)
    if not len(tiles):
        return _no_tiles(_no_match_note(len(triangles), patches, layout))
    corners_px = picture.to_shot(corners)
    return FoundTiles(
        layout.column[tiles],
        layout.row[tiles],
        corners_px,
        _wholly_in_frame(corners_px, shot.size),
        match.mirrored,
        _notes(len(tiles), missed, shot.size),
        others,
    )


def _no_tiles(note: str) -> FoundTiles:
    """No tiles, with the reason."""
    none = np.empty(0, np.int64)
    return FoundTiles(none, none, np.empty((0, 3, 2)), np.empty(0, bool), False, (note,))


def _no_match_note(triangles: int, patches: Sequence[LatticePatch], layout: Layout) -> str:
    """Why no tile of the layout was found: too few are seen, or another sheet's, by name where it's known."""
    if triangles < FEWEST:
        return (
            f"no target is seen: {triangles} dark set squares, and {FEWEST} are needed. Fill the frame with the "
            "sheet, focus, light it evenly; where the lens is very soft, print the coarse lattice."
        )
    seen = sheet_shown(patches)
    wanted = f"the sheet {layout.name}" if layout.name else "the sheet of target.json"
    if seen is not None:
        return (
            f"shows the sheet {seen.layout.name} (sample_targets/{seen.folder}), but target.json describes "
            f"{wanted if layout.name else 'another'}{_made_for(layout)}. Put the target.json of the sheet shown "
            "beside the shots."
        )
    look = "Its name stands at the foot of its print" if layout.name else "Sheets without a name are older"
    return (
        f"{triangles} dark set squares are seen, but they aren't arranged as on {wanted}{_made_for(layout)}. "
        f"{look}: use the target.json that was made with this print."
    )


def _made_for(layout: Layout) -> str:
    """Such as ` (for a sensor of 36 × 24 mm at magnification 0.2)`; nothing where the file doesn't say."""
    if layout.sensor_mm is None or layout.magnification is None:
        return ""
    across, up = layout.sensor_mm
    return f" (for a sensor of {across:g} × {up:g} mm at magnification {layout.magnification:.2g})"


def _matched(layout: Layout, match: Match, triangles: Triangles) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The matched tiles: their number in the layout's lists, and their corners in the layout's order."""
    number = np.full((layout.rows, layout.columns), -1)
    number[layout.row, layout.column] = np.arange(len(layout.row))
    corners = triangles.corners[match.index]
    # Clockwise from the right angle, as on the sheet; seen from behind, the sheet runs anticlockwise.
    return number[match.row, match.column], corners[:, [0, 2, 1]] if match.mirrored else corners


def _wholly_in_frame(corners_px: NDArray, size: tuple[int, int]) -> NDArray[np.bool_]:
    return np.all(_in_frame(corners_px, size), axis=1)


def _in_frame(corners_px: NDArray, size: tuple[int, int]) -> NDArray[np.bool_]:
    return np.all((corners_px >= -0.5) & (corners_px <= np.array(size) - 0.5), axis=2)


@dataclass(frozen=True, eq=False)
class _Missed:
    """Tiles in the frame that could not be made out: positions (x, y) in the shot, and the reasons."""

    places: NDArray[np.float64]
    reason: list[str]


@dataclass(frozen=True, eq=False)
class _Search:
    """The search for all of a layout's tiles in a picture of a shot."""

    layout: Layout
    picture: Reduced
    size: tuple[int, int]

    def complete(self, tiles: NDArray, corners: NDArray) -> tuple[NDArray, NDArray, NDArray, _Missed]:
        """All tiles in the frame, from those found at first: numbers in the layout, corners; the other tiles."""
        blur = np.full(len(self.layout.row), np.nan)
        before = -1
        for _ in range(MOST_ROUNDS):
            mapping, kept = fit_map(self.layout.corners_mm[tiles], corners, legs_of(corners))
            tried = self._showing(mapping, tiles[kept])
            refined = refine_tiles(self.picture, mapping, self.layout.corners_mm[tried], blur[tried])
            blur[tried] = refined.blur
            good = self._good(mapping, tried, refined)
            # The first round has no estimate of the blur; the second may still add tiles.
            if good.sum() in (before, 0):
                break
            before, tiles, corners = good.sum(), tried[good], refined.corners[good]
        others = self._others(mapping, tried[good])
        return tried[good], refined.corners[good], others, self._missed(mapping, tried[~good], refined, ~good)

    def _others(self, mapping: SheetMap, found: NDArray) -> NDArray[np.float64]:
        """Corners in the shot's pixels of tiles beside those found that reach into the frame."""
        beside = np.setdiff1d(np.flatnonzero(_beside(self.layout, found)), found)
        predicted = self.picture.to_shot(mapping(self.layout.corners_mm[beside]))
        below, above = predicted.max(axis=1) > -0.5, predicted.min(axis=1) < np.array(self.size) - 0.5
        return predicted[(below & above).all(axis=1)]

    def _showing(self, mapping: SheetMap, found: NDArray) -> NDArray[np.int64]:
        """Found tiles and their neighbours of which enough lies in the frame, by their numbers."""
        beside = np.flatnonzero(_beside(self.layout, found))
        predicted = self.picture.to_shot(mapping(self.layout.corners_mm[beside]))
        return beside[_share_of_edges(predicted, self.size) >= LEAST_EDGE]

    def _good(self, mapping: SheetMap, tried: NDArray, refined: RefinedTiles) -> NDArray[np.bool_]:
        """Tiles near their prediction of which every edge is seen that should be."""
        predicted = mapping(self.layout.corners_mm[tried])
        off = np.linalg.norm(refined.corners - predicted, axis=2).max(axis=1)
        seen = (refined.seen | ~refined.expected).all(axis=1) & refined.seen.any(axis=1)
        leg = legs_of(predicted)
        typical = np.median(off[seen]) if seen.any() else 0.0
        return seen & (off < np.clip(OUTLIER * typical, NEAR * leg, FURTHEST * leg))

    def _missed(self, mapping: SheetMap, missed: NDArray, refined: RefinedTiles, which: NDArray) -> _Missed:
        predicted = mapping(self.layout.corners_mm[missed])
        whole = _wholly_in_frame(self.picture.to_shot(predicted), self.size)
        middles = predicted[whole].mean(axis=1)
        paper = self.picture.paper
        x, y = (np.clip(np.round(middles[:, k]).astype(int), 0, paper.shape[1 - k] - 1) for k in (0, 1))
        dark = paper[y, x] < max(DIM * float(paper.max()), DIMMEST)
        blur = refined.blur[which][whole]
        reason = np.where(dark, DARK, np.where(blur > WIDE_BLUR, BLURRED, COVERED))
        return _Missed(self.picture.to_shot(middles), reason.tolist())


def _beside(layout: Layout, tiles: NDArray) -> NDArray[np.bool_]:
    """Which tiles of the layout are near some, or among them."""
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
    for reason in sorted(set(missed.reason)):
        places = [
            place_in_words(x, y, size)
            for (x, y), w in zip(missed.places, missed.reason, strict=True)
            if w == reason
        ]
        number = f"{len(places)} tile{'s' if len(places) > 1 else ''} beside the {found} found"
        notes.append(f"{number} could not be made out, {reason}: {_counted(places)}. {REMEDY[reason]}")
    return tuple(notes)


def _counted(places: list[str]) -> str:
    """Such as `3 at the left, 1 in the middle`."""
    most_first = sorted(set(places), key=lambda place: (-places.count(place), place))
    return ", ".join(f"{places.count(place)} {place}" for place in most_first)
