"""A shot with its free edges flagged by small numbered set squares, and the figures in a table beside it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Polygon

from lensbench import frame
from lensbench.analysers.free_edges import FreeEdge, FreeEdges
from lensbench.errors import BenchError
from lensbench.files import write_new
from lensbench.formatting import bare, with_interval
from lensbench.reduction import reduce_reference, reduction_block
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import as_png, axes_in, house_mark, new_drawing, write_at
from lensbench.reporter.plots.frame_parts import open_frame, set_square
from lensbench.reporter.values.figures import nice_ceiling
from lensbench.reporter.values.free_edges import free_edge_unit, shown_colour, shown_mtf50
from lensbench.shot import Shot

_HEIGHT_IN = 6.4
_EDGE_IN = 0.3
_TOP_IN = 0.75
_ROW_IN = 0.15
_COLUMN_IN = 3.5
_DOTS = 200

_MOST_COLUMNS = 3
"""More columns of figures than this would leave the picture too small."""

_FLAG = 0.02
"""The flags' legs, in half-diagonals of the frame."""

_GAMMA = 2.2
"""Screens show light to about this power."""


def write_edges_picture(shot: Shot, result: FreeEdges, path: str | Path) -> None:
    """Write the annotated picture as PNG, whole or not at all.

    Raises
    ------
    BenchError
        Where the file's name doesn't end in .png, or something else has that name: it may be a shot.
    """
    path = Path(path)
    if path.suffix.lower() != ".png":
        raise BenchError(f"{path}: the picture is written as PNG. Give it a name that ends in .png.")
    with style.house_style():
        picture = as_png(_drawn(shot, result), _DOTS)
    write_new({path: picture}, "Give the picture another name.")


def _drawn(shot: Shot, result: FreeEdges) -> Drawing:
    rows_a_column = int((_HEIGHT_IN - _TOP_IN - _EDGE_IN - 0.6) / _ROW_IN)
    columns = min(-(-len(result.edges) // rows_a_column), _MOST_COLUMNS)
    height = _HEIGHT_IN - _TOP_IN - _EDGE_IN
    width = height * shot.size[0] / shot.size[1]
    drawing = new_drawing(width + 2 * _EDGE_IN + columns * _COLUMN_IN, _HEIGHT_IN)
    house_mark(drawing, _EDGE_IN, 0.22, 0.28)
    title = f"{result.shot}: {len(result.edges)} straight edges"
    write_at(drawing, _EDGE_IN + 0.4, 0.45, title, fontsize=12, weight="bold")
    axes = axes_in(drawing, _EDGE_IN, _TOP_IN, width, height)
    _draw_shot(axes, shot)
    ceiling = nice_ceiling(max(shown_mtf50(e, result).value for e in result.edges))
    for edge in result.edges:
        _draw_flag(axes, edge, style.colour_of(shown_mtf50(edge, result).value / ceiling), shot.size)
    for column in range(columns):
        part = result.edges[column * rows_a_column : (column + 1) * rows_a_column]
        left = width + 2 * _EDGE_IN + column * _COLUMN_IN
        _write_table(drawing, left, part, result)
    more = len(result.edges) - columns * rows_a_column
    if more > 0:
        write_at(drawing, width + 2 * _EDGE_IN, _HEIGHT_IN - 0.2, f"and {more} more", color=style.MUTED)
    return drawing


# -- the picture ----------------------------------------------------------------------------------------------


def _draw_shot(axes: Axes, shot: Shot) -> None:
    """The shot in grey, for the eye: its reference channel, brighter the darker it was exposed."""
    block = reduction_block(shot)
    light, _ = reduce_reference(shot, block)
    bright = max(float(np.percentile(light, 99.5)), 1e-6)
    shown = np.clip(light / bright, 0, 1) ** (1 / _GAMMA)
    open_frame(axes, shot.size, rings=False)
    height, width = light.shape
    extent = (-0.5, width * block - 0.5, height * block - 0.5, -0.5)
    axes.imshow(shown, cmap="gray", vmin=0, vmax=1, extent=extent, interpolation="antialiased", zorder=0)
    axes.set_xlim(-0.5, shot.size[0] - 0.5)
    axes.set_ylim(shot.size[1] - 0.5, -0.5)


def _draw_flag(axes: Axes, edge: FreeEdge, colour: Any, size: tuple[int, int]) -> None:
    """The measured length, and on its bright side a set square and the edge's number."""
    along, bright = (_way(degrees) for degrees in (edge.angle_deg, edge.bright_deg))
    middle = np.array([edge.x, edge.y])
    leg = _FLAG * frame.half_diagonal(size)
    ends = np.array([middle - along * edge.length_px / 2, middle + along * edge.length_px / 2])
    axes.plot(*ends.T, color=style.PAPER, linewidth=2.6, solid_capstyle="butt", zorder=4)
    axes.plot(*ends.T, color=colour, linewidth=1.6, solid_capstyle="butt", zorder=5)
    square = set_square(middle, along * leg, bright * leg)
    axes.add_patch(Polygon(square, closed=True, facecolor=colour, edgecolor=style.INK, linewidth=0.6, zorder=6))
    x, y = middle + bright * leg * 1.9
    axes.text(
        x, y, str(edge.number), fontsize=6, ha="center", va="center_baseline", zorder=7, path_effects=style.halo()
    )


def _way(degrees: float) -> np.ndarray:
    """The unit vector (x, y), y down, of an angle anticlockwise as seen."""
    return np.array([np.cos(np.radians(degrees)), -np.sin(np.radians(degrees))])


# -- the table ------------------------------------------------------------------------------------------------

_STOPS = (0.0, 0.35, 1.65, 2.15, 2.65, 3.15)
"""Where the table's columns stand, in inches: the first two begin there, the figures end there."""


def _write_table(drawing: Drawing, left: float, edges: list[FreeEdge], result: FreeEdges) -> None:
    unit = free_edge_unit(result)
    channels = [colour.channel for colour in edges[0].colours]
    apart = [name for name in channels if name in ("red", "blue") and "green" in channels]
    head = ["no.", "runs", "MTF50", "10–90 %", *apart]
    units = ["", "", unit, "px", *("aside, px" for _ in apart)]
    for row, (line, look) in enumerate(((head, {"weight": "bold"}), (units, {"color": style.MUTED}))):
        _write_row(drawing, left, _TOP_IN + 0.1 + row * 0.14, line, **look)
    for row, edge in enumerate(edges):
        named = {colour.channel: colour for colour in edge.colours}
        aside = [bare(named[name].lateral_px, signed=True) for name in apart]
        cells = [
            str(edge.number),
            edge.direction,
            with_interval(shown_mtf50(edge, result), unit=False),
            bare(shown_colour(edge).rise_px),
            *aside,
        ]
        _write_row(drawing, left, _TOP_IN + 0.45 + row * _ROW_IN, cells)


def _write_row(drawing: Drawing, left: float, top: float, cells: list[str], **look: Any) -> None:
    for k, (cell, stop) in enumerate(zip(cells, _STOPS, strict=False)):
        side = "left" if k < 2 else "right"
        write_at(drawing, left + stop, top, cell, ha=side, fontsize=6.5, **look)
