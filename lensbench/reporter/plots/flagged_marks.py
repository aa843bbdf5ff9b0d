"""A shot of an even light with its marks ringed and numbered; the light's own shape is taken off, so they show."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from scipy.ndimage import gaussian_filter

from lensbench.findings import Mark
from lensbench.reduction import reduce_reference, reduction_block
from lensbench.reporter.plots import style
from lensbench.reporter.plots.canvas import as_png, axes_in, house_mark, new_drawing, write_at
from lensbench.reporter.plots.falloff_and_marks import draw_mark
from lensbench.reporter.plots.frame_parts import open_frame
from lensbench.shot import Shot

_WIDTH_IN = 8.0
_EDGE_IN = 0.3
_TOP_IN = 0.75
_DOTS = 200

_SMOOTHED = 1 / 25
"""Light is taken to be even over this part of the longer side: wider than nearly all marks."""

_DEEPEST, _LEAST_DEEP = 0.08, 0.02
"""The grey scale reaches as far as the deepest mark, within these limits, as parts of the light."""

_MOST_NUMBERS = 60
"""More numbers than this would hide the marks."""


def marks_picture(shot: Shot, marks: Sequence[Mark]) -> bytes:
    """The picture as PNG, the marks numbered in their order."""
    width, height = shot.size
    with style.house_style():
        inner = _WIDTH_IN - 2 * _EDGE_IN
        tall = inner * height / width
        drawing = new_drawing(_WIDTH_IN, tall + _TOP_IN + _EDGE_IN + 0.25)
        house_mark(drawing, _EDGE_IN, 0.22, 0.28)
        count = f"{len(marks)} mark{'s' * (len(marks) != 1)}" if marks else "clean"
        write_at(drawing, _EDGE_IN + 0.4, 0.45, f"{shot.name}: {count}", fontsize=12, weight="bold")
        axes = axes_in(drawing, _EDGE_IN, _TOP_IN, inner, tall)
        open_frame(axes, shot.size, rings=False)
        span = _draw_residual(axes, shot, marks)
        for number, mark in enumerate(marks, 1):
            position = draw_mark(axes, mark, shot.size)
            if number <= _MOST_NUMBERS:
                axes.annotate(
                    str(number), position, (2.5, 0), textcoords="offset points", va="center_baseline",
                    fontsize=8, color=style.INK, path_effects=style.halo(width=2.2), zorder=8,
                )  # fmt: skip
        said = f"The light's own shape is taken off; black is {100 * span:.0f} % darker than around. As stored."
        write_at(drawing, _EDGE_IN, _TOP_IN + tall + 0.2, said, fontsize=8, color=style.MUTED)
        return as_png(drawing, _DOTS)


def _draw_residual(axes: Axes, shot: Shot, marks: Sequence[Mark]) -> float:
    """The light over its smoothed self; gives how much darker black is."""
    block = reduction_block(shot)
    light, _ = reduce_reference(shot, block)
    smooth = gaussian_filter(light, _SMOOTHED * max(light.shape), mode="nearest")
    residual = light / np.maximum(smooth, 1e-6) - 1
    deepest = max((abs(mark.depth_percent.value) / 100 for mark in marks), default=0.0)
    span = float(np.clip(deepest, _LEAST_DEEP, _DEEPEST))
    height, width = light.shape
    extent = (-0.5, width * block - 0.5, height * block - 0.5, -0.5)
    axes.imshow(
        residual, cmap="gray", vmin=-span, vmax=span / 2, extent=extent, interpolation="antialiased", zorder=0
    )
    axes.set_xlim(-0.5, shot.size[0] - 0.5)
    axes.set_ylim(shot.size[1] - 0.5, -0.5)
    return span
