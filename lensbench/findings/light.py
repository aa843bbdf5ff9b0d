"""Falloff, coverage, the light panel, and veiling glare."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure, Position
from lensbench.findings.tables import Tabular


class CentreLight(Tabular, msgspec.Struct, frozen=True):
    """How bright the middle of an even light was, for its exposure: what tells apertures apart by their light.

    `per_exposure` is light at h < 0.1 over full scale, for a second at ISO 100, the mean over the flats; its
    interval is how far they differ, and the noise. `shutter_s` and `iso` are what the camera recorded.
    """

    per_exposure: Figure
    shutter_s: float
    iso: float
    flats: list[str]


class ZoneFalloff(Tabular, msgspec.Struct, frozen=True):
    """A zone's falloff: stops by which the mean light over its whole area lies below that at h < 0.1.

    What the image circle cuts off is part of the area: a zone half black is one stop darker than its other half.
    """

    zone: str
    stops: Figure


class FalloffGrid(Tabular, msgspec.Struct, frozen=True):
    """The smooth map: `stops[j][i]` at (x[i], y[j]); None where the flat could not be read."""

    x: list[float]
    y: list[float]
    stops: list[list[float | None]]


class FalloffStep(Tabular, msgspec.Struct, frozen=True):
    """Falloff at one distance h from the frame's centre: by the mean light around it, and its extreme places.

    `cos4_stops` is what the cos⁴ law takes at this h; None where the field angle was not measured.
    """

    h: float
    stops: Figure
    darkest: float
    lightest: float
    cos4_stops: Figure | None = None


class FalloffContour(Tabular, msgspec.Struct, frozen=True):
    """Where falloff reaches a third of a stop, two thirds, …: lines in pixels; how much of the frame is darker."""

    stops: float
    darker_percent: Figure
    lines: list[list[tuple[float, float]]]


class LightGradient(Tabular, msgspec.Struct, frozen=True):
    """The gradient of the light towards the darker side: stops from the centre to h = 1, x right, y down."""

    across_stops: Figure
    down_stops: Figure
    size_stops: Figure
    darker_at: str


class ZoneCast(Tabular, msgspec.Struct, frozen=True):
    """A zone's colour cast: red over green and blue over green against those at h < 0.1, in percent."""

    zone: str
    red_percent: Figure | None
    blue_percent: Figure | None


class HotSpot(Tabular, msgspec.Struct, frozen=True):
    """A bright spot in the middle, which is in none of the stops.

    `percent` is how much brighter its middle is than the lens's own light there, `radius_px` where it is half as
    strong.
    """

    percent: Figure
    radius_px: Figure
    centre_px: Position
    note: str


class PanelPosition(Tabular, msgspec.Struct, frozen=True):
    """Where the light panel was in some of the flats, against its first position.

    `shift_percent` is how far it was moved to the right, in percent of the picture's width, and down, in percent
    of its height; None where the flats can't tell. `turn_deg` is the session file's, anticlockwise as seen.
    """

    panel: int
    turn_deg: float
    shift_percent: tuple[Figure, Figure] | None


class LightPanel(Tabular, msgspec.Struct, frozen=True):
    """The light itself, distinguished from the lens by moving it, and what could not be distinguished.

    `unevenness_stops` is how much the panel's own light, as seen at its first position, spans over the frame.
    `residual_stops` is how much of it may be left in the falloff's zones because its moves are not exactly known.
    """

    positions: list[PanelPosition]
    removed: bool
    unevenness_stops: Figure | None = None
    residual_stops: float | None = None
    notes: list[str] = []


class UsableLight(Tabular, msgspec.Struct, frozen=True):
    """How far from the centre of the light its mean in all directions is down by some stops.

    None where no circle that lies enough in the frame is as dark; its very corners may still be.
    """

    stops: float
    radius_px: Figure | None
    radius_mm: Figure | None


class CutCorner(Tabular, msgspec.Struct, frozen=True):
    """A corner zone of which the image circle cuts a part."""

    zone: str
    cut_percent: Figure


class ImageCircle(Tabular, msgspec.Struct, frozen=True):
    """Where a barrel or ring ends the light abruptly: the circle through it, and which corners it cuts.

    The radius is where light has fallen to half. `width_px` is how far it takes to fall from nine tenths to one.
    The circle is None where too little of it is seen.
    """

    corners: list[CutCorner]
    width_px: Figure
    centre_px: Position | None
    radius_px: Figure | None
    radius_mm: Figure | None


class Coverage(Tabular, msgspec.Struct, frozen=True):
    """How far the light reaches."""

    usable: list[UsableLight] = []
    image_circle: ImageCircle | None = None


LENS_ALONE, LENS_AND_LIGHT = "lens", "lens and light together"


class Falloff(Tabular, msgspec.Struct, frozen=True):
    """Falloff of one setting: by zone, as a map, where its centre lies, and whether light covers the frame.

    Zones that are clipped, or darker than eight stops, are left out; with one of the corners so is the worst one.
    `source` is what the figures are of: ``lens`` where moving the panel separated its light, else
    ``lens and light together``; the zones' intervals then also hold what is lopsided.
    """

    zones: list[ZoneFalloff]
    grid: FalloffGrid
    centre_px: Position | None
    covers_frame: bool
    worst_corner: ZoneFalloff | None = None
    profile: list[FalloffStep] = []
    contours: list[FalloffContour] = []
    gradient: LightGradient | None = None
    cast: list[ZoneCast] = []
    hot_spot: HotSpot | None = None
    panel: LightPanel | None = None
    coverage: Coverage | None = None
    source: str = ""


class TileGlare(Tabular, msgspec.Struct, frozen=True):
    """Light in one dark tile, in percent of the white around it; `light_trap` where it is a hole over black."""

    column: int
    row: int
    x: float
    y: float
    h: float
    dark_percent: Figure
    light_trap: bool
    shot: str = ""


class ZoneGlare(Tabular, msgspec.Struct, frozen=True):
    """A zone's light in dark tiles as seen, and less the ink's own reflectance: the veiling glare index."""

    zone: str
    dark_percent: Figure
    glare_percent: Figure | None
    tiles: int


class Glare(Tabular, msgspec.Struct, frozen=True):
    """Haze and veiling glare of one setting: light in the dark, in percent of the white around.

    `ink_percent` is the ink's reflectance over the paper's, `ink_from` is ``light trap``, ``session file`` or
    ``not known``. `systematic_percent` is how far all figures may be off alike, in percentage points, because of
    the ink and the black level.
    """

    channel: str
    zones: list[ZoneGlare] = []
    tiles: list[TileGlare] = []
    ink_percent: Figure | None = None
    ink_from: str = "not known"
    systematic_percent: float | None = None
    notes: list[str] = []
