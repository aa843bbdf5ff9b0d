"""Where to look for the marks: their places in the picture, and on the glass and the sensor as one faces them."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle

from lensbench import frame
from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style
from lensbench.reporter.values.dirt import NUMBERED_MARKS, marks_of, numbers_at
from lensbench.verdicts.dirt import lies_on, seen_on


def draw_face(axes: Axes, report: Report, setting: Setting, face: str, letters: float = 7.0) -> None:
    """Draw one setting's marks as they lie on one face: filled where they are known to, open where they may.

    Parameters
    ----------
    axes : Axes
        Bare axes, square for the glasses.
    report : Report
        Whose frame is used.
    setting : Setting
        Whose marks are drawn.
    face : str
        One of `verdicts.dirt.FACES`.
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
        axes.add_patch(Circle((cx, cy), radius, facecolor=style.UNMEASURED, edgecolor=style.INK, linewidth=0.8))
    corner = -0.5, -0.5
    line: dict[str, Any] = {"linestyle": (0, (1, 2)), "linewidth": 0.6} if glass else {"linewidth": 0.8}
    axes.add_patch(
        Rectangle(corner, *size, fill=not glass, facecolor=style.UNMEASURED, edgecolor=style.INK, **line)
    )
    for number, mark in zip(numbers_at(report, setting), marks_of(setting), strict=True):
        sure = lies_on(face, mark)
        if sure is False or number > NUMBERED_MARKS:
            continue
        place = np.array(seen_on(face, mark, size))
        fill = style.INK if sure else style.PAPER
        axes.plot(*place, "o", color=style.INK, markersize=3.4, markerfacecolor=fill, markeredgewidth=0.7)
        axes.annotate(
            str(number), (place[0], place[1]), (3, 0), textcoords="offset points", fontsize=letters,
            va="center_baseline", path_effects=style.halo(style.UNMEASURED),
        )  # fmt: skip
