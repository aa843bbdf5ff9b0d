"""Focus, drawn twice: how sharp the centre and the corners get along the rail, and where all that is sharp lies.

The second drawing is side-on, as one would stand beside the bench: the lens at the left, the target as a straight
line at the right, and the surface of best focus as it crosses it. Depth is exaggerated; the bar tells by how much.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse, Rectangle
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Focus, Report, Setting, ThroughFocus
from lensbench.formatting import number
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.sharpness import per_cycle, sharpness_unit
from lensbench.shot import reference_channel

VIEWS = {"from above": ("left", "right"), "from the side": ("top", "bottom")}
"""The two side-on views, and which sides of the picture lie at the drawing's top and bottom."""

_STYLES = {
    "top-left": "solid",
    "top-right": (0, (5, 2)),
    "bottom-right": (0, (2, 1.5)),
    "bottom-left": (0, (1, 1)),
}
_LOOKS = {"sagittal": "solid", "tangential": (0, (4, 2))}
_OUTER_INK = "#8a7430"
_HIGH, _LONGEST = 0.58, 0.3
"""Half of the target's height in the side-on drawings, and how far from it their depth reaches."""

_HEADROOM = 0.3
"""Room above the scale for the key, as a share of it."""

_NEAR_MIDDLE = 0.2
"""Tiles so near to the line that is cut along, in half-diagonals, are drawn."""


# -- through focus --------------------------------------------------------------------------------------------


def draw_through(axes: Axes, report: Report, setting: Setting, letters: float = 8.0) -> None:
    """Draw sharpness along the rail, of the centre and of the outermost zones.

    Parameters
    ----------
    axes : Axes
        Bare axes; they get their two scales here.
    report : Report
        Whose unit is used.
    setting : Setting
        What to draw; it has a focus series.
    letters : float
        Size of the letters in points.
    """
    focus = setting.focus
    per_unit = per_cycle(report)
    lines = _outermost(focus)
    if not lines:
        return
    places = [place for line in lines for place in line.position_mm]
    ceiling = hand.nice_ceiling(max(max(line.mtf50) for line in lines) * per_unit)
    _scales(axes, (min(places), max(places)), ceiling, letters)
    hand.name_scale(axes, f"MTF50, {sharpness_unit(report)}", letters)
    depth = focus.depth_mm.value
    axes.add_patch(Rectangle((-depth, 0), 2 * depth, ceiling, facecolor=hand.UNMEASURED, zorder=0))
    for line in reversed(lines):
        ink, style = _look(line.zone)
        values = np.array(line.mtf50) * per_unit
        axes.plot(line.position_mm, values, "o", color=ink, markersize=2, zorder=3)
        axes.plot(line.position_mm, values, color=ink, linewidth=0.4, alpha=0.6, zorder=2)
        curve = np.array(line.curve_mtf50) * per_unit
        axes.plot(line.curve_mm, curve, color=ink, linewidth=1.3, linestyle=style, zorder=4)
    _key(axes, [line.zone for line in lines], ceiling, letters)


def _look(zone: str) -> tuple[str, object]:
    """Ink and style of a zone's line."""
    return (hand.INK, "solid") if zone == "centre" else (_OUTER_INK, _STYLES[zone.split(" ")[1]])


def _outermost(focus: Focus) -> list[ThroughFocus]:
    """The centre's line, and that of the outermost zone of each quarter."""
    by_zone = {line.zone: line for line in focus.through}
    lines = [by_zone["centre"]] if "centre" in by_zone else []
    for quarter in frame.QUARTERS:
        zones = [f"{ring} {quarter}" for ring in ("corner", "outer", "inner")]
        lines += [by_zone[zone] for zone in zones if zone in by_zone][:1]
    return lines


def _scales(axes: Axes, reach: tuple[float, float], ceiling: float, letters: float) -> None:
    axes.set_xlim(*reach)
    axes.set_ylim(0, ceiling * (1 + _HEADROOM))
    label = {"fontsize": letters * 0.9, "color": hand.MUTED}
    span, low = reach[1] - reach[0], -0.05 * ceiling
    for value in np.linspace(0, ceiling, 5):
        axes.plot(reach, (value, value), color=hand.HAIRLINE, linewidth=0.5, zorder=1)
        axes.text(reach[0] - 0.015 * span, value, f"{value:g}", ha="right", va="center_baseline", **label)
    axes.plot((0, 0), (0, ceiling), color=hand.MUTED, linewidth=0.5, zorder=1)
    step = hand.nice_floor(span / 4)
    for count in range(int(np.ceil(reach[0] / step)), int(np.floor(reach[1] / step)) + 1):
        axes.text(
            count * step,
            low,
            number(count * step, 3).rstrip("0").rstrip(".") or "0",
            ha="center",
            va="top",
            **label,
        )
    axes.text(reach[0], 3 * low, "← target nearer", ha="left", va="top", **label)
    axes.text(reach[1], 3 * low, "mm farther →", ha="right", va="top", **label)


def _key(axes: Axes, zones: list[str], ceiling: float, letters: float) -> None:
    """Which line is which, in two rows above the scale."""
    low, high = axes.get_xlim()
    for place, zone in enumerate(zones):
        ink, style = _look(zone)
        column, line = (0, 0) if place == 0 else (1 + (place - 1) % 2, (place - 1) // 2)
        x = low + (high - low) * (0.02 + 0.3 * column)
        y = ceiling * (1 + _HEADROOM * (0.72 - 0.42 * line))
        axes.plot((x, x + 0.07 * (high - low)), (y, y), color=ink, linewidth=1.3, linestyle=style)
        axes.text(
            x + 0.085 * (high - low),
            y,
            zone.split(" ")[-1].replace("-", " "),
            fontsize=letters * 0.9,
            color=ink,
            va="center_baseline",
        )


# -- side-on --------------------------------------------------------------------------------------------------


def draw_side(axes: Axes, report: Report, setting: Setting, view: str, letters: float = 8.0) -> None:
    """Draw the target and the surface of best focus seen from above or from the side, the lens at the left.

    Parameters
    ----------
    axes : Axes
        Bare axes.
    report : Report
        Whose frame is used.
    setting : Setting
        What to draw; it has a focus series.
    view : str
        One of `VIEWS`.
    letters : float
        Size of the letters in points.
    """
    size, axis, depth = report.camera.size_px, list(VIEWS).index(view), setting.focus.depth_mm.value
    half, scale = _half_side(axis, size), _LONGEST / _deepest(setting, size)
    axes.set_xlim(-1.25, 0.42)
    axes.set_ylim(-0.72, 0.72)
    _bench(axes, depth * scale, VIEWS[view], letters)
    for direction, across, depths in _surface(setting, axis, size):
        line = {"linewidth": 1.5, "linestyle": _LOOKS[direction], "zorder": 5}
        axes.plot(depths * scale, -across / half * _HIGH, color=_OUTER_INK, **line)
    for across, depth, direction in _dots(setting, axis, size):
        face = _OUTER_INK if direction == "sagittal" else hand.PAPER
        look = {"markerfacecolor": face, "markersize": 2.6, "markeredgewidth": 0.7, "zorder": 6}
        axes.plot(depth * scale, -across / half * _HIGH, "o", color=_OUTER_INK, **look)
    _ruler(axes, scale, letters)


def _half_side(axis: int, size: tuple[int, int]) -> float:
    """Half of the frame's width or height, in half-diagonals."""
    return size[axis] / 2 / frame.half_diagonal(size)


def _deepest(setting: Setting, size: tuple[int, int]) -> float:
    """How deep the drawings must reach, mm: one scale for both views."""
    reach = [2.5 * setting.focus.depth_mm.value]
    for axis in (0, 1):
        reach += [float(np.abs(depths).max()) for _, _, depths in _surface(setting, axis, size)]
        reach += [abs(depth) for _, depth, _ in _dots(setting, axis, size)]
    return max(reach)


def _surface(setting: Setting, axis: int, size: tuple[int, int]) -> list[tuple[str, NDArray, NDArray]]:
    """Direction, places across (in half-diagonals) and depths (mm) along the line through the frame's middle."""
    focus = setting.focus
    if not focus.field:
        return []
    h = np.array([0.0, *(step.h for step in focus.field)])
    half = min(_half_side(axis, size), h[-1])
    across = np.linspace(-half, half, 61)
    lean = _slope(setting, axis, size) * across
    rows = []
    for direction in _LOOKS:
        bow = np.array([0.0, *(getattr(step, f"{direction}_mm").value for step in focus.field)])
        # Through the middle, 0, the surface is even: the curve runs in h squared.
        rows.append((direction, across, lean + np.interp(across**2, h**2, bow)))
    return rows


def _slope(setting: Setting, axis: int, size: tuple[int, int]) -> float:
    """How much farther best focus lies a half-diagonal to the right (or lower), mm."""
    lean, scale = setting.focus.lean, setting.geometry.scale_px_mm if setting.geometry else None
    if lean is None or scale is None:
        return 0.0
    angle = (lean.right_away_deg, lean.bottom_away_deg)[axis]
    return float(np.tan(np.radians(angle.value)) * frame.half_diagonal(size) / scale.value)


def _dots(setting: Setting, axis: int, size: tuple[int, int]) -> Iterator[tuple[float, float, str]]:
    """Tiles near the line, as if they lay on it: place across in half-diagonals, depth in mm, direction."""
    centre, radius, aside = frame.centre_of(size), frame.half_diagonal(size), _slope(setting, 1 - axis, size)
    channel = _channel(setting.focus)
    for tile in setting.focus.tiles:
        place = (tile.x - centre[0]) / radius, (tile.y - centre[1]) / radius
        if tile.best_mm and tile.channel == channel and abs(place[1 - axis]) < _NEAR_MIDDLE:
            yield place[axis], tile.best_mm.value - aside * place[1 - axis], tile.direction


def _channel(focus: Focus) -> str:
    return reference_channel([tile.channel for tile in focus.tiles])


def _bench(axes: Axes, depth: float, sides: tuple[str, str], letters: float) -> None:
    """The axis, sensor and lens at the left, the target at the right with its depth of field as a band."""
    high = _HIGH
    axes.plot((-1.2, 0.4), (0, 0), color=hand.HAIRLINE, linewidth=0.6, linestyle=(0, (6, 3)), zorder=0)
    axes.plot((-1.17, -1.17), (-0.14, 0.14), color=hand.INK, linewidth=2, solid_capstyle="butt")
    axes.add_patch(Ellipse((-0.92, 0), 0.1, 0.44, facecolor=hand.UNMEASURED, edgecolor=hand.INK, linewidth=0.9))
    for end in (high, -high):
        axes.plot((-0.92, 0), (0, end), color=hand.HAIRLINE, linewidth=0.5, zorder=0)
    axes.add_patch(Rectangle((-depth, -high), 2 * depth, 2 * high, facecolor=hand.UNMEASURED, zorder=1))
    axes.plot((0, 0), (-high, high), color=hand.INK, linewidth=1.6, zorder=3)
    label = {"fontsize": letters * 0.9, "color": hand.MUTED, "ha": "center"}
    axes.text(-1.17, -0.18, "sensor", va="top", **label)
    axes.text(-0.92, -0.26, "lens", va="top", **label)
    axes.text(0, high + 0.03, f"target, {sides[0]}", va="bottom", **label)
    axes.text(0, -high - 0.03, sides[1], va="top", **label)


def _ruler(axes: Axes, scale: float, letters: float) -> None:
    """How long a round number of millimetres of depth is drawn."""
    length = hand.nice_floor(0.28 / scale)
    x = -0.62
    axes.plot((x, x + length * scale), (-0.62, -0.62), color=hand.INK, linewidth=1.2, solid_capstyle="butt")
    text = f"{length:g} mm of depth"
    axes.text(
        x + length * scale / 2, -0.645, text, fontsize=letters * 0.9, color=hand.MUTED, ha="center", va="top"
    )
