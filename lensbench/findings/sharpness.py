"""Sharpness: edges, places, zones, and what belongs to lens, pixel and print."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from lensbench.figure import Figure
from lensbench.findings.reasons import Reason
from lensbench.findings.tables import Tabular

DIRECTIONS = ("sagittal", "tangential")
"""The two directions for which sharpness is given; figures by direction are in this order."""

MEAN = "mean"
"""What stands in place of a direction for the mean of both."""

COMMON_RELATIVE_SIGMA = 0.0005
"""Relative standard deviation of the error that all edges of a shot have in common, which no mean lessens: with
it, the intervals of zones hold the truth as often as they claim (study: `tests/bench/zones.py`)."""


class EdgeSharpness(Tabular, msgspec.Struct, frozen=True):
    """One edge in one channel.

    `leg` is ``along`` (the leg along the target's radius), ``across`` (the other leg) or ``slant`` (the long
    side); ``blade`` for an edge that belongs to no tile, with column and row counting the edges of the shot.
    `angle_deg` is the way the edge runs, anticlockwise as seen from x right, 0 to 180. `used` says whether the
    edge went into its zone's figures, `reason` why it did not; where it deviates from the edges around it,
    `deviation_percent` says by how much, positive where it is sharper. `rise_px` is the distance from 10 % to
    90 % across it. `nearly_level` says that the contrast runs nearly level about a half, so that MTF50 tells
    little.
    `overshoot_percent` is how far the profile passes its plateaus (noise alone makes up to 0.5),
    `contrast_to_noise` white minus dark over the noise of one white sample.
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
    reason: Reason = Reason.NONE
    shot: str = ""
    rise_px: Figure | None = None
    overshoot_percent: float | None = None
    contrast_to_noise: float | None = None
    deviation_percent: int | None = None
    nearly_level: bool = False


class TileSharpness(Tabular, msgspec.Struct, frozen=True):
    """Sharpness of one position and channel exactly along and across the radius, from all edges of its tile."""

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


class Contrast(Tabular, msgspec.Struct, frozen=True):
    """Contrast (MTF) at one frequency."""

    frequency: float
    unit: str
    mtf: Figure


class ContrastCurve(Tabular, msgspec.Struct, frozen=True):
    """Contrast against frequency in cycles a pixel, with its 95 % interval."""

    frequency: list[float]
    mtf: list[float]
    low: list[float]
    high: list[float]

    @classmethod
    def of(cls, frequency: Iterable[float], mtf: Iterable[float], half_width: Iterable[float]) -> ContrastCurve:
        """A curve in plain short numbers, whose interval reaches `half_width` to both sides but not below 0."""
        points = zip(frequency, mtf, half_width, strict=True)
        rows = [(f, m, max(m - half, 0.0), m + half) for f, m, half in points]
        return cls(*([round(float(v), 5) for v in column] for column in zip(*rows, strict=True)))


class ZoneSharpness(Tabular, msgspec.Struct, frozen=True):
    """A zone's MTF50 in one channel and direction (``sagittal``, ``tangential`` or ``mean`` of the two).

    It is the mean over the zone's area; `edges` counts the positions in it. `mtf50_lw_ph` is in line widths a
    picture height. `contrast` holds the MTF at chosen frequencies, `curve` the whole of it.
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


class ZoneDifference(Tabular, msgspec.Struct, frozen=True):
    """How two of a zone's MTF50 differ, in percent of their mean.

    Of ``sagittal`` against ``tangential`` in one channel (astigmatism: positive where sagittal is sharper), or of
    one channel against another in the mean of the directions (positive where the first is sharper).
    """

    zone: str
    first: str
    against: str
    percent: Figure
    channel: str | None = None


class Sharpness(Tabular, msgspec.Struct, frozen=True):
    """Sharpness of one setting.

    `caveats` name, in a few words each, what besides the lens sets or spoils these figures.
    """

    edges: list[EdgeSharpness] = []
    zones: list[ZoneSharpness] = []
    tiles: list[TileSharpness] = []
    astigmatism: list[ZoneDifference] = []
    colours: list[ZoneDifference] = []
    caveats: list[str] = []


class ZoneLimits(Tabular, msgspec.Struct, frozen=True):
    """What of a zone's MTF50 is the lens's own, and how much of what is possible it reaches.

    `lens_only` is the contrast with the pixel's aperture, and the print where it is known, divided out;
    it ends at `measurable_up_to` (cy/px), where the division would amplify noise past use. `lens_only_mtf50` is
    None where the lens alone keeps more than half of the contrast that far. `best_possible_mtf50` (cy/px) is what
    diffraction and the pixel together allow, `achieved_percent` the zone's MTF50 in percent of that;
    `lost_to_print_percent` is how much sharper the zone would read without the print's own blur.
    """

    zone: str
    channel: str
    direction: str
    lens_only_mtf50: Figure | None = None
    lens_only_mtf50_lp_mm: Figure | None = None
    measurable_up_to: float | None = None
    best_possible_mtf50: float | None = None
    best_possible_mtf50_lp_mm: float | None = None
    achieved_percent: Figure | None = None
    lost_to_print_percent: float | None = None
    lens_only: ContrastCurve | None = None


class PrintBlur(Tabular, msgspec.Struct, frozen=True):
    """What the print does to its own edges, as a standard deviation in px on the sensor; `source` says from what.

    ``raggedness``: measured on the edges' lines. ``dots``: calculated from the printer's dots (`print_dpi`).
    """

    sigma_px: Figure
    source: str


class Limits(Tabular, msgspec.Struct, frozen=True):
    """What belongs to whom: lens, pixel, diffraction, print. `missing` says what else would have to be known."""

    zones: list[ZoneLimits] = []
    effective_f_number: float | None = None
    print_blur: PrintBlur | None = None
    print_limited: list[str] = []
    missing: list[str] = []
