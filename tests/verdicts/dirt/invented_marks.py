"""Marks written by hand, and settings that show them."""

from __future__ import annotations

from lensbench.findings import Dust, Figure, Mark, PanelMarks, Setting

SIZE = (6000, 4000)


def mark(x, y, width=20.0, depth=5.0, kind="spot", signal=60.0, path=()):
    """A mark with small intervals."""
    return Mark(
        x, y, kind, Figure.of(width, 0.5, "px"), Figure.of(width, 0.5, "px"), Figure.of(depth, 0.1, "%"), signal,
        "centre", list(path),
    )  # fmt: skip


def setting(f_number, marks, turn=0.0, panels=(), **more):
    """A setting with these marks, and with those of other places of the panel."""
    dust = Dust(list(marks), [PanelMarks(number, list(others)) for number, others in enumerate(panels, 2)])
    return Setting(f_number=f_number, lens_turn_deg=turn, dust=dust, **more)
