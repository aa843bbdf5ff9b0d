"""Findings that show an optical centre and nothing else: distortion, fringing and falloff about a position."""

from __future__ import annotations

from collections.abc import Mapping

from lensbench.findings import (
    Alignment,
    Distortion,
    Falloff,
    FalloffGrid,
    Figure,
    Fringing,
    FringingField,
    Geometry,
    Position,
)

_NONE = Figure.of(0.0, 0.01, "px")


def geometry_about(
    centre: Position | None, middle: tuple[float, float], wider_left: Figure, wider_top: Figure
) -> Geometry:
    """Barrel distortion about a position, and a keystone; `middle` is the frame's, in pixels."""
    barrel = Distortion("barrel", [], _NONE, centre, middle, [], _NONE)
    return Geometry(distortion=barrel, alignment=Alignment(wider_left, wider_top, None, None, True))


def fringing_about(centres: Mapping[str, Position | None], middle: tuple[float, float]) -> Fringing:
    """Each channel's fringing about a position of its own."""
    none, three = (_NONE, _NONE), (_NONE, _NONE, _NONE)
    fields = [
        FringingField(name, centre, middle, none, three, none, _NONE, 60, 0) for name, centre in centres.items()
    ]
    return Fringing(fields=fields)


def falloff_about(centre: Position | None) -> Falloff:
    """Light that falls off from a position."""
    return Falloff([], FalloffGrid([], [], []), centre, True)
