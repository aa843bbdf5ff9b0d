"""The look that all drawings of the reports share: inks, the colour scale, letters, grids and legends."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
import numpy as np
from matplotlib.patheffects import AbstractPathEffect, withStroke
from numpy.typing import NDArray

INK = "#1b2230"
SECOND_INK = "#8a7430"
BLACK = "#000000"
MUTED = "#667080"
HAIRLINE = "#c3c9d2"
PAPER = "#ffffff"
UNMEASURED = "#eceff3"
COLOURS = {"red": "#c8372d", "green": "#2f7d4f", "blue": "#1f5fd0", "grey": "#555b66"}
"""Ink for what belongs to a colour channel; red and blue also differ in the shape of what is drawn."""

DIRECTION_LINES: dict[str, Any] = {"sagittal": "solid", "tangential": (0, (4, 2))}
"""Line style of each direction, the same in all drawings."""

SCALE = matplotlib.colormaps["cividis"]
"""The one colour scale: perceptually even, and the same to colour-blind eyes and in grey."""

_STYLE: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8,
    "text.color": INK,
    # What people write may hold dollar signs.
    "text.parse_math": False,
    "axes.linewidth": 0.6,
    "axes.edgecolor": HAIRLINE,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.labelcolor": MUTED,
    "axes.labelsize": 7.2,
    "grid.color": HAIRLINE,
    "grid.linewidth": 0.5,
    "xtick.color": HAIRLINE,
    "ytick.color": HAIRLINE,
    "xtick.labelcolor": MUTED,
    "ytick.labelcolor": MUTED,
    "xtick.labelsize": 7.2,
    "ytick.labelsize": 7.2,
    "xtick.major.size": 2,
    "ytick.major.size": 2,
    "legend.fontsize": 7.2,
    "legend.frameon": False,
    "legend.handlelength": 2.4,
    "legend.labelspacing": 0.3,
    "svg.fonttype": "path",
    "svg.hashsalt": "lensbench",
    "path.simplify": False,
}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw, and write drawings to files, within this: letters, line widths, grids and legends of the reports."""
    with matplotlib.rc_context(_STYLE):
        yield


def colour_of(share: float) -> tuple[float, float, float, float]:
    """The scale's colour for 0 (worst) to 1 (best)."""
    return SCALE(min(max(share, 0.0), 1.0))


def palette() -> NDArray[np.uint8]:
    """The 256 colours of small pictures, shape (256, 3): the scale's, and every ink on its way to paper.

    The scale has so many that none lies more than three of 255 from the next, which nobody sees.
    """
    scale = SCALE(np.linspace(0, 1, 192))[:, :3]
    paper = np.array(matplotlib.colors.to_rgb(PAPER))
    ramps = [scale]
    for ink, steps in ((INK, 16), (BLACK, 4), (MUTED, 12), (COLOURS["red"], 16), (COLOURS["blue"], 16)):
        share = np.linspace(0, 1, steps)[:, None]
        ramps.append((1 - share) * np.array(matplotlib.colors.to_rgb(ink)) + share * paper)
    return np.round(255 * np.concatenate(ramps)).astype(np.uint8)


def ink_on(colour: Any) -> str:
    """Black or paper, whichever reads better on a colour (contrast by WCAG's relative luminance)."""
    return BLACK if _contrast(colour, BLACK) >= _contrast(colour, PAPER) else PAPER


def _contrast(first: Any, second: Any) -> float:
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(colour: Any) -> float:
    rgb = np.array(matplotlib.colors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def halo(colour: str = PAPER, width: float = 2.0) -> list[AbstractPathEffect]:
    """Path effects that keep letters and lines readable over anything."""
    return [withStroke(linewidth=width, foreground=colour)]
