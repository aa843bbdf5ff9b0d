"""Where every corner of the set-square target lies."""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import maximum_filter1d

from lensbench.errors import BenchError
from lensbench.files import write_text_whole

LEGS = ("along", "across", "slant")
"""The three edges of a tile: the leg along the target's radius, the other leg, the long side.

With the corners in the order (right angle, end of the leg along the radius, end of the other), leg `along` runs
from corner 0 to 1, `across` from 0 to 2, `slant` from 1 to 2.
"""

LEG_CORNERS = ((0, 1), (0, 2), (1, 2))
"""The two corners that each of `LEGS` joins."""

FORMAT = "lensbench-target/1"
"""What the first key of a layout's file says."""

LATTICES = {"fine": (15, 11), "coarse": (9, 7)}
"""About how many tiles each lattice has across and up the frame."""

LEG_OVER_PITCH = 0.56
"""Length of a tile's legs over the distance of neighbouring nodes."""

OVERRUN = 1.5
"""How much larger than the frame the lattice is: a quarter of the frame more on each side."""

TWISTS_DEG = np.arange(2.0, 6.25, 0.5)
"""The twists, either way, that a tile's is chosen from."""

CAMERA_TURN_DEG = 3.0
"""How far the camera may be turned, either way, with the edges still sampling well."""

USABLE_LEG_PX = 130
"""Straight part of a leg between the blurred corners, for the choice of twists (24 megapixels, fine lattice)."""

PATTERN = (
    "#....#...##.#.###..#....#..##..",
    "#.###..###.#########..####...#.",
    ".##...##..#.##.##.##.#.#...##.#",
    "#....#.###.##.#..##.#.##..##.#.",
    "#.#.#.##....#.##.#.###.###.####",
    "#.###..#..#.#......###.#.##....",
    "....#..#....#.#.....#..#.#..#.#",
    "###.##.##.##.##.#..#####....#.#",
    "###.######..#....###.##..##..##",
    "...#..###.....####..#.##.####.#",
    "#.##.###.#.#..#.#..#####.#.##..",
    "##...##.#...#.#..##.#.#.......#",
    ".##.###.##...#..#.###..##.#..##",
    ".#.#.#......##.#....#..###....#",
    ".#...##..###.###..###........##",
    "...#.##....###.####..###.#####.",
    "#.#.#.#.....#.#.##.##.#......##",
    ".#...###..#.......#.##..#..##..",
    ".....#..####....##.....###.##..",
    "........#......#.#######..##.#.",
    "#..######.#####..#.###......#..",
    "##..######.#.###.###.....#.#.##",
    "#...##.##.##..#..####....#.#..#",
    ".###.#.###.####.#######.##...##",
    ".....###.####.##.#.#...........",
    ".#.##.#####..###.##.#.##..##.#.",
    "..##...#..###.......#####..#..#",
    "...#.#...#..#...####.#.####.###",
    "#..#######..#.#.#.#...#..###...",
    "###..#.###....##.....##.#.##.##",
    "..#.#..#.#....##.#..#.#.####...",
)
"""Which tiles are turned half round, around the middle node.

Random-looking, then bits turned until every 4 × 4 tiles with their directions were unlike every other under all
shifts, quarter turns and mirroring: the mean cosine between the directions of two like-placed windows stays under
0.76 within 12 steps from the middle, 0.84 to the rim (1 would be the same).
"""


@dataclass(frozen=True, eq=False)
class Layout:
    """The target as designed, in millimetres from its centre, x right, y down.

    Attributes
    ----------
    pitch_mm : float
        Distance of neighbouring lattice nodes.
    columns, rows : int
        Size of the lattice.
    rulers_mm : (float, float)
        Designed lengths of the ruler bars across and up.
    column, row : ndarray of int, shape (tiles,)
        Lattice place of each tile, 0 at the left and at the top.
    corners_mm : ndarray, shape (tiles, 3, 2)
        Right angle, end of the leg along the radius, end of the other leg.
    """

    pitch_mm: float
    columns: int
    rows: int
    rulers_mm: tuple[float, float]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    corners_mm: NDArray[np.float64]

    @property
    def nodes_mm(self) -> NDArray[np.float64]:
        """The lattice node of each tile, shape (tiles, 2): the midpoint of its long side."""
        return self.corners_mm[:, 1:].mean(axis=1)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the box around all tiles."""
        across, down = np.ptp(self.corners_mm.reshape(-1, 2), axis=0)
        return float(across), float(down)

    def polygons(self) -> NDArray[np.float64]:
        """The tiles as closed outlines (first corner again at the end), shape (tiles, 4, 2), in millimetres."""
        return self.corners_mm[:, [0, 1, 2, 0]]


def make_layout(
    frame_mm: tuple[float, float],
    magnification: float = 1.0,
    lattice: str = "fine",
    rulers_mm: tuple[float, float] | None = None,
) -> Layout:
    """Lay out the tiles for one frame size and magnification.

    The lattice always has a node in the middle, and which way round and how far twisted a tile is depends only on
    its place from that node: all sizes of a lattice are cut from one pattern.

    Parameters
    ----------
    frame_mm : (float, float)
        Width and height of the sensor.
    magnification : float
        Size on the sensor over size on the target.
    lattice : str
        One of `LATTICES`.
    rulers_mm : (float, float), optional
        Lengths of the ruler bars across and up; as long as the lattice unless given.

    Raises
    ------
    BenchError
        Where a size is not a positive number, the lattice has no such name, or the frame is too slim for it.
    """
    if not all(np.isfinite(v) and v > 0 for v in (*frame_mm, magnification)):
        raise BenchError(
            f"A target for a frame of {frame_mm[0]} x {frame_mm[1]} mm at magnification {magnification} cannot be"
            " laid out: all three must be numbers above zero."
        )
    if lattice not in LATTICES:
        raise BenchError(f"There is no lattice called {lattice}; choose {' or '.join(LATTICES)}.")
    pitch, columns, rows = _lattice_for(frame_mm[0] / magnification, frame_mm[1] / magnification, lattice)
    row, column = (grid.ravel() for grid in np.mgrid[0:rows, 0:columns])
    corners = _corners(column - columns // 2, row - rows // 2, lattice) * pitch
    if rulers_mm is None:
        rulers_mm = (columns * pitch, rows * pitch)
    return Layout(pitch, columns, rows, tuple(float(v) for v in rulers_mm), column, row, corners)


def write_layout(path: str | Path, layout: Layout) -> None:
    """Write a layout as `target.json`, one tile a line."""
    write_text_whole(path, layout_text(layout))


def layout_text(layout: Layout) -> str:
    """What stands in the `target.json` of a layout."""
    head = {
        "format": FORMAT,
        "pitch_mm": round(layout.pitch_mm, 5),
        "columns": layout.columns,
        "rows": layout.rows,
        "rulers_mm": [round(v, 3) for v in layout.rulers_mm],
    }
    tiles = [
        json.dumps({"column": int(c), "row": int(r), "corners_mm": np.round(corners, 5).tolist()})
        for c, r, corners in zip(layout.column, layout.row, layout.corners_mm, strict=True)
    ]
    lines = [f" {json.dumps(key)}: {json.dumps(value)},\n" for key, value in head.items()]
    return "{\n" + "".join(lines) + ' "tiles": [\n  ' + ",\n  ".join(tiles) + "\n ]\n}\n"


def read_layout(path: str | Path) -> Layout:
    """Read a layout from `target.json` and check it.

    Raises
    ------
    BenchError
        Where the file cannot be read or does not describe a set-square target; it names what is wrong.
    """
    path = Path(path)
    try:
        stored = msgspec.json.decode(path.read_bytes(), type=_StoredLayout)
    except OSError as error:
        raise BenchError(
            f"{path}: cannot be read ({error.strerror}). Copy the target.json of your printed target here."
        ) from error
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BenchError(
            f"{path}: not a target layout ({error}). Copy the one made with your target again."
        ) from error
    layout = Layout(
        stored.pitch_mm,
        stored.columns,
        stored.rows,
        stored.rulers_mm,
        np.array([tile.column for tile in stored.tiles], dtype=np.int64),
        np.array([tile.row for tile in stored.tiles], dtype=np.int64),
        np.array([tile.corners_mm for tile in stored.tiles], dtype=np.float64).reshape(-1, 3, 2),
    )
    fault = _fault_of(stored.format, layout)
    if fault:
        raise BenchError(f"{path}: {fault}. Copy the target.json made with your target again, unchanged.")
    return layout


def sampling_gap(angle_deg: ArrayLike, length_px: float = USABLE_LEG_PX) -> NDArray[np.float64]:
    """The largest gap that the samples of one colour leave on the normal of a straight edge.

    Parameters
    ----------
    angle_deg : array_like
        The way the edge runs, from the rows of the sensor.
    length_px : float
        Length of the edge.

    Returns
    -------
    ndarray
        The widest stretch of the normal without any sample of a lattice of 2 px spacing (red or blue of a Bayer
        mosaic), in pixels; of the shape of `angle_deg`.
    """
    angles = np.radians(np.atleast_1d(np.asarray(angle_deg, dtype=float)))
    reach = 4.0
    steps = np.arange(-np.ceil((length_px + reach) / 4), np.ceil((length_px + reach) / 4) + 1) * 2
    y, x = (grid.ravel() for grid in np.meshgrid(steps, steps))
    gaps = np.empty(angles.size)
    for k, (c, s) in enumerate(zip(np.cos(angles), np.sin(angles), strict=True)):
        along, off = x * c + y * s, y * c - x * s
        near = (np.abs(along) <= length_px / 2) & (np.abs(off) <= reach)
        gaps[k] = np.diff(np.sort(off[near])).max()
    return gaps.reshape(np.shape(angle_deg))


class _StoredTile(msgspec.Struct):
    column: int
    row: int
    corners_mm: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


class _StoredLayout(msgspec.Struct):
    format: str
    pitch_mm: float
    columns: int
    rows: int
    rulers_mm: tuple[float, float]
    tiles: list[_StoredTile]


def _fault_of(stored_format: str, layout: Layout) -> str | None:
    """What is wrong with a layout that was read, in words; None where it is sound."""
    if stored_format != FORMAT:
        return f'its format is "{stored_format}", not "{FORMAT}"'
    if not (layout.pitch_mm > 0 and layout.columns > 0 and layout.rows > 0 and min(layout.rulers_mm) > 0):
        return "pitch_mm, columns, rows and rulers_mm must all be above zero"
    if layout.column.size == 0:
        return "it lists no tiles"
    outside = (layout.column < 0) | (layout.column >= layout.columns)
    outside |= (layout.row < 0) | (layout.row >= layout.rows)
    if outside.any():
        return f"{_tile_name(layout, outside)} lies outside of the {layout.columns} x {layout.rows} lattice"
    places = layout.row * layout.columns + layout.column
    twice = np.bincount(places)[places] > 1
    if twice.any():
        return f"{_tile_name(layout, twice)} is listed twice"
    along = layout.corners_mm[:, 1] - layout.corners_mm[:, 0]
    across = layout.corners_mm[:, 2] - layout.corners_mm[:, 0]
    # Turned a quarter from the first leg to the second, a set square's two legs are the same vector.
    bent = np.linalg.norm(across - np.stack([-along[:, 1], along[:, 0]], axis=1), axis=1)
    bent = bent > 0.02 * LEG_OVER_PITCH * layout.pitch_mm
    if bent.any():
        return f"the corners of {_tile_name(layout, bent)} are not those of a set square"
    place = np.stack([layout.column - (layout.columns - 1) / 2, layout.row - (layout.rows - 1) / 2], axis=1)
    off = np.linalg.norm(layout.nodes_mm - place * layout.pitch_mm, axis=1) > 0.02 * layout.pitch_mm
    if off.any():
        return f"{_tile_name(layout, off)} does not lie on its node of the lattice"
    return None


def _tile_name(layout: Layout, which: NDArray[np.bool_]) -> str:
    first = int(np.flatnonzero(which)[0])
    return f"the tile of column {layout.column[first]}, row {layout.row[first]}"


def _lattice_for(width_mm: float, height_mm: float, lattice: str) -> tuple[float, int, int]:
    """Pitch, columns and rows for a frame's size on the target."""
    across, up = LATTICES[lattice]
    # The geometric mean keeps about the same number of tiles in frames of any shape.
    pitch = float(np.sqrt(width_mm * height_mm / (across * up)))
    columns, rows = (_nearest_odd(OVERRUN * side / pitch) for side in (width_mm, height_mm))
    if max(columns, rows) > len(PATTERN):
        raise BenchError(
            f"A frame of {width_mm:.4g} x {height_mm:.4g} mm on the target is too slim for the lattice {lattice}:"
            f" it needs {max(columns, rows)} tiles in line, and there are {len(PATTERN)}. Use a target for a frame"
            " of the same width and more height."
        )
    return pitch, max(columns, 5), max(rows, 5)


def _nearest_odd(number: float) -> int:
    return 2 * round((number - 1) / 2) + 1


def _corners(across: NDArray[np.int64], down: NDArray[np.int64], lattice: str) -> NDArray[np.float64]:
    """Corners of the tiles at whole steps from the middle node, in pitches, shape (tiles, 3, 2)."""
    middle = len(PATTERN) // 2
    # The coarse lattice's tiles are turned the other way, so that no sheet is taken for one of the other lattice.
    turned = "#" if lattice == "fine" else "."
    pattern = np.array([[mark == turned for mark in line] for line in PATTERN])
    side = np.where(pattern[down + middle, across + middle], 1.0, -1.0)[:, None] * LEG_OVER_PITCH
    # The middle node has no radius; arctan2 gives it the one to the right.
    turn = np.arctan2(down, across) + np.radians(_twists_deg()[down + middle, across + middle])
    along = side * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    across_radius = side * np.stack([-np.sin(turn), np.cos(turn)], axis=1)
    right_angle = np.stack([across, down], axis=1) - (along + across_radius) / 2
    return np.stack([right_angle, right_angle + along, right_angle + across_radius], axis=1)


@functools.lru_cache(maxsize=1)
def _twists_deg() -> NDArray[np.float64]:
    """The twist of each place of `PATTERN`: the one of least gap that the sampling shows for any camera turn."""
    middle = len(PATTERN) // 2
    down, across = np.mgrid[-middle : middle + 1, -middle : middle + 1]
    radius_deg = np.degrees(np.arctan2(down, across))[..., None]
    # Signs alternate, so that twists cancel over any few tiles; the other sign is taken where it is far better.
    preferred = np.where((across + down) % 2 == 0, 1, -1)[..., None]
    tries = np.concatenate([preferred * TWISTS_DEG, -preferred * TWISTS_DEG], axis=-1)
    gaps = _worst_gap(radius_deg + tries)
    gaps[..., len(TWISTS_DEG) :] *= 1.25
    return np.take_along_axis(tries, gaps.argmin(axis=-1)[..., None], axis=-1)[..., 0]


def _worst_gap(angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """The largest sampling gap of a tile's three edges over all camera turns."""
    step = 0.1
    grid = np.arange(0, 90, step)
    leg = sampling_gap(grid)
    slant = np.roll(sampling_gap(grid, USABLE_LEG_PX * np.sqrt(2)), -round(45 / step))
    worst = maximum_filter1d(np.maximum(leg, slant), 2 * round(CAMERA_TURN_DEG / step) + 1, mode="wrap")
    return worst[np.round(angle_deg / step).astype(int) % len(grid)]
