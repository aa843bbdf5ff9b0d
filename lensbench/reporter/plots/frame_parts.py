"""The picture's frame in drawings: its border, the outlines of zones, where their figures stand, set squares."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle, Wedge
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from lensbench import frame
from lensbench.reporter.plots import style

_FROM_BORDER = 3.5
"""Distance of figures in the corners from the frame's border, in points."""


def open_frame(axes: Axes, size: tuple[int, int], rings: bool = True) -> None:
    """Set axes to the picture's own pixels, y down, and draw its border and, faintly, the rings of zones."""
    width, height = size
    axes.set_xlim(-0.5, width - 0.5)
    axes.set_ylim(height - 0.5, -0.5)
    axes.set_aspect("equal")
    border = Rectangle((-0.5, -0.5), width, height, fill=False, edgecolor=style.INK, linewidth=0.8, zorder=9)
    border.set_clip_on(False)
    axes.add_patch(border)
    if rings:
        line: dict[str, Any] = {"fill": False, "edgecolor": style.HAIRLINE, "linewidth": 0.5, "zorder": 1}
        for end in list(frame.RINGS.values())[:-1]:
            axes.add_patch(Circle(frame.centre_of(size), end * frame.half_diagonal(size), **line))


def leave_blank(axes: Axes, size: tuple[int, int]) -> None:
    """An empty frame that says so, where there is nothing to draw."""
    open_frame(axes, size, rings=False)
    axes.add_patch(Rectangle((-0.5, -0.5), *size, facecolor=style.UNMEASURED, edgecolor="none"))
    axes.text(*frame.centre_of(size), "not measured", color=style.MUTED, ha="center", va="center")


def zone_patch(zone: str, size: tuple[int, int], **look: Any) -> Wedge | Circle:
    """The outline of a zone, to be clipped at the frame's border."""
    ring, _, quarter = zone.partition(" ")
    radius = frame.half_diagonal(size)
    ends = list(frame.RINGS)
    inner = frame.RINGS[ends[ends.index(ring) - 1]] if ring != "centre" else 0.0
    outer = min(frame.RINGS[ring], 1.01)
    if ring == "centre":
        return Circle(frame.centre_of(size), outer * radius, **look)
    # Angles run clockwise as seen, since y points down.
    start = {"bottom-right": 0, "bottom-left": 90, "top-left": 180, "top-right": 270}[quarter]
    return Wedge(frame.centre_of(size), outer * radius, start, start + 90, width=(outer - inner) * radius, **look)


@functools.cache
def zone_anchor(zone: str, size: tuple[int, int]) -> tuple[float, float]:
    """Where in a zone its figures stand, (x, y) in px: its middle, or in a corner where there is most room."""
    across, down = np.linspace(-0.5, size[0] - 0.5, 242), np.linspace(-0.5, size[1] - 0.5, 242)
    x, y = np.meshgrid(across, down)
    inside = frame.zone_index(x, y, size) == frame.ZONES.index(zone)
    inside[[0, -1]] = inside[:, [0, -1]] = False
    if not inside.any():
        return frame.centre_of(size)
    if not zone.startswith("corner"):
        return float(x[inside].mean()), float(y[inside].mean())
    room = distance_transform_edt(inside, sampling=(size[1], size[0]))
    widest = np.unravel_index(np.argmax(room), room.shape)
    return float(x[widest]), float(y[widest])


def write_in_zone(axes: Axes, zone: str, size: tuple[int, int], text: str, **look: Any) -> None:
    """Write a zone's figure: in its middle, in a corner's zone into the frame's corner, where there is room."""
    ring, _, quarter = zone.partition(" ")
    if ring != "corner":
        axes.text(*zone_anchor(zone, size), text, ha="center", va="center_baseline", **look)
        return
    right, bottom = quarter.endswith("right"), quarter.startswith("bottom")
    inwards = (-_FROM_BORDER if right else _FROM_BORDER, _FROM_BORDER if bottom else -_FROM_BORDER)
    axes.annotate(
        text, (float(right), float(not bottom)), inwards, "axes fraction", textcoords="offset points",
        ha="right" if right else "left", va="bottom" if bottom else "top", **look,
    )  # fmt: skip


def set_square(corner: NDArray, first_leg: NDArray, second_leg: NDArray) -> NDArray:
    """The three corners of a set square from its right angle and its two legs, shape (3, 2)."""
    return np.array([corner, corner + first_leg, corner + second_leg])
