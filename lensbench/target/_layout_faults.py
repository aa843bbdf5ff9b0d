"""What can be wrong with a layout that was read from a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lensbench.target._pattern import LEG_OVER_PITCH, sheet_name

if TYPE_CHECKING:
    from lensbench.target.layout import Layout

FORMAT = "lensbench-target/1"
"""What the first key of a layout's file says."""

LARGEST_MM = 100_000.0
"""No sheet is so large."""

LARGEST_LATTICE = 1000
"""More columns or rows than any sheet has."""


def fault_of(stored_format: str, layout: Layout) -> str | None:
    """What is wrong with a layout that was read, in words; None where it is sound."""
    if stored_format != FORMAT:
        return f'its format is "{stored_format}", not "{FORMAT}"'
    sizes = (layout.pitch_mm, *layout.rulers_mm)
    if not (all(0 < size < LARGEST_MM for size in sizes) and min(layout.columns, layout.rows) > 0):
        return f"pitch_mm, columns, rows and rulers_mm must all be above zero, and sizes below {LARGEST_MM:g} mm"
    if max(layout.columns, layout.rows) > LARGEST_LATTICE:
        return f"its lattice of {layout.columns} x {layout.rows} is larger than any sheet's"
    if layout.column.size == 0:
        return "it lists no tiles"
    outside = (layout.column < 0) | (layout.column >= layout.columns)
    outside |= (layout.row < 0) | (layout.row >= layout.rows)
    if outside.any():
        return f"{_tile_name(layout, outside)} lies outside of the {layout.columns} x {layout.rows} lattice"
    position = layout.row * layout.columns + layout.column
    twice = np.bincount(position)[position] > 1
    if twice.any():
        return f"{_tile_name(layout, twice)} is listed twice"
    along = layout.corners_mm[:, 1] - layout.corners_mm[:, 0]
    across = layout.corners_mm[:, 2] - layout.corners_mm[:, 0]
    # Turned a quarter from the first leg to the second, a set square's two legs are the same vector.
    apart = np.linalg.norm(across - np.stack([-along[:, 1], along[:, 0]], axis=1), axis=1)
    unequal = apart > 0.02 * LEG_OVER_PITCH * layout.pitch_mm
    if unequal.any():
        return f"the corners of {_tile_name(layout, unequal)} are not those of a set square"
    node = np.stack([layout.column - (layout.columns - 1) / 2, layout.row - (layout.rows - 1) / 2], axis=1)
    off = np.linalg.norm(layout.nodes_mm - node * layout.pitch_mm, axis=1) > 0.02 * layout.pitch_mm
    if off.any():
        return f"{_tile_name(layout, off)} does not lie on its node of the lattice"
    return _fault_of_name(layout)


def _fault_of_name(layout: Layout) -> str | None:
    """What is wrong with what a layout says of itself: its name, its sensor, its magnification."""
    if layout.name is not None and layout.name != sheet_name(
        layout.name.partition("-")[0], layout.columns, layout.rows, layout.pitch_mm
    ):
        return (
            f"its name is {layout.name[:60]!r}, which isn't that of {layout.columns} x {layout.rows} tiles every"
            f" {layout.pitch_mm:.3f} mm"
        )
    made_for = [*(layout.sensor_mm or ()), *([] if layout.magnification is None else [layout.magnification])]
    if not all(0 < size < LARGEST_MM for size in made_for):
        return "sensor_mm and magnification must be above zero"
    return None


def _tile_name(layout: Layout, which: NDArray[np.bool_]) -> str:
    first = int(np.flatnonzero(which)[0])
    return f"the tile of column {layout.column[first]}, row {layout.row[first]}"
