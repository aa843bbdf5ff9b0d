"""How big and how wide the lens sees."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure, Position
from lensbench.findings.tables import Tabular


class DistortionStep(Tabular, msgspec.Struct, frozen=True):
    """Distortion at one distance h from its centre.

    `percent` is how much farther out a point lies than a lens without distortion would put it (negative:
    barrel); `local_percent` how much larger small things there are drawn along the radius than in the centre.
    """

    h: float
    percent: Figure
    local_percent: Figure


class Distortion(Tabular, msgspec.Struct, frozen=True):
    """Distortion: how straight lines curve.

    With q a point's place less `about_px` over the half-diagonal, and Q = |q|², a lens without distortion would
    put the point at q (1 + t₁ Q + t₂ Q² + …), t being `terms`. `shape` is ``barrel``, ``cushion``, ``wave`` or
    ``none``. `bow_percent` is how far a straight line along the picture's long side bows, in percent of the
    picture's height (negative outwards: barrel); None, and the curve shorter, where the target does not reach into
    the corners. `centre_px` is None where distortion is too weak to show it.
    """

    shape: str
    curve: list[DistortionStep]
    bow_percent: Figure | None
    centre_px: Position | None
    about_px: tuple[float, float]
    terms: list[Figure]
    residual_px: Figure


class ZoneMagnification(Tabular, msgspec.Struct, frozen=True):
    """The lens's own magnification in a zone (the target's tilt undone), in percent of that at the centre."""

    zone: str
    percent: Figure


class Alignment(Tabular, msgspec.Struct, frozen=True):
    """The target's orientation against the camera.

    `wider_left_percent` is how much larger the target is drawn at the picture's left edge than at its right,
    `wider_top_percent` at the top than at the bottom. `right_away_deg` and `bottom_away_deg` are the same as
    angles: how far the target's right (bottom) side is turned away; None where the image distance isn't known.
    `distinguished_from_decentring` says whether tilt and a decentred lens could be distinguished.
    """

    wider_left_percent: Figure
    wider_top_percent: Figure
    right_away_deg: Figure | None
    bottom_away_deg: Figure | None
    distinguished_from_decentring: bool


class View(Tabular, msgspec.Struct, frozen=True):
    """How wide the lens sees, from target shots a known rail step apart.

    `image_distance_mm` is f (1 + m / P), the distance from the exit pupil to the sensor over the pupil ratio;
    `pupil_to_target_mm` is how far in front of the entrance pupil the target was in the shot `shot`.
    """

    diagonal_deg: Figure
    across_deg: Figure
    down_deg: Figure
    image_distance_px: Figure
    image_distance_mm: Figure | None
    pupil_to_target_mm: Figure
    focal_length_mm: Figure | None
    shot: str
    shots: list[str]


class Geometry(Tabular, msgspec.Struct, frozen=True):
    """How big and how wide the lens sees; None where the shots cannot tell, and `notes` say why.

    `target_tilt_deg` is the angle between target and sensor. `target_turn_deg` is how far a small target in the
    middle looks turned, anticlockwise: what is left of its turn when the tilt is undone by the one turn about the
    line in the target that lies at one distance. Tilts made one after the other, about the target's upright and
    then the camera's level axis, leave a turn of half of their product. `misread_rail` is the shot whose reading
    of the rail the sizes in all other shots contradict; it was left out.
    """

    magnification: Figure | None = None
    distortion_percent: Figure | None = None
    target_turn_deg: Figure | None = None
    target_tilt_deg: Figure | None = None
    field_of_view_deg: Figure | None = None
    shot: str = ""
    scale_px_mm: Figure | None = None
    covers_mm: tuple[Figure, Figure] | None = None
    magnification_zones: list[ZoneMagnification] = []
    distortion: Distortion | None = None
    alignment: Alignment | None = None
    view: View | None = None
    ink_spread_um: Figure | None = None
    tiles: int = 0
    rejected: int = 0
    notes: list[str] = []
    misread_rail: str | None = None
