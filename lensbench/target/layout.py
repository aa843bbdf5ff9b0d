"""Where every corner of the set-square target lies."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import msgspec
import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.files import read_whole, write_text_whole
from lensbench.target._layout_faults import FORMAT, fault_of
from lensbench.target._pattern import FAR_CORNER, MOST_IN_LINE, PITCH_DECIMALS, sheet_name, tile_corners

LEGS = ("along", "across", "slant")
"""The three edges of a tile: the leg along the target's radius, the other leg, the long side.

With the corners in the order (right angle, end of the leg along the radius, end of the other), leg `along` runs
from corner 0 to 1, `across` from 0 to 2, `slant` from 1 to 2.
"""

LEG_CORNERS = ((0, 1), (0, 2), (1, 2))
"""The two corners that each of `LEGS` joins."""

LATTICES = {"fine": (15, 11), "coarse": (9, 7)}
"""About how many tiles each lattice has across and up the frame."""

MOST_BYTES = 20_000_000
"""The file of the largest sheet has 120 kB."""

OVERRUN = 1.5
"""How much larger than the frame the lattice is: a quarter of the frame more on each side."""


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
        Lattice position of each tile, 0 at the left and at the top.
    corners_mm : ndarray, shape (tiles, 3, 2)
        Right angle, end of the leg along the radius, end of the other leg.
    name : str or None
        What the sheet is called in print, such as ``fine-23x15-12.345``: lattice, columns and rows, pitch in
        millimetres. Sheets of other names are turned otherwise. None for sheets made before they had names.
    sensor_mm : (float, float) or None
        Width and height of the frame that the sheet was made for.
    magnification : float or None
        The magnification that it was made for.
    """

    pitch_mm: float
    columns: int
    rows: int
    rulers_mm: tuple[float, float]
    column: NDArray[np.int64]
    row: NDArray[np.int64]
    corners_mm: NDArray[np.float64]
    name: str | None = None
    sensor_mm: tuple[float, float] | None = None
    magnification: float | None = None

    @property
    def nodes_mm(self) -> NDArray[np.float64]:
        """The lattice node of each tile, shape (tiles, 2): the midpoint of its long side."""
        return self.corners_mm[:, 1:].mean(axis=1)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the box that holds all tiles, however each is turned."""
        return tiled_size_mm(self.pitch_mm, self.columns, self.rows)


def make_layout(
    frame_mm: tuple[float, float],
    magnification: float = 1.0,
    lattice: str = "fine",
    rulers_mm: tuple[float, float] | None = None,
) -> Layout:
    """Lay out the tiles for one frame size and magnification.

    The lattice always has a node in the middle. How far a tile is twisted depends only on its position from that
    node; which way round it is, on the sheet's name, so that no sheet can be taken for another.

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

    Returns
    -------
    Layout

    Raises
    ------
    BenchError
        Where a size is not a positive number, the lattice has no such name, or the frame is too slim for it.
    """
    pitch, columns, rows = plan_lattice(frame_mm, magnification, lattice)
    row, column = (grid.ravel() for grid in np.mgrid[0:rows, 0:columns])
    name = sheet_name(lattice, columns, rows, pitch)
    if rulers_mm is None:
        rulers_mm = (columns * pitch, rows * pitch)
    return Layout(
        pitch_mm=pitch,
        columns=columns,
        rows=rows,
        rulers_mm=(float(rulers_mm[0]), float(rulers_mm[1])),
        column=column,
        row=row,
        corners_mm=tile_corners(columns, rows, name) * pitch,
        name=name,
        sensor_mm=(float(frame_mm[0]), float(frame_mm[1])),
        magnification=float(magnification),
    )


def plan_lattice(frame_mm: tuple[float, float], magnification: float, lattice: str) -> tuple[float, int, int]:
    """Pitch, columns and rows of a sheet; raises as `make_layout` does."""
    if not all(np.isfinite(v) and v > 0 for v in (*frame_mm, magnification)):
        raise BenchError(
            f"A target for a frame of {frame_mm[0]} x {frame_mm[1]} mm at magnification {magnification} cannot be"
            " laid out: all three must be numbers above zero."
        )
    if lattice not in LATTICES:
        raise BenchError(f"There is no lattice called {lattice}; choose {' or '.join(LATTICES)}.")
    return _lattice_for(frame_mm[0] / magnification, frame_mm[1] / magnification, lattice)


def tiled_size_mm(pitch_mm: float, columns: int, rows: int) -> tuple[float, float]:
    """Width and height of the box that holds the tiles of a lattice, however each is turned."""
    across, down = (float(pitch_mm * (number - 1 + 2 * FAR_CORNER)) for number in (columns, rows))
    return across, down


def write_layout(path: str | Path, layout: Layout) -> None:
    """Write a layout as `target.json`, one tile a line."""
    write_text_whole(path, layout_text(layout))


def layout_text(layout: Layout) -> str:
    """What stands in the `target.json` of a layout."""
    made_for: dict[str, object] = {"name": layout.name, "sensor_mm": layout.sensor_mm}
    if layout.magnification is not None:
        made_for["magnification"] = float(f"{layout.magnification:.5g}")
    head = {
        "format": FORMAT,
        **{key: value for key, value in made_for.items() if value is not None},
        "pitch_mm": round(layout.pitch_mm, PITCH_DECIMALS),
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

    Parameters
    ----------
    path : path
        The `target.json` that was made with the print.

    Returns
    -------
    Layout

    Raises
    ------
    BenchError
        Where the file cannot be read or does not describe a set-square target; it names what is wrong.

    Examples
    --------
    A layout is made for a sensor and a magnification, and read back from the file beside its print:

    >>> import tempfile
    >>> from pathlib import Path
    >>> from lensbench.target import make_layout, read_layout, write_layout
    >>> path = Path(tempfile.mkdtemp()) / "target.json"
    >>> write_layout(path, make_layout((36.0, 24.0), 0.1, "coarse"))
    >>> layout = read_layout(path)
    >>> layout.columns, layout.rows, round(layout.pitch_mm, 2)
    (15, 9, 37.03)
    """
    path = Path(path)
    content = read_whole(path, MOST_BYTES, "Copy the target.json of your printed target here.")
    try:
        stored = msgspec.json.decode(content, type=_StoredLayout)
    # Too large numbers and too deep brackets come as errors of Python's own.
    except (msgspec.DecodeError, ValueError, OverflowError, RecursionError) as error:
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
        stored.name,
        stored.sensor_mm,
        stored.magnification,
    )
    fault = fault_of(stored.format, layout)
    if fault:
        raise BenchError(f"{path}: {fault}. Copy the target.json made with your target again, unchanged.")
    return layout


_Count = Annotated[int, msgspec.Meta(ge=-1_000_000, le=1_000_000)]


class _StoredTile(msgspec.Struct):
    column: _Count
    row: _Count
    corners_mm: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]


class _StoredLayout(msgspec.Struct):
    format: str
    pitch_mm: float
    columns: _Count
    rows: _Count
    rulers_mm: tuple[float, float]
    tiles: list[_StoredTile]
    name: str | None = None
    sensor_mm: tuple[float, float] | None = None
    magnification: float | None = None


def _lattice_for(width_mm: float, height_mm: float, lattice: str) -> tuple[float, int, int]:
    """Pitch, columns and rows for a frame's size on the target."""
    across, up = LATTICES[lattice]
    # The geometric mean keeps about the same number of tiles in frames of any shape.
    pitch = float(np.sqrt(width_mm * height_mm / (across * up)))
    columns, rows = (_nearest_odd(OVERRUN * side / pitch) for side in (width_mm, height_mm))
    if max(columns, rows) > MOST_IN_LINE:
        raise BenchError(
            f"A frame of {width_mm:.4g} x {height_mm:.4g} mm on the target is too slim for the lattice {lattice}:"
            f" it needs {max(columns, rows)} tiles in line, and there are {MOST_IN_LINE}. Use a target for a frame"
            " of the same width and more height."
        )
    return pitch, max(columns, 5), max(rows, 5)


def _nearest_odd(number: float) -> int:
    return 2 * round((number - 1) / 2) + 1
