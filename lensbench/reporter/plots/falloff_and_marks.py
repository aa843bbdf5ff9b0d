"""How the light falls off, with lines at thirds of a stop, and the dirt marks that lie in it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.patches import Circle, Ellipse
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from lensbench import frame
from lensbench.findings import FalloffGrid, Mark, Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.plots.frame_parts import leave_blank, open_frame
from lensbench.reporter.values.dirt import NUMBERED_MARKS, marks_of, numbers_at
from lensbench.reporter.values.light import darkest_stops

_MOST_THIRDS = 5
"""With more lines than these only those of whole stops are named."""


def draw_light(axes: Axes, report: Report, setting: Setting, letters: float = 6.5) -> None:
    """Draw one setting's falloff and marks.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    report : Report
        Whose scale is used, so that all settings compare.
    setting : Setting
        What to draw.
    letters : float
        Size of the figures in points.
    """
    size = report.camera.size_px
    if setting.falloff is None and setting.dust is None:
        return leave_blank(axes, size)
    open_frame(axes, size, rings=False)
    if setting.falloff:
        _draw_falloff(axes, report, setting.falloff.grid, letters)
    for number, mark in zip(numbers_at(report, setting), marks_of(setting), strict=True):
        position = draw_mark(axes, mark, size)
        if number <= NUMBERED_MARKS:
            axes.annotate(
                str(number), position, (2.5, 0), textcoords="offset points", va="center_baseline",
                fontsize=letters, color=style.INK, path_effects=style.halo(width=2.2), zorder=8,
            )  # fmt: skip


def _draw_falloff(axes: Axes, report: Report, grid: FalloffGrid, letters: float) -> None:
    x, y = np.array(grid.x), np.array(grid.y)
    stops = np.ma.masked_invalid([[np.nan if v is None else v for v in row] for row in grid.stops])
    if stops.count() == 0:
        return
    ends = darkest_stops(report)
    scale: dict[str, Any] = {"cmap": style.SCALE.reversed(), "vmin": 0, "vmax": ends}
    axes.imshow(stops, interpolation="bilinear", extent=_extent(x, y), zorder=0, **scale)
    levels = np.arange(1, math.ceil(3 * stops.max())) / 3
    if not len(levels) or min(stops.shape) < 2:
        return
    inks = [style.ink_on(style.colour_of(1 - level / ends)) for level in levels]
    widths = [1.0 if round(3 * level) % 3 == 0 else 0.5 for level in levels]
    lines = axes.contour(x, y, stops, levels=levels, colors=inks, linewidths=widths, zorder=2)
    named = levels if len(levels) <= _MOST_THIRDS else levels[2::3]
    positions = _label_positions(x, y, stops.filled(np.nan), named, report.camera.size_px)
    for text in axes.clabel(lines, fmt=stops_in_thirds, fontsize=letters, inline_spacing=1.5, manual=positions):
        text.set_rotation(0)
        # Above every line, on the map's own colour there: lines that lie close run behind the number.
        ground = style.colour_of(1 - _stops_at(x, y, stops, text.get_position()) / ends)
        text.set(zorder=6, color=style.ink_on(ground), path_effects=style.halo(to_hex(ground), width=3.0))


def _stops_at(x: NDArray, y: NDArray, stops: NDArray, place: tuple[float, float]) -> float:
    """The map's stops at its grid position nearest to a place."""
    column, row = np.argmin(abs(x - place[0])), np.argmin(abs(y - place[1]))
    return float(np.ma.filled(stops[row, column], 0.0))


def _extent(x: NDArray, y: NDArray) -> tuple[float, float, float, float]:
    """The border of an image whose cells are centred on the grid's positions: left, right, bottom, top."""
    across, down = (np.ptp(axis) / max(len(axis) - 1, 1) / 2 for axis in (x, y))
    return x[0] - across, x[-1] + across, y[-1] + down, y[0] - down


def _label_positions(
    x: NDArray, y: NDArray, stops: NDArray, levels: NDArray, size: tuple[int, int]
) -> list[tuple[float, float]]:
    """Where the lines cross the ray from the middle to the bottom right corner: all labels in one row."""
    cx, cy = frame.centre_of(size)
    share = np.linspace(0.0, 0.95, 400)
    ray = np.stack([cy + share * cy, cx + share * cx], axis=-1)
    along = RegularGridInterpolator((y, x), stops, bounds_error=False)(ray)
    crossings = [np.flatnonzero((along[:-1] < level) & (along[1:] >= level)) for level in levels]
    return [(float(ray[found[0], 1]), float(ray[found[0], 0])) for found in crossings if len(found)]


def stops_in_thirds(stops: float) -> str:
    """Thirds of a stop as photographers write them: ⅓, ⅔, 1, 1⅓."""
    whole, thirds = divmod(round(3 * stops), 3)
    return (str(whole) if whole or not thirds else "") + ("", "⅓", "⅔")[thirds]


def draw_mark(axes: Axes, mark: Mark, size: tuple[int, int]) -> tuple[float, float]:
    """A ring around a spot, a broken one around a patch, a line along a fibre; gives where its number goes."""
    # Never too small to see.
    least = 0.028 * frame.half_diagonal(size)
    look: dict[str, Any] = {
        "color": style.INK, "linewidth": 0.9, "zorder": 7, "path_effects": style.halo(width=2.2)
    }  # fmt: skip
    reach = max(mark.length_px.value, mark.width_px.value, 2 * least)
    if mark.path:
        path = np.array(mark.path)
        axes.plot(*path.T, **look)
        right = path[np.argmax(path[:, 0])]
        return float(right[0]), float(right[1])
    if mark.kind == "fibre":
        axes.add_artist(Ellipse((mark.x, mark.y), reach, least * 1.2, fill=False, **look))
    else:
        dashes: Any = (0, (2.2, 1.4)) if mark.kind == "patch" else "solid"
        axes.add_artist(Circle((mark.x, mark.y), reach / 2, fill=False, linestyle=dashes, **look))
    return mark.x + reach / 2, mark.y
