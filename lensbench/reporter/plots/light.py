"""How the light falls off, with lines at thirds of a stop, and the dirt marks that lie in it."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Ellipse
from scipy.interpolate import RegularGridInterpolator

from lensbench import frame
from lensbench.findings import Mark, Report, Setting
from lensbench.reporter.plots import style as hand

NUMBERED_MARKS = 12
"""So many marks bear their number on the drawing; the rest are drawn without."""

_MOST_THIRDS = 5
"""With more lines than these only those of whole stops are named."""


def darkest_stops(report: Report) -> float:
    """Where the report's scale of falloff ends: whole stops at or above the darkest place, one at least."""
    grids = [setting.falloff.grid.stops for setting in report.settings if setting.falloff]
    worst = [stops for rows in grids for row in rows for stops in row if stops is not None]
    return max(1.0, math.ceil(max(worst) - 0.05)) if worst else 1.0


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
        return hand.leave_blank(axes, size)
    hand.open_frame(axes, size, rings=False)
    if setting.falloff:
        _draw_falloff(axes, report, setting, letters)
    for number, mark in enumerate(setting.dust.marks if setting.dust else [], start=1):
        _draw_mark(axes, mark, number if number <= NUMBERED_MARKS else None, size, letters)


def _draw_falloff(axes: Axes, report: Report, setting: Setting, letters: float) -> None:
    grid = setting.falloff.grid
    x, y = np.array(grid.x), np.array(grid.y)
    stops = np.ma.masked_invalid([[np.nan if v is None else v for v in row] for row in grid.stops])
    if stops.count() == 0:
        return
    ends = darkest_stops(report)
    axes.imshow(
        stops,
        cmap=hand.SCALE.reversed(),
        vmin=0,
        vmax=ends,
        interpolation="bilinear",
        extent=_extent(x, y),
        zorder=0,
    )
    levels = np.arange(1, math.ceil(3 * stops.max())) / 3
    if not len(levels) or min(stops.shape) < 2:
        return
    inks = [hand.ink_on(hand.colour_of(1 - level / ends)) for level in levels]
    widths = [1.0 if round(3 * level) % 3 == 0 else 0.5 for level in levels]
    lines = axes.contour(x, y, stops, levels=levels, colors=inks, linewidths=widths, zorder=2)
    named = levels if len(levels) <= _MOST_THIRDS else levels[2::3]
    places = _label_places(x, y, stops.filled(np.nan), named, report.camera.size_px)
    for text in axes.clabel(lines, fmt=stops_in_thirds, fontsize=letters, inline_spacing=1.5, manual=places):
        text.set_rotation(0)


def _extent(x: np.ndarray, y: np.ndarray) -> tuple[float, float, float, float]:
    """The border of an image whose cells are centred on the grid's places: left, right, bottom, top."""
    across, down = (np.ptp(axis) / max(len(axis) - 1, 1) / 2 for axis in (x, y))
    return x[0] - across, x[-1] + across, y[-1] + down, y[0] - down


def _label_places(x, y, stops, levels, size: tuple[int, int]) -> list[tuple[float, float]]:
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


def _draw_mark(axes: Axes, mark: Mark, number: int | None, size: tuple[int, int], letters: float) -> None:
    """A ring around a spot, a broken one around a patch, a line along a fibre; never too small to see."""
    least = 0.028 * frame.half_diagonal(size)
    ink = {"color": hand.INK, "linewidth": 0.9, "zorder": 7, "path_effects": hand.halo(width=2.2)}
    reach = max(mark.length_px.value, mark.width_px.value, 2 * least)
    label = mark.x + reach / 2, mark.y
    if mark.path:
        path = np.array(mark.path)
        axes.plot(*path.T, **ink)
        label = tuple(path[np.argmax(path[:, 0])])
    elif mark.kind == "fibre":
        axes.add_artist(Ellipse((mark.x, mark.y), reach, least * 1.2, fill=False, **ink))
    else:
        dashes = (0, (2.2, 1.4)) if mark.kind == "patch" else "solid"
        axes.add_artist(Circle((mark.x, mark.y), reach / 2, fill=False, linestyle=dashes, **ink))
    if number:
        axes.annotate(
            str(number), label, (2.5, 0), textcoords="offset points", va="center_baseline",
            fontsize=letters, color=hand.INK, path_effects=hand.halo(width=2.2), zorder=8,
        )  # fmt: skip
