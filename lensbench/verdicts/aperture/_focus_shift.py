"""Focus shift: where the centre's best focus goes as the iris closes."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lensbench.figure import Figure
from lensbench.findings import Focus, FocusShift, Setting


def focus_shifts(settings: Sequence[Setting]) -> list[FocusShift]:
    """The shift from the widest aperture with a rail series to each smaller one of the same setup.

    Both series are read on one rail, with focus and camera untouched between them; the scale's direction is taken
    from the picture's size.
    """
    found = []
    by_mount: dict[tuple[float, int], list[tuple[Setting, Focus]]] = {}
    for setting in settings:
        if setting.focus is not None:
            by_mount.setdefault((setting.lens_turn_deg, setting.setup), []).append((setting, setting.focus))
    for series in by_mount.values():
        (wide, first), *smaller = series
        found += [
            FocusShift(wide.label, small.label, _farther(first, focus), focus.depth_mm)
            for small, focus in smaller
            if focus.larger_is == first.larger_is and small.label != wide.label
        ]
    return found


def _farther(first: Focus, then: Focus) -> Figure:
    sign = 1 if first.larger_is == "farther" else -1
    moved = then.centre_rail_mm.value - first.centre_rail_mm.value
    half = math.hypot(first.centre_rail_mm.half_width, then.centre_rail_mm.half_width)
    return Figure.of(sign * moved, half, "mm")
