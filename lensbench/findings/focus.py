"""A series along a rail: best focus, the surface of it, and advice on the rail."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.tables import Tabular


class FocusTile(Tabular, msgspec.Struct, frozen=True):
    """How one tile comes into focus along the rail, for edges of one direction in one channel.

    Positions are in mm along the rail from the centre's best focus, positive farther from the lens.
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


class FocusZone(Tabular, msgspec.Struct, frozen=True):
    """A zone along the rail in one channel and direction (``sagittal``, ``tangential`` or ``mean`` of the two).

    The means over its tiles: where they are sharpest (in mm from the centre's best focus, positive farther), how
    sharp each is at its own best focus (what the zone would show were the field flat), and how sharp with the
    centre in best focus (what a picture gets). `with_peak` of `tiles` have their peak within the series; with
    fewer than three quarters of them the first two are None.
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
    with_peak: int


class ThroughFocus(Tabular, msgspec.Struct, frozen=True):
    """A zone's sharpness shot by shot along the rail, mean of directions, and the curve through it near its peak.

    Positions are in mm from the centre's best focus, positive farther; MTF50 is in cycles a pixel.
    """

    zone: str
    channel: str
    position_mm: list[float]
    mtf50: list[float]
    curve_mm: list[float]
    curve_mtf50: list[float]


class FieldStep(Tabular, msgspec.Struct, frozen=True):
    """Where the surface of best focus lies at one h, lean apart, in mm along the rail from the centre's."""

    h: float
    sagittal_mm: Figure
    tangential_mm: Figure


class FocusLean(Tabular, msgspec.Struct, frozen=True):
    """How the surface of best focus leans against the target.

    The angles are positive where its right (lower) side lies farther from the lens than the target's. `sensor_deg`
    are the same seen behind the lens: by how much the sensor, or the lens against it, leans (right, lower), the
    target's own lean subtracted; None where that isn't known.
    """

    right_away_deg: Figure
    bottom_away_deg: Figure
    sensor_deg: tuple[Figure, Figure] | None = None


class ColourFocus(Tabular, msgspec.Struct, frozen=True):
    """Where a colour is sharpest along the rail, less green: positive is farther from the lens, in mm.

    Lens and camera nearer to the target focus what is nearer; `nearer` says in a word which colour that is.
    """

    channel: str
    focus_mm: Figure
    nearer: str


class Focus(Tabular, msgspec.Struct, frozen=True):
    """A series of shots along a rail: where everything is sharpest, and how sharp it is there.

    `centre_rail_mm` is the rail's reading at which the centre is sharpest; `larger_is` says whether larger
    readings are ``farther`` from the target or ``nearer`` to it. `depth_mm` is how far from there, to either
    side, the centre keeps 84 % of its sharpness (what a quarter wave leaves of a perfect lens's).
    `rail_scatter_mm` is how far the readings were off, as a standard deviation, as far as the pictures show it.
    `shot` is the shot nearest to the centre's best focus, which speaks for the setting's sharpness and fringing;
    it is `shot_off_mm` from it.
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


class RailAdvice(Tabular, msgspec.Struct, frozen=True):
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
