"""Put together straight? Where distortion, fringing and falloff have their centres, around the frame's own."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from lensbench.findings import Assembly, OpticalCentre
from lensbench.reporter.plots import style
from lensbench.reporter.values.figures import nice_ceiling

ASPECT = 1.45
"""Width over height of the panel: rings at the left, names at the right."""

_REACH = 2.15
_LINE = 0.34
"""Half of the height, and the distance of two names, in radii of the inner ring."""


def draw_centres(axes: Axes, assembly: Assembly, letters: float = 8.0) -> None:
    """Draw the optical centres, each as a cross as wide as its interval, with rings around the frame's centre.

    Parameters
    ----------
    axes : Axes
        Bare axes of `ASPECT`.
    assembly : Assembly
        With at least one centre.
    letters : float
        Size of the letters in points.
    """
    ring = _ring(assembly.centres)
    unit = assembly.centres[0].x.unit
    axes.set_xlim(-_REACH * ring, _REACH * (2 * ASPECT - 1) * ring)
    axes.set_ylim(_REACH * ring, -_REACH * ring)
    axes.set_aspect("equal")
    for radius in (ring, 2 * ring):
        axes.add_patch(Circle((0, 0), radius, fill=False, edgecolor=style.HAIRLINE, linewidth=0.7))
    axes.plot(0, 0, "+", color=style.MUTED, markersize=11, markeredgewidth=0.7)
    note: dict[str, Any] = {
        "fontsize": letters * 0.85,
        "color": style.MUTED,
        "ha": "center",
        "va": "center_baseline",
    }
    axes.text(0, -ring, f"{ring:g} {unit}", path_effects=style.halo(width=3), **note)
    axes.text(0, -2 * ring, f"{2 * ring:g} {unit}", path_effects=style.halo(width=3), **note)
    centres = sorted(assembly.centres, key=lambda centre: centre.y.value)
    for centre, height in zip(centres, _name_heights([c.y.value / ring for c in centres]), strict=True):
        _draw_centre(axes, centre, (2.25 * ring, height * ring), letters)


def _ring(centres: list[OpticalCentre]) -> float:
    """Radius of the inner ring: half of what holds every centre."""
    reach = max(max(abs(c.x.value), abs(c.y.value)) for c in centres)
    wide = max(max(c.x.half_width, c.y.half_width) for c in centres)
    return nice_ceiling(max(reach / 1.8, wide / 2, 1e-3))


def _name_heights(wanted: list[float]) -> list[float]:
    """Heights for the names, near what is wanted and far enough apart to be read."""
    middle = float(np.mean(wanted))
    spread = [middle + (k - (len(wanted) - 1) / 2) * _LINE for k in range(len(wanted))]
    apart = np.diff(wanted) >= _LINE
    return wanted if apart.all() else spread


def _draw_centre(axes: Axes, centre: OpticalCentre, name_at: tuple[float, float], letters: float) -> None:
    x, y = centre.x, centre.y
    axes.plot([x.value, name_at[0]], [y.value, name_at[1]], color=style.HAIRLINE, linewidth=0.6, zorder=1)
    axes.plot([x.low, x.high], [y.value] * 2, color=style.INK, linewidth=1.1, solid_capstyle="butt")
    axes.plot([x.value] * 2, [y.low, y.high], color=style.INK, linewidth=1.1, solid_capstyle="butt")
    axes.plot(x.value, y.value, "o", color=style.INK, markersize=2.6, markeredgewidth=0)
    axes.annotate(
        centre.of, name_at, (2, 0), textcoords="offset points", fontsize=letters, va="center_baseline", zorder=5
    )
