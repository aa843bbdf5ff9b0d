"""How sensor, lens and sheet leaned to each other: side-on from above and from the side, the lean exaggerated."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse

from lensbench.findings import UNTOLD
from lensbench.reporter.plots import style
from lensbench.reporter.values.lean import Lean, drawn_deg, times_drawn

ASPECT = 1.42
"""Width over height of a drawing."""

_SENSOR, _LENS, _SHEET = 0.9, 2.6, 7.6
_HALF_SENSOR, _HALF_LENS, _HALF_SHEET, _HALF_VIEW = 0.75, 0.95, 2.1, 3.3


def draw_lean(axes: Axes, lean: Lean, leans: list[Lean], letters: float = 7.5) -> None:
    """Draw one view, sensor at the left, sheet at the right.

    Parameters
    ----------
    axes : Axes
        Bare axes of `ASPECT`.
    lean : Lean
        What to draw.
    leans : list of Lean
        Both views, which share one scale.
    letters : float
        Size of the letters in points.
    """
    axes.set_xlim(0, 2 * _HALF_VIEW * ASPECT)
    axes.set_ylim(-_HALF_VIEW, _HALF_VIEW)
    axes.set_aspect("equal")
    axes.plot([0.2, 9.2], [0, 0], color=style.HAIRLINE, linewidth=0.7, linestyle=(0, (6, 2, 1, 2)), zorder=1)
    sheet = _bar(_SHEET, _HALF_SHEET, drawn_deg(lean, leans))
    for end in sheet:
        axes.plot([_LENS, end[0]], [0, end[1]], color=style.HAIRLINE, linewidth=0.6, zorder=1)
    axes.plot([_SHEET] * 2, [-_HALF_SHEET, _HALF_SHEET], color=style.HAIRLINE, linewidth=1.0, zorder=1)
    axes.plot(*sheet.T, color=style.INK, linewidth=2.4, solid_capstyle="butt", zorder=4)
    own = lean.sensor_deg.value * (times_drawn(leans) or 1.0) if lean.sensor_deg else 0.0
    of_lens = lean.whose in ("lens", "front group")
    axes.plot(
        *_bar(_SENSOR, _HALF_SENSOR, 0.0 if of_lens else -own).T,
        color=style.INK,
        linewidth=3.4,
        solid_capstyle="butt",
        zorder=4,
    )
    _draw_lens(axes, lean, own if of_lens else 0.0, letters)
    names: dict[str, Any] = {"fontsize": letters, "ha": "center", "va": "top", "color": style.MUTED}
    for x, name in ((_SENSOR, "sensor"), (_LENS, "lens"), (_SHEET, "sheet")):
        axes.text(x, -_HALF_SHEET - 0.72, name, **names)
    for word, end in zip(lean.ends, sheet, strict=True):
        _draw_end(axes, word, end, word == lean.softer, letters)


def _bar(x: float, half: float, degrees: float) -> np.ndarray:
    """Upper and lower end of an upright bar that leans: positive with the lower end to the right."""
    turn = np.radians(degrees)
    away = half * np.array([np.sin(turn), -np.cos(turn)])
    return np.array([x, 0.0]) + np.array([-away, away])


def _draw_lens(axes: Axes, lean: Lean, own: float, letters: float) -> None:
    """The lens; leaning where it is to cause, with a question mark where it may be, or which way isn't known."""
    leaning = own or (10.0 if lean.softer and lean.cause in ("lens", "both") and not lean.whose else 0.0)
    if (
        lean.whose
        and lean.sensor_deg
        and not (lean.way and lean.whose in ("lens", "front group", "mount or sensor"))
    ):
        x = _SENSOR if lean.whose == "mount or sensor" else _LENS
        axes.text(
            x, _HALF_LENS + 0.5, "?", fontsize=letters * 1.5, weight="bold", ha="center", va="center_baseline"
        )
    look: dict[str, Any] = {"facecolor": style.UNMEASURED, "edgecolor": style.INK, "linewidth": 0.9, "zorder": 3}
    axes.add_patch(Ellipse((_LENS, 0), 0.62, 2 * _HALF_LENS, angle=leaning, **look))
    if lean.softer and lean.cause == UNTOLD:
        for x, y in ((_LENS, _HALF_LENS + 0.5), (_SHEET - 0.7, -0.75)):
            axes.text(
                x, y, "?", fontsize=letters * 1.5, weight="bold", ha="center", va="center_baseline", zorder=6
            )


def _draw_end(axes: Axes, word: str, end: np.ndarray, softer: bool, letters: float) -> None:
    """An end's name, and a blurred mark where the picture is softer there."""
    upper = end[1] > 0
    if softer:
        for width, alpha in ((9, 0.16), (6, 0.22), (3, 0.3)):
            part = np.array([end, end * [1, 0.72] + [(_SHEET - end[0]) * 0.28, 0]])
            axes.plot(*part.T, color=style.INK, alpha=alpha, linewidth=width, solid_capstyle="round", zorder=3)
    text = f"{word}, softer" if softer else word
    axes.text(
        end[0], end[1] + (0.2 if upper else -0.2), text, fontsize=letters, ha="center",
        va="bottom" if upper else "top", zorder=5, path_effects=style.halo(),
    )  # fmt: skip
