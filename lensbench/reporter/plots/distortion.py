"""How straight lines bend: a square grid as the lens draws it, the bending drawn many times as strong."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lensbench import frame
from lensbench.findings import Distortion, Report
from lensbench.reporter.plots import style as hand

_SHOWN = 0.07
"""How far the grid's corners are moved in the drawing, in half-diagonals."""

_LEAST = 0.001
"""Bending below this (in half-diagonals) is not drawn stronger than if it were this."""


def bending_scale(distortion: Distortion) -> float:
    """How many times as strong the bending is drawn: a round number, never less than once."""
    corner = abs(_bending(distortion, np.array(1.0)))
    return max(hand.nice_floor(_SHOWN / max(float(corner), _LEAST)), 1.0)


def draw_bending(axes: Axes, report: Report, distortion: Distortion) -> None:
    """Draw the frame, a straight grid faintly, and over it the same grid as the lens draws it.

    Parameters
    ----------
    axes : Axes
        Bare axes with the frame's own proportions.
    report : Report
        Whose frame is used.
    distortion : Distortion
        What bends the grid.
    """
    size = report.camera.size_px
    hand.open_frame(axes, size, rings=False)
    scale = bending_scale(distortion)
    for line in _grid(size):
        axes.plot(*line.T, color=hand.HAIRLINE, linewidth=0.6, zorder=1)
        axes.plot(*_bent(line, distortion, size, scale).T, color=hand.INK, linewidth=0.9, zorder=3)


def _grid(size: tuple[int, int]) -> list[NDArray]:
    """Lines across and down, each of shape (points, 2)."""
    width, height = size
    along = np.linspace(0, 1, 61)
    columns, rows = (7, 5) if width >= height else (5, 7)
    upright = [np.stack([np.full(61, x * width), along * height], -1) for x in np.linspace(0.03, 0.97, columns)]
    level = [np.stack([along * width, np.full(61, y * height)], -1) for y in np.linspace(0.04, 0.96, rows)]
    return upright + level


def _bent(line: NDArray, distortion: Distortion, size: tuple[int, int], scale: float) -> NDArray:
    """Where the lens puts the points of a straight line, the bending `scale` times as strong."""
    unit = frame.half_diagonal(size)
    off = (line - np.array(distortion.about_px)) / unit
    return line + scale * unit * off * _bending(distortion, np.sum(off**2, axis=-1, keepdims=True))


def _bending(distortion: Distortion, square: NDArray) -> NDArray:
    """How much farther out a point lies than a lens without distortion puts it, as a part of its distance."""
    return 1 / (1 + sum(term.value * square ** (k + 1) for k, term in enumerate(distortion.terms))) - 1
