"""How the lens distorts: a square grid as the lens draws it, the distortion enlarged many times."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Distortion, Report
from lensbench.reporter.plots import style
from lensbench.reporter.plots.frame_parts import open_frame
from lensbench.reporter.values.distortion import distortion_scale, relative_displacement


def draw_distortion(axes: Axes, report: Report, distortion: Distortion) -> None:
    """Draw the frame, a straight grid faintly, and over it the same grid as the lens draws it.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    report : Report
        Whose frame is used.
    distortion : Distortion
        How the lens distorts.
    """
    size = report.camera.size_px
    open_frame(axes, size, rings=False)
    scale = distortion_scale(distortion)
    for line in _grid(size):
        axes.plot(*line.T, color=style.HAIRLINE, linewidth=0.6, zorder=1)
        axes.plot(*_distorted(line, distortion, size, scale).T, color=style.INK, linewidth=0.9, zorder=3)


def _grid(size: tuple[int, int]) -> list[NDArray]:
    """Lines across and down, each of shape (points, 2)."""
    width, height = size
    along = np.linspace(0, 1, 61)
    columns, rows = (7, 5) if width >= height else (5, 7)
    upright = [np.stack([np.full(61, x * width), along * height], -1) for x in np.linspace(0.03, 0.97, columns)]
    level = [np.stack([along * width, np.full(61, y * height)], -1) for y in np.linspace(0.04, 0.96, rows)]
    return upright + level


def _distorted(line: NDArray, distortion: Distortion, size: tuple[int, int], scale: float) -> NDArray:
    """Where the lens puts the points of a straight line, the distortion enlarged `scale` times."""
    unit = frame.half_diagonal(size)
    off = (line - np.array(distortion.about_px)) / unit
    return line + scale * unit * off * relative_displacement(distortion, np.sum(off**2, axis=-1, keepdims=True))
