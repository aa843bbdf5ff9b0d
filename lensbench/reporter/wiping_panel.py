"""Where to look for the marks: their places in the picture, and on the glass and the sensor as one faces them.

A lens turns its picture upside down and side for side. So a mark seen at the picture's left lies, for a level
camera, at the right of the front glass as one looks into the lens, half a turn round on the rear glass as one
looks at it from the mount, and top for bottom on the sensor as one faces it.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle

from lensbench import frame
from lensbench.findings import Mark, Report, Setting
from lensbench.reporter import drawing as hand
from lensbench.reporter.light_panel import NUMBERED_MARKS

FACES = {
    "in the picture": (1, 1),
    "on the front glass, looking into the lens": (-1, 1),
    "on the rear glass, looking from the mount": (-1, -1),
    "on the sensor, facing it": (1, -1),
}
"""What each small picture shows, and whether it keeps (1) or swaps (-1) left and right, top and bottom."""


def seen_on(face: str, mark: Mark, size: tuple[int, int]) -> tuple[float, float]:
    """Where a mark lies on one of `FACES` (x, y), in pixels of a frame laid over it."""
    cx, cy = frame.centre_of(size)
    across, down = FACES[face]
    return cx + across * (mark.x - cx), cy + down * (mark.y - cy)


def draw_face(axes: Axes, report: Report, setting: Setting, face: str, letters: float = 7.0) -> None:
    """Draw one setting's marks as they lie on one face.

    Parameters
    ----------
    axes : Axes
        Bare axes, square for the glasses.
    report : Report
        Whose frame is used.
    setting : Setting
        Whose marks are drawn.
    face : str
        One of `FACES`.
    letters : float
        Size of the numbers in points.
    """
    size = report.camera.size_px
    radius = frame.half_diagonal(size)
    cx, cy = frame.centre_of(size)
    axes.set_xlim(cx - 1.04 * radius, cx + 1.04 * radius)
    axes.set_ylim(cy + 1.04 * radius, cy - 1.04 * radius)
    axes.set_aspect("equal")
    glass = "glass" in face
    if glass:
        axes.add_patch(Circle((cx, cy), radius, facecolor=hand.UNMEASURED, edgecolor=hand.INK, linewidth=0.8))
    corner = -0.5, -0.5
    line = {"linestyle": (0, (1, 2)), "linewidth": 0.6} if glass else {"linewidth": 0.8}
    axes.add_patch(Rectangle(corner, *size, fill=not glass, facecolor=hand.UNMEASURED, edgecolor=hand.INK, **line))
    marks = (setting.dust.marks if setting.dust else [])[:NUMBERED_MARKS]
    for number, mark in enumerate(marks, start=1):
        place = np.array(seen_on(face, mark, size))
        axes.plot(*place, "o", color=hand.INK, markersize=3, markeredgewidth=0)
        axes.annotate(
            str(number), place, (3, 0), textcoords="offset points", fontsize=letters, va="center_baseline",
            path_effects=hand.halo(hand.UNMEASURED),
        )  # fmt: skip
