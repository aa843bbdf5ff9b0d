"""Where zones lie on the map: outlines as SVG paths, where figures stand, and which way set squares point."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from lensbench import frame
from lensbench.reporter.plots.frame_parts import zone_anchor
from lensbench.reporter.plots.zone_sharpness import leg_directions
from lensbench.reporter.values.zones import zone_heading

WIDTH = 1000
"""The map's width in its own units; its height follows from the frame's."""

_START = {"bottom-right": 0, "bottom-left": 90, "top-left": 180, "top-right": 270}
"""Where a quarter begins, in degrees clockwise as seen from x right."""

_BEYOND = 1.02
"""Where the outermost ring ends, in half-diagonals: just out of the frame, which clips it."""


def place_on_map(x: float, y: float, size: tuple[int, int]) -> tuple[float, float]:
    """A place in pixels of the frame, on the map."""
    scale = WIDTH / size[0]
    return round((x + 0.5) * scale, 1), round((y + 0.5) * scale, 1)


def zone_shapes(size: tuple[int, int]) -> list[dict[str, Any]]:
    """Every zone: its name, its outline, where its figures stand, and the directions of its set square's legs."""
    shapes = []
    for zone in frame.ZONES:
        anchor = zone_anchor(zone, size)
        ways = leg_directions(zone, np.array(anchor), size)
        shapes.append(
            {
                "id": zone,
                "name": zone_heading(zone),
                "path": _outline(zone, size),
                "at": place_on_map(*anchor, size),
                "ways": [[round(float(part), 3) for part in way] for way in ways],
            }
        )
    return shapes


def _outline(zone: str, size: tuple[int, int]) -> str:
    ring, _, quarter = zone.partition(" ")
    x, y = place_on_map(*frame.centre_of(size), size)
    radius = frame.half_diagonal(size) * WIDTH / size[0]
    ends = list(frame.RINGS)
    outer = min(frame.RINGS[ring], _BEYOND) * radius
    if ring == "centre":
        half_turns = (f"a{outer:.1f} {outer:.1f} 0 1 1 {way * outer:.1f} 0" for way in (2, -2))
        return f"M{x - outer:.1f} {y}{''.join(half_turns)}Z"
    inner = frame.RINGS[ends[ends.index(ring) - 1]] * radius
    corners = []
    for length, turn in ((outer, 0), (outer, 90), (inner, 90), (inner, 0)):
        angle = math.radians(_START[quarter] + turn)
        corners.append(f"{x + length * math.cos(angle):.1f} {y + length * math.sin(angle):.1f}")
    start, over, back, end = corners
    return f"M{start}A{outer:.1f} {outer:.1f} 0 0 1 {over}L{back}A{inner:.1f} {inner:.1f} 0 0 0 {end}Z"
