"""The surface of best focus side-on, as one would stand beside the bench.

The lens at the left, the target as a straight line at the right, and the surface of best focus as it crosses it.
Depth is exaggerated; the scale bar tells by how much.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties
from matplotlib.patches import Ellipse, Rectangle
from mpl_toolkits.axes_grid1.anchored_artists import AnchoredSizeBar
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Focus, Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.values.figures import nice_floor
from lensbench.shot import reference_channel

ASPECT = 1.16
"""Width over height of the drawing."""

VIEWS = {"from above": ("left", "right"), "from the side": ("top", "bottom")}
"""The two side-on views, and which sides of the picture lie at the drawing's top and bottom."""

_HIGH, _LONGEST = 0.58, 0.3
"""Half of the target's height in the drawing, and how far from it the depths reach."""

_NEAR_MIDDLE = 0.2
"""Tiles so near to the line that is cut along, in half-diagonals, are drawn."""


def draw_field_side_on(axes: Axes, report: Report, setting: Setting, view: str, letters: float = 8.0) -> None:
    """Draw the target and the surface of best focus seen from above or from the side, the lens at the left.

    Parameters
    ----------
    axes : Axes
        Bare axes of `ASPECT`.
    report : Report
        Whose frame is used.
    setting : Setting
        What to draw; nothing where it has no focus series.
    view : str
        One of `VIEWS`.
    letters : float
        Size of the letters in points.
    """
    focus = setting.focus
    if focus is None:
        return
    size, axis = report.camera.size_px, list(VIEWS).index(view)
    slopes = [_slope(setting, axis, size) for axis in (0, 1)]
    half, scale = _half_side(axis, size), _LONGEST / _deepest(focus, slopes, size)
    axes.set_xlim(-1.25, 0.42)
    axes.set_ylim(-0.72, 0.72)
    _bench(axes, focus.depth_mm.value * scale, VIEWS[view], letters)
    for direction, across, depths in _surface(focus, slopes[axis], _half_side(axis, size)):
        line: dict[str, Any] = {"linewidth": 1.5, "linestyle": style.DIRECTION_LINES[direction], "zorder": 5}
        axes.plot(depths * scale, -across / half * _HIGH, color=style.SECOND_INK, **line)
    for position, depth, direction in _dots(focus, axis, slopes[1 - axis], size):
        face = style.SECOND_INK if direction == "sagittal" else style.PAPER
        look: dict[str, Any] = {"markerfacecolor": face, "markersize": 2.6, "markeredgewidth": 0.7, "zorder": 6}
        axes.plot(depth * scale, -position / half * _HIGH, "o", color=style.SECOND_INK, **look)
    _scale_bar(axes, scale, letters)


def _half_side(axis: int, size: tuple[int, int]) -> float:
    """Half of the frame's width or height, in half-diagonals."""
    return size[axis] / 2 / frame.half_diagonal(size)


def _deepest(focus: Focus, slopes: list[float], size: tuple[int, int]) -> float:
    """How deep the drawings must reach, mm: one scale for both views."""
    reach = [2.5 * focus.depth_mm.value]
    for axis in (0, 1):
        surface = _surface(focus, slopes[axis], _half_side(axis, size))
        reach += [float(np.abs(depths).max()) for _, _, depths in surface]
        reach += [abs(depth) for _, depth, _ in _dots(focus, axis, slopes[1 - axis], size)]
    return max(reach)


def _surface(focus: Focus, slope: float, half_side: float) -> list[tuple[str, NDArray, NDArray]]:
    """Direction, positions across (half-diagonals) and depths (mm) along the line through the frame's middle."""
    if not focus.field:
        return []
    h = np.array([0.0, *(step.h for step in focus.field)])
    half = min(half_side, h[-1])
    across = np.linspace(-half, half, 61)
    rows = []
    for direction in style.DIRECTION_LINES:
        bow = np.array([0.0, *(getattr(step, f"{direction}_mm").value for step in focus.field)])
        # Through the middle, 0, the surface is even: the curve runs in h squared.
        rows.append((direction, across, slope * across + np.interp(across**2, h**2, bow)))
    return rows


def _slope(setting: Setting, axis: int, size: tuple[int, int]) -> float:
    """How much farther best focus lies a half-diagonal to the right (or lower), mm."""
    lean = setting.focus.lean if setting.focus else None
    scale = setting.geometry.scale_px_mm if setting.geometry else None
    if lean is None or scale is None:
        return 0.0
    angle = (lean.right_away_deg, lean.bottom_away_deg)[axis]
    return float(np.tan(np.radians(angle.value)) * frame.half_diagonal(size) / scale.value)


def _dots(
    focus: Focus, axis: int, slope_aside: float, size: tuple[int, int]
) -> Iterator[tuple[float, float, str]]:
    """Tiles near the line, as if they lay on it: position across in half-diagonals, depth in mm, direction."""
    centre, radius = frame.centre_of(size), frame.half_diagonal(size)
    channel = reference_channel([tile.channel for tile in focus.tiles])
    for tile in focus.tiles:
        position = (tile.x - centre[0]) / radius, (tile.y - centre[1]) / radius
        if tile.best_mm and tile.channel == channel and abs(position[1 - axis]) < _NEAR_MIDDLE:
            yield position[axis], tile.best_mm.value - slope_aside * position[1 - axis], tile.direction


def _bench(axes: Axes, depth: float, sides: tuple[str, str], letters: float) -> None:
    """The axis, sensor and lens at the left, the target at the right with its depth of field shaded."""
    high = _HIGH
    axes.plot((-1.2, 0.4), (0, 0), color=style.HAIRLINE, linewidth=0.6, linestyle=(0, (6, 3)), zorder=0)
    axes.plot((-1.17, -1.17), (-0.14, 0.14), color=style.INK, linewidth=2, solid_capstyle="butt")
    axes.add_patch(Ellipse((-0.92, 0), 0.1, 0.44, facecolor=style.UNMEASURED, edgecolor=style.INK, linewidth=0.9))
    for end in (high, -high):
        axes.plot((-0.92, 0), (0, end), color=style.HAIRLINE, linewidth=0.5, zorder=0)
    axes.add_patch(Rectangle((-depth, -high), 2 * depth, 2 * high, facecolor=style.UNMEASURED, zorder=1))
    axes.plot((0, 0), (-high, high), color=style.INK, linewidth=1.6, zorder=3)
    label: dict[str, Any] = {"fontsize": letters * 0.9, "color": style.MUTED, "ha": "center"}
    axes.text(-1.17, -0.18, "sensor", va="top", **label)
    axes.text(-0.92, -0.26, "lens", va="top", **label)
    axes.text(0, high + 0.03, f"target, {sides[0]}", va="bottom", **label)
    axes.text(0, -high - 0.03, sides[1], va="top", **label)


def _scale_bar(axes: Axes, scale: float, letters: float) -> None:
    """How long a round number of millimetres of depth is drawn."""
    length = nice_floor(0.28 / scale)
    letters_of_it = FontProperties(size=letters * 0.9)
    bar = AnchoredSizeBar(
        axes.transData, length * scale, f"{length:g} mm of depth", "lower left", frameon=False,
        size_vertical=0.008, color=style.INK, fontproperties=letters_of_it, fill_bar=True, borderpad=0.6,
    )  # fmt: skip
    axes.add_artist(bar)
