"""Where to look for the marks: their places in the picture, and on the glass and the sensor as one faces them."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Rectangle

from lensbench import frame
from lensbench.findings import Report, Setting
from lensbench.reporter.plots import style as hand
from lensbench.reporter.plots.light import NUMBERED_MARKS
from lensbench.verdicts.dirt import lies_on, seen_on


def face_in_short(setting: Setting, face: str) -> str:
    """How many marks lie on one face, and how many may."""
    known = [lies_on(face, mark) for mark in setting.dust.marks]
    sure, may = known.count(True), known.count(None)
    parts = ([f"{sure} mark{'s' * (sure > 1)}"] if sure else []) + ([f"{may} perhaps"] if may else [])
    return ", ".join(parts) or "none"


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
        One of `mark_faces.FACES`.
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
        sure = lies_on(face, mark)
        if sure is False:
            continue
        place = np.array(seen_on(face, mark, size))
        fill = hand.INK if sure else hand.PAPER
        axes.plot(*place, "o", color=hand.INK, markersize=3.4, markerfacecolor=fill, markeredgewidth=0.7)
        axes.annotate(
            str(number), place, (3, 0), textcoords="offset points", fontsize=letters, va="center_baseline",
            path_effects=hand.halo(hand.UNMEASURED),
        )  # fmt: skip
