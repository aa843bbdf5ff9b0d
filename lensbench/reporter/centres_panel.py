"""Put together straight? Where distortion, fringing and falloff have their centres, around the frame's own."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from lensbench.findings import Assembly, OpticalCentre
from lensbench.reporter import drawing as hand


def draw_centres(axes: Axes, assembly: Assembly, letters: float = 8.0) -> None:
    """Draw the optical centres, each as a cross as wide as its interval, with rings around the frame's centre.

    Parameters
    ----------
    axes : Axes
        Bare square axes.
    assembly : Assembly
        With at least one centre.
    letters : float
        Size of the letters in points.
    """
    ring = _ring(assembly.centres)
    unit = assembly.centres[0].x.unit
    axes.set_xlim(-2.15 * ring, 2.15 * ring)
    axes.set_ylim(2.15 * ring, -2.15 * ring)
    axes.set_aspect("equal")
    for radius in (ring, 2 * ring):
        axes.add_patch(Circle((0, 0), radius, fill=False, edgecolor=hand.HAIRLINE, linewidth=0.7))
    axes.plot(0, 0, "+", color=hand.MUTED, markersize=11, markeredgewidth=0.7)
    note = {"fontsize": letters * 0.85, "color": hand.MUTED, "ha": "center", "va": "bottom"}
    axes.text(0, -ring, f"{ring:g} {unit}", path_effects=hand.halo(), **note)
    axes.text(0, -2 * ring, f"{2 * ring:g} {unit}", path_effects=hand.halo(), **note)
    for centre in sorted(assembly.centres, key=lambda centre: centre.y.value):
        _draw_centre(axes, centre, letters)


def _ring(centres: list[OpticalCentre]) -> float:
    """Radius of the inner ring: half of what holds every centre."""
    reach = max(max(abs(c.x.value), abs(c.y.value)) for c in centres)
    wide = max(max(c.x.half_width, c.y.half_width) for c in centres)
    return hand.nice_ceiling(max(reach / 1.8, wide / 2, 1e-3))


def _draw_centre(axes: Axes, centre: OpticalCentre, letters: float) -> None:
    x, y = centre.x, centre.y
    axes.plot([x.low, x.high], [y.value] * 2, color=hand.INK, linewidth=1.1, solid_capstyle="butt")
    axes.plot([x.value] * 2, [y.low, y.high], color=hand.INK, linewidth=1.1, solid_capstyle="butt")
    axes.plot(x.value, y.value, "o", color=hand.INK, markersize=2.6, markeredgewidth=0)
    place = np.array([x.value, y.value])
    axes.annotate(
        centre.of, place, (5, 3), textcoords="offset points", fontsize=letters, path_effects=hand.halo(), zorder=5
    )
