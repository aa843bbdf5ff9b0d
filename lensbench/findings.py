"""The typed results: figures with their intervals, findings, and the Report; read, written and checked here.

Every measured figure is a `Figure`. Lists of findings are tables: one struct a row. What could not be measured
is None or an empty list, and a warning says why; nothing here is ever NaN.
"""

from __future__ import annotations

import json
from pathlib import Path

import msgspec

from lensbench.errors import BenchError
from lensbench.files import written_whole

FORMAT = "lensbench-report/1"


class Figure(msgspec.Struct, frozen=True):
    """A measured value and the 95 % interval of that shot's own noise, low to high."""

    value: float
    low: float
    high: float
    unit: str

    @classmethod
    def of(cls, value: float, half_width: float, unit: str) -> Figure:
        """A figure whose interval reaches `half_width` to both sides."""
        value, half_width = float(value), abs(float(half_width))
        return cls(value, value - half_width, value + half_width, unit)

    @property
    def half_width(self) -> float:
        """Half of the interval's width."""
        return (self.high - self.low) / 2

    def scaled(self, factor: float, unit: str) -> Figure:
        """The figure in another unit, which is this one over a positive factor."""
        return Figure(self.value * factor, self.low * factor, self.high * factor, unit)


class Place(msgspec.Struct, frozen=True):
    """A measured place in pixels."""

    x: Figure
    y: Figure


class Notice(msgspec.Struct, frozen=True):
    """Something that the user should know: a short code, the shot's file name (or None), and a sentence."""

    code: str
    shot: str | None
    text: str


# -- what was measured, and with what -------------------------------------------------------------------------


class Build(msgspec.Struct, frozen=True):
    """The lens as put together for this session."""

    name: str
    parts: list[str] = []
    notes: str = ""
    date: str = ""


class Camera(msgspec.Struct, frozen=True):
    """The camera's frame; sensor and pitch are None where the session file gives no sensor size."""

    size_px: tuple[int, int]
    sensor_mm: tuple[float, float] | None = None
    pixel_pitch_um: float | None = None
    model: str | None = None


# -- sharpness ------------------------------------------------------------------------------------------------


class EdgeSharpness(msgspec.Struct):
    """One edge in one channel.

    `leg` is ``along`` (the leg along the target's radius), ``across`` (the other leg) or ``slant`` (the long
    side); ``blade`` for an edge that belongs to no tile, with column and row counting the edges of the shot.
    `angle_deg` is the way the edge runs, anticlockwise as seen from x right, 0 to 180. `used` says whether the
    edge went into its zone's figures, `why` is the reason where it did not. `rise_px` is the distance from 10 % to
    90 % across it, `overshoot_percent` how far the profile passes its plateaus, `contrast_to_noise` white minus
    dark over the noise of one white sample.
    """

    column: int
    row: int
    leg: str
    direction: str
    channel: str
    x: float
    y: float
    h: float
    angle_deg: float
    mtf50: Figure | None
    used: bool
    why: str = ""
    shot: str = ""
    rise_px: float | None = None
    overshoot_percent: float | None = None
    contrast_to_noise: float | None = None


class TileSharpness(msgspec.Struct):
    """Sharpness of one place and channel exactly along and across the radius, from all edges of its tile."""

    column: int
    row: int
    channel: str
    x: float
    y: float
    h: float
    sagittal: Figure | None
    tangential: Figure | None
    used: bool
    shot: str = ""


class Contrast(msgspec.Struct, frozen=True):
    """Contrast (MTF) at one frequency."""

    frequency: float
    unit: str
    mtf: Figure


class ContrastCurve(msgspec.Struct, frozen=True):
    """Contrast against frequency in cycles a pixel, with its 95 % interval."""

    frequency: list[float]
    mtf: list[float]
    low: list[float]
    high: list[float]


class ZoneSharpness(msgspec.Struct):
    """A zone's MTF50 in one channel and direction (``sagittal``, ``tangential`` or ``mean`` of the two).

    `mtf50_lw_ph` is in line widths a picture height. `contrast` holds the MTF at chosen frequencies, `curve` the
    whole of it.
    """

    zone: str
    channel: str
    direction: str
    mtf50: Figure
    mtf50_lp_mm: Figure | None
    edges: int
    mtf50_lw_ph: Figure | None = None
    contrast: list[Contrast] = []
    curve: ContrastCurve | None = None


class ZoneDifference(msgspec.Struct, frozen=True):
    """How two of a zone's MTF50 differ, in percent of their mean.

    Of ``sagittal`` against ``tangential`` in one channel (astigmatism: positive where sagittal is sharper), or of
    one channel against another in the mean of the directions (positive where the first is sharper).
    """

    zone: str
    first: str
    against: str
    percent: Figure
    channel: str | None = None


class Sharpness(msgspec.Struct):
    """Sharpness of one setting.

    `mind` names, in a few words each, what besides the lens sets or spoils these figures.
    """

    edges: list[EdgeSharpness] = []
    zones: list[ZoneSharpness] = []
    tiles: list[TileSharpness] = []
    astigmatism: list[ZoneDifference] = []
    colours: list[ZoneDifference] = []
    mind: list[str] = []


class ZoneLimits(msgspec.Struct):
    """What of a zone's MTF50 is the lens's own, and how much of what is possible it reaches.

    `lens_only` is the contrast with the pixel's aperture, and the print where it is known, divided out;
    it ends at `known_until` (cy/px), where the division would amplify noise past use. `lens_only_mtf50` is None
    where the lens alone keeps more than half of the contrast that far. `allowed_mtf50` (cy/px) is what
    diffraction and the pixel together allow, `reached_percent` the zone's MTF50 in percent of that;
    `print_percent` is how much sharper the zone would read without the print's own blur.
    """

    zone: str
    channel: str
    direction: str
    lens_only_mtf50: Figure | None = None
    lens_only_mtf50_lp_mm: Figure | None = None
    known_until: float | None = None
    allowed_mtf50: float | None = None
    allowed_mtf50_lp_mm: float | None = None
    reached_percent: Figure | None = None
    print_percent: float | None = None
    lens_only: ContrastCurve | None = None


class PrintBlur(msgspec.Struct, frozen=True):
    """What the print does to its own edges, as a standard deviation in px on the sensor; `told_by` says whence.

    ``raggedness``: measured on the edges' lines. ``dots``: reckoned from the printer's dots (`print_dpi`).
    """

    sigma_px: Figure
    told_by: str


class Limits(msgspec.Struct):
    """What belongs to whom: lens, pixel, diffraction, print. `missing` says what else would have to be known."""

    zones: list[ZoneLimits] = []
    effective_f_number: float | None = None
    print_blur: PrintBlur | None = None
    print_limited: list[str] = []
    missing: list[str] = []


# -- focus ----------------------------------------------------------------------------------------------------


class FocusTile(msgspec.Struct):
    """How one tile comes into focus along the rail, for edges of one direction in one channel.

    Places are in mm along the rail from the centre's best focus, positive with the target farther from the lens.
    `best_mm` is where this tile is sharpest, `mtf50_at_best` how sharp; both None where the series does not show
    its peak, `beyond` then says on which side it lies (``nearer``, ``farther`` or, where nothing tells,
    ``somewhere``). `mtf50_at_centre` is its sharpness with the centre in best focus.
    """

    column: int
    row: int
    channel: str
    direction: str
    x: float
    y: float
    h: float
    best_mm: Figure | None
    mtf50_at_best: Figure | None
    mtf50_at_centre: Figure | None
    beyond: str = ""


class FocusZone(msgspec.Struct):
    """A zone along the rail in one channel and direction (``sagittal``, ``tangential`` or ``mean`` of the two).

    The means over its tiles: where they are sharpest (in mm from the centre's best focus, positive farther), how
    sharp each is at its own best focus (what the zone would show were the field flat), and how sharp with the
    centre in best focus (what a picture gets). `shown` of `tiles` have their peak within the series; with fewer
    than three quarters of them the first two are None.
    """

    zone: str
    channel: str
    direction: str
    best_mm: Figure | None
    mtf50_at_best: Figure | None
    mtf50_at_centre: Figure | None
    mtf50_at_best_lp_mm: Figure | None
    mtf50_at_centre_lp_mm: Figure | None
    tiles: int
    shown: int


class ThroughFocus(msgspec.Struct):
    """A zone's sharpness shot by shot along the rail, mean of directions, and the curve through it near its peak.

    Places are in mm from the centre's best focus, positive farther; MTF50 is in cycles a pixel.
    """

    zone: str
    channel: str
    place_mm: list[float]
    mtf50: list[float]
    curve_mm: list[float]
    curve_mtf50: list[float]


class FieldStep(msgspec.Struct, frozen=True):
    """Where the surface of best focus lies at one h, lean apart, in mm along the rail from the centre's."""

    h: float
    sagittal_mm: Figure
    tangential_mm: Figure


class FocusLean(msgspec.Struct):
    """How the surface of best focus leans against the target.

    The angles are positive where its right (lower) side lies farther from the lens than the target's. `sensor_deg`
    are the same seen behind the lens: what the sensor, or the lens against it, is askew by (right, lower), the
    target's own lean taken off; None where that isn't known.
    """

    right_away_deg: Figure
    bottom_away_deg: Figure
    sensor_deg: tuple[Figure, Figure] | None = None


class ColourFocus(msgspec.Struct):
    """Where a colour is sharpest along the rail, less green: positive is farther from the lens, in mm.

    Lens and camera nearer to the target focus what is nearer; `nearer` says in a word which colour that is.
    """

    channel: str
    focus_mm: Figure
    nearer: str


class Focus(msgspec.Struct):
    """A series of shots along a rail: where everything is sharpest, and how sharp it is there.

    `centre_rail_mm` is the rail's reading at which the centre is sharpest; `larger_is` says whether larger
    readings stand ``farther`` from the target or ``nearer`` to it. `depth_mm` is how far from there, to either
    side, the centre keeps 84 % of its sharpness (what a quarter wave leaves of a perfect lens's).
    `rail_scatter_mm` is how far the readings were off, as a standard deviation, as far as the pictures show it.
    `shot` is the shot nearest to the centre's best focus, which speaks for the setting's sharpness and fringing;
    it stood `shot_off_mm` from it.
    """

    shots: list[str]
    rail_mm: list[float]
    centre_rail_mm: Figure
    larger_is: str
    depth_mm: Figure
    shot: str
    shot_off_mm: float
    shot_loss_percent: float
    rail_scatter_mm: float | None = None
    zones: list[FocusZone] = []
    tiles: list[FocusTile] = []
    through: list[ThroughFocus] = []
    field: list[FieldStep] = []
    lean: FocusLean | None = None
    colours: list[ColourFocus] = []
    notes: list[str] = []


class RailAdvice(msgspec.Struct):
    """How to step the rail at this setting.

    `depth_mm` is the depth of field to either side: that of a quarter wave at this magnification and effective
    aperture, or as measured where the lens has more. `step_mm` is a quarter of the whole of it. `from_mm` and
    `to_mm` are readings of the rail between which to shoot, where a series was shot already.
    """

    depth_mm: float
    step_mm: float
    shots: int
    from_mm: float | None = None
    to_mm: float | None = None
    text: str = ""


# -- colour fringing ------------------------------------------------------------------------------------------


class Displacement(msgspec.Struct, frozen=True):
    """Where a colour's picture lies against green's: x right, y down, outward, anticlockwise as seen; in px."""

    dx: Figure
    dy: Figure
    radial_px: Figure
    around_px: Figure


class TileFringing(msgspec.Struct):
    """Lateral colour at one tile; a colour is None where it could not be measured."""

    column: int
    row: int
    x: float
    y: float
    h: float
    red: Displacement | None
    blue: Displacement | None


class ZoneFringing(msgspec.Struct):
    """A zone's lateral colour in one channel (``red`` or ``blue``, against green)."""

    zone: str
    channel: str
    radial_px: Figure
    around_px: Figure


class FringingField(msgspec.Struct):
    """The smooth field of one channel's lateral colour over the frame, and what it leaves unexplained.

    With q the place less `about_px`, over the half-diagonal, and Q = |q|², the displacement in pixels is
    s + q (r₁ + r₂ Q + r₃ Q²) + Q d + 2 (q·d) q, s being `shift_px`, r `radial_px` and d `decentring_px`; s and d
    are 0 where the edges don't call for them. `centre_px` is where fringing is centred, `about_px` too; None where
    fringing is too weak to tell, `about_px` then only being what the other terms go with.
    """

    channel: str
    centre_px: Place | None
    about_px: tuple[float, float]
    shift_px: tuple[Figure, Figure]
    radial_px: tuple[Figure, Figure, Figure]
    decentring_px: tuple[Figure, Figure]
    residual_px: Figure
    tiles: int
    left_out: int


class WorstFringing(msgspec.Struct):
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


class Fringing(msgspec.Struct):
    """Lateral colour of one setting."""

    tiles: list[TileFringing] = []
    zones: list[ZoneFringing] = []
    fields: list[FringingField] = []
    worst: WorstFringing | None = None
    notes: list[str] = []


# -- falloff --------------------------------------------------------------------------------------------------


class ZoneFalloff(msgspec.Struct):
    """A zone's falloff in stops below the mean at h < 0.1, positive is darker."""

    zone: str
    stops: Figure


class FalloffGrid(msgspec.Struct):
    """The smooth map: `stops[j][i]` at (x[i], y[j]); None where the flat could not be read."""

    x: list[float]
    y: list[float]
    stops: list[list[float | None]]


class FalloffStep(msgspec.Struct, frozen=True):
    """Falloff at one distance h from the frame's centre: the mean around it, and its darkest and lightest place.

    `cos4_stops` is what the cos⁴ law takes at this h; None where the field angle was not measured.
    """

    h: float
    stops: Figure
    darkest: float
    lightest: float
    cos4_stops: Figure | None = None


class FalloffContour(msgspec.Struct, frozen=True):
    """Where falloff reaches a third of a stop, two thirds, …: lines in pixels; how much of the frame is darker."""

    stops: float
    darker_percent: Figure
    lines: list[list[tuple[float, float]]]


class Lopsidedness(msgspec.Struct, frozen=True):
    """An arrow towards the darker side: stops from the frame's centre to h = 1, x right, y down."""

    across_stops: Figure
    down_stops: Figure
    size_stops: Figure
    darker_at: str


class ZoneCast(msgspec.Struct, frozen=True):
    """A zone's colour cast: red over green and blue over green against those at h < 0.1, in percent."""

    zone: str
    red_percent: Figure | None
    blue_percent: Figure | None


class BrightSpot(msgspec.Struct, frozen=True):
    """A bright spot in the middle, which is left out of all stops.

    `percent` is how much brighter its middle is than the lens's own light there, `radius_px` where it is half as
    strong.
    """

    percent: Figure
    radius_px: Figure
    centre_px: Place
    note: str


class PanelPlace(msgspec.Struct, frozen=True):
    """How the light panel stood in some of the flats, against the first place.

    `shift_percent` is how far it was moved to the right, in percent of the picture's width, and down, in percent
    of its height; None where the flats can't tell. `turn_deg` is the session file's, anticlockwise as seen.
    """

    panel: int
    turn_deg: float
    shift_percent: tuple[Figure, Figure] | None


class LightPanel(msgspec.Struct):
    """The light itself, told from the lens by moving it, and what could not be told.

    `unevenness_stops` is how much the panel's own light, as seen at its first place, spans over the frame.
    `left_stops` is how much of it may be left in the falloff's zones because its moves are not exactly known.
    """

    places: list[PanelPlace]
    taken_off: bool
    unevenness_stops: Figure | None = None
    left_stops: float | None = None
    notes: list[str] = []


class UsableLight(msgspec.Struct, frozen=True):
    """How far from the centre of the light a number of stops is reached; None where that lies beyond the frame."""

    stops: float
    radius_px: Figure | None
    radius_mm: Figure | None


class CutCorner(msgspec.Struct, frozen=True):
    """A corner zone of which a hard edge cuts a part."""

    zone: str
    cut_percent: Figure


class HardEdge(msgspec.Struct, frozen=True):
    """Where a barrel or ring ends the light abruptly: the circle through it, and which corners it cuts.

    The radius is where light has fallen to half. `width_px` is how far it takes to fall from nine tenths to one.
    The circle is None where too little of it is seen.
    """

    corners: list[CutCorner]
    width_px: Figure
    centre_px: Place | None
    radius_px: Figure | None
    radius_mm: Figure | None


class Coverage(msgspec.Struct):
    """How far the light reaches."""

    usable: list[UsableLight] = []
    hard_edge: HardEdge | None = None


class Falloff(msgspec.Struct):
    """Falloff of one setting: by zone, as a map, where its centre lies, and whether light covers the frame."""

    zones: list[ZoneFalloff]
    grid: FalloffGrid
    centre_px: Place | None
    covers_frame: bool
    worst_corner: ZoneFalloff | None = None
    profile: list[FalloffStep] = []
    contours: list[FalloffContour] = []
    lopsided: Lopsidedness | None = None
    cast: list[ZoneCast] = []
    bright_spot: BrightSpot | None = None
    panel: LightPanel | None = None
    coverage: Coverage | None = None


# -- haze and veiling glare -----------------------------------------------------------------------------------


class TileGlare(msgspec.Struct, frozen=True):
    """Light in one dark tile, in percent of the white around it; `light_trap` where it is a hole over black."""

    column: int
    row: int
    x: float
    y: float
    h: float
    dark_percent: Figure
    light_trap: bool
    shot: str = ""


class ZoneGlare(msgspec.Struct, frozen=True):
    """A zone's light in dark tiles as seen, and less the ink's own reflectance: the veiling glare index."""

    zone: str
    dark_percent: Figure
    glare_percent: Figure | None
    tiles: int


class Glare(msgspec.Struct):
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


# -- dirt -----------------------------------------------------------------------------------------------------


class Mark(msgspec.Struct):
    """One dirt mark: a ``spot``, ``fibre`` or ``patch``.

    `depth_percent` is of the light around, positive for darker; `signal_to_noise` is the matched filter's.
    `path` is a fibre's middle line in pixels; empty for round marks. `place` says what it lies on, as far as
    shots tell: ``sensor``, ``light panel``, ``lens``, ``front of the lens``, ``rear of the lens``, two of
    these joined by ``or``, or ``can't tell``; `place_why` says how that is known and what shot would tell
    more.
    """

    x: float
    y: float
    kind: str
    width_px: Figure
    length_px: Figure
    depth_percent: Figure
    signal_to_noise: float
    zone: str
    path: list[tuple[float, float]] = []
    place: str = ""
    place_why: str = ""


class PanelMarks(msgspec.Struct):
    """Marks of a flat that was taken with the light panel elsewhere (`panel` in the session file)."""

    panel: int
    marks: list[Mark] = []


class Dust(msgspec.Struct):
    """Dirt marks of one setting, the plainest first; and those with the light panel moved, where it was."""

    marks: list[Mark] = []
    panels: list[PanelMarks] = []


# -- geometry -------------------------------------------------------------------------------------------------


class DistortionStep(msgspec.Struct, frozen=True):
    """Distortion at one distance h from its centre.

    `percent` is how much farther out a point lies than a lens without distortion would put it (negative:
    barrel); `local_percent` how much larger small things there are drawn along the radius than in the centre.
    """

    h: float
    percent: Figure
    local_percent: Figure


class Distortion(msgspec.Struct):
    """How straight lines bend.

    With q a point's place less `about_px` over the half-diagonal, and Q = |q|², a lens without distortion would
    put the point at q (1 + t₁ Q + t₂ Q² + …), t being `terms`. `shape` is ``barrel``, ``cushion``, ``wave`` or
    ``none``. `bow_percent` is how far a straight line along the picture's long side bows, in percent of the
    picture's height (negative outwards: barrel); None, and the curve shorter, where the target does not reach into
    the corners. `centre_px` is None where the bending is too weak to show it.
    """

    shape: str
    curve: list[DistortionStep]
    bow_percent: Figure | None
    centre_px: Place | None
    about_px: tuple[float, float]
    terms: list[Figure]
    residual_px: Figure


class ZoneMagnification(msgspec.Struct):
    """The lens's own magnification in a zone (the target's tilt taken off), in percent of that at the centre."""

    zone: str
    percent: Figure


class Alignment(msgspec.Struct):
    """How the target stood to the camera.

    `wider_left_percent` is how much larger the target is drawn at the picture's left edge than at its right,
    `wider_top_percent` at the top than at the bottom. `right_away_deg` and `bottom_away_deg` are the same as
    angles: how far the target's right (bottom) side is turned away; None where the image distance isn't known.
    `told_from_decentring` says whether tilt and a decentred lens could be told apart.
    """

    wider_left_percent: Figure
    wider_top_percent: Figure
    right_away_deg: Figure | None
    bottom_away_deg: Figure | None
    told_from_decentring: bool


class View(msgspec.Struct):
    """How wide the lens sees, from target shots a known rail step apart.

    `image_distance_mm` is f (1 + m / P), the distance from the exit pupil to the sensor over the pupil ratio;
    `pupil_to_target_mm` is how far in front of the entrance pupil the target stood in the shot `shot`.
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


class Geometry(msgspec.Struct):
    """How big and how wide the lens sees; None where the shots cannot tell, and `notes` say why."""

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
    left_out: int = 0
    notes: list[str] = []


# -- the report -----------------------------------------------------------------------------------------------


class Setting(msgspec.Struct):
    """Shots taken alike (same aperture, lens turn and setup) and what they show."""

    f_number: float | None = None
    aperture: str | None = None
    lens_turn_deg: float = 0.0
    setup: int = 1
    shots: list[str] = []
    magnification: Figure | None = None
    sharpness: Sharpness | None = None
    limits: Limits | None = None
    fringing: Fringing | None = None
    falloff: Falloff | None = None
    dust: Dust | None = None
    geometry: Geometry | None = None
    glare: Glare | None = None
    focus: Focus | None = None
    rail_advice: RailAdvice | None = None

    @property
    def label(self) -> str:
        """The aperture as the user calls it."""
        if self.f_number is not None:
            return f"f/{self.f_number:g}"
        return self.aperture or "aperture not given"


class Repeated(msgspec.Struct):
    """One figure over several setups of one aperture.

    `what` is ``sharpness`` (MTF50, mean of directions), ``fringing`` (outward) or ``falloff``. `mean` has the
    interval that the setups themselves leave it (Student's t); `spread` is the standard deviation of one setup
    about it, with its interval (chi squared); `shot_half_width` is half of the interval that the noise of one
    setup's shots leaves. `differ_by` is how far the means of two builds must lie apart, each from as many setups,
    before they may be called different (95 %).
    """

    what: str
    zone: str
    channel: str
    mean: Figure
    spread: Figure
    shot_half_width: float
    differ_by: float
    setups: int


class Repeats(msgspec.Struct):
    """Several setups of one aperture (refocused, remounted), and how their figures differ."""

    f_number: float | None
    aperture: str | None
    lens_turn_deg: float
    setups: list[int]
    figures: list[Repeated]


class OpticalCentre(msgspec.Struct):
    """One sign of where the lens's axis meets the sensor, from the frame's centre: x right, y down.

    In mm on the sensor, or in px where the sensor's size isn't known.
    """

    of: str
    x: Figure
    y: Figure


class TurnTest(msgspec.Struct):
    """One lopsidedness, split into what stayed with camera and target and what turned with the lens.

    Each part is an arrow (x right, y down); the lens's part is given as it stood at a lens turn of 0°. `blame` is
    ``lens``, ``target or camera``, ``both`` or ``neither``: whose arrow is longer than chance makes it.
    """

    of: str
    stays: tuple[Figure, Figure]
    turns: tuple[Figure, Figure]
    blame: str


class SofterSide(msgspec.Struct, frozen=True):
    """Which side of the picture is softer than the one across from it.

    `side` is ``right``, ``top left`` and so on; `percent` how much less MTF50 it has, at the border; `setting` the
    aperture that shows it most. `blame` is that of the turn test (see `TurnTest`) or of a series along a rail, or
    ``can't tell`` without either: a target that leans and a lens that leans look alike.
    """

    side: str
    percent: Figure
    setting: str
    blame: str


class Assembly(msgspec.Struct):
    """Whether the build was put together straight: ``straight``, ``not straight`` or ``can't tell``, and why."""

    answer: str
    centres: list[OpticalCentre] = []
    turn_tests: list[TurnTest] = []
    text: str = ""
    softer_side: SofterSide | None = None


class Sighting(msgspec.Struct, frozen=True):
    """Where a mark was seen: the number of the setting in `Report.settings`, and of the mark in its list."""

    setting: int
    mark: int


class TracedMark(msgspec.Struct):
    """One mark followed through the apertures.

    `x` and `y` are its place in pixels at the narrowest aperture that shows it. `place` and `place_why` are as in
    `Mark`. `distance_mm` is how far from the sensor the mark, or its image, lies, where its blur tells.
    `shows_from` is the widest aperture at which it was seen, where wider ones did not show it.
    """

    kind: str
    x: float
    y: float
    place: str
    place_why: str
    distance_mm: Figure | None
    sightings: list[Sighting]
    shows_from: str | None = None


class Dirt(msgspec.Struct):
    """Where dirt lies and from which aperture on it shows: the marks with the lens in one stand, and in words.

    `advice` says what was odd about the shots, and which further shots would tell more.
    """

    marks: list[TracedMark] = []
    places: str = ""
    apertures: str = ""
    advice: list[str] = []


class Verdict(msgspec.Struct):
    """The answers; each part is None until its question can be answered."""

    assembly: Assembly | None = None
    dirt: Dirt | None = None


class Report(msgspec.Struct):
    """Everything a session showed. `settings` stand in rising f-number."""

    build: Build
    camera: Camera
    warnings: list[Notice] = []
    settings: list[Setting] = []
    geometry: Geometry | None = None
    repeats: list[Repeats] = []
    verdict: Verdict | None = None
    format: str = FORMAT
    made_by: str = ""
    session: str = ""


def encode_report(report: Report) -> bytes:
    """The report as indented JSON."""
    return msgspec.json.format(msgspec.json.encode(report), indent=1)


def write_report(report: Report, path: str | Path) -> None:
    """Write a report as JSON, whole or not at all."""
    with written_whole(path) as temporary:
        temporary.write_bytes(encode_report(report))


def read_report(path: str | Path) -> Report:
    """Read a report.

    Raises
    ------
    BenchError
        Where the file is missing, isn't a report, or is one of another format.
    """
    path = Path(path)
    try:
        report = msgspec.json.decode(path.read_bytes(), type=Report)
    except OSError as error:
        raise BenchError(
            f"{path}: can't be read ({error.strerror}). Name a report.json that lensbench wrote."
        ) from None
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise BenchError(
            f"{path}: is no lensbench report ({error}). Name a report.json that lensbench wrote."
        ) from None
    if report.format != FORMAT:
        raise BenchError(
            f"{path}: has the format {report.format!r}; this version reads {FORMAT!r}. Measure again."
        )
    return report


def report_schema() -> dict:
    """The JSON Schema of report.json (what ships as ``report.schema.json``)."""
    return json.loads(json.dumps(msgspec.json.schema(Report)))
