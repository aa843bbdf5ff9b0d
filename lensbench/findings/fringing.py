"""Lateral colour: tiles, zones, the field over the frame."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure, Position
from lensbench.findings.tables import Tabular


class Displacement(Tabular, msgspec.Struct, frozen=True):
    """Where a colour's picture lies against green's: x right, y down, outward, anticlockwise as seen; in px."""

    dx: Figure
    dy: Figure
    radial_px: Figure
    around_px: Figure


class TileFringing(Tabular, msgspec.Struct, frozen=True):
    """Lateral colour at one tile; a colour is None where it could not be measured."""

    column: int
    row: int
    x: float
    y: float
    h: float
    red: Displacement | None
    blue: Displacement | None


class ZoneFringing(Tabular, msgspec.Struct, frozen=True):
    """A zone's lateral colour in one channel (``red`` or ``blue``, against green)."""

    zone: str
    channel: str
    radial_px: Figure
    around_px: Figure


class FringingField(Tabular, msgspec.Struct, frozen=True):
    """The smooth field of one channel's lateral colour over the frame, and what it leaves unexplained.

    With q the place less `about_px`, over the half-diagonal, and Q = |q|², the displacement in pixels is
    s + q (r₁ + r₂ Q + r₃ Q²) + Q d + 2 (q·d) q, s being `shift_px`, r `radial_px` and d `decentring_px`; s and d
    are 0 where the edges don't call for them. `centre_px` is where fringing is centred; None where it is too weak,
    or the blur too asymmetric, to tell. `about_px` is only the place that the other terms go with.
    """

    channel: str
    centre_px: Position | None
    about_px: tuple[float, float]
    shift_px: tuple[Figure, Figure]
    radial_px: tuple[Figure, Figure, Figure]
    decentring_px: tuple[Figure, Figure]
    residual_px: Figure
    tiles: int
    rejected: int


class WorstFringing(Tabular, msgspec.Struct, frozen=True):
    """The corner of the frame where the colours lie farthest apart, and the coloured band seen there.

    `apart_px` is how far the two colours lie apart. `width_px` is the width of the coloured band on the
    dark-light edge that shows it worst: the length over which the lightest and the darkest of the colours, each
    scaled to run from 0 (dark) to 1 (light), differ by more than a tenth. Displacement and unequal blur both
    make it.
    """

    zone: str
    colours: tuple[str, str]
    apart_px: Figure
    width_px: Figure | None
    width_um: Figure | None = None


class Fringing(Tabular, msgspec.Struct, frozen=True):
    """Lateral colour of one setting."""

    tiles: list[TileFringing] = []
    zones: list[ZoneFringing] = []
    fields: list[FringingField] = []
    worst: WorstFringing | None = None
    notes: list[str] = []
