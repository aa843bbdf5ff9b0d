"""An aperture series: what each aperture shows, which one serves what, and what its light and its focus say."""

from __future__ import annotations

import msgspec

from lensbench.figure import Figure
from lensbench.findings.tables import Tabular


class ApertureFigures(Tabular, msgspec.Struct, frozen=True):
    """What one aperture shows, over all of its setups.

    MTF50 is the mean of directions: of the centre, and of the corners by their areas. `evenness_percent` is the
    softest zone's MTF50 in percent of the sharpest one's. `possible_mtf50` is the centre's with a flawless lens at
    `effective_f_number`, before these pixels, and `achieved_percent` how much of it the centre has. `depth_mm` is
    the depth of field to either side: ``measured`` along a rail, or by the quarter-wave ``rule`` (`depth_by`).
    `falloff_stops` is the darkest corner's, `fringing_px` the farthest colour's, `glow_percent` the whole frame's.
    """

    aperture: str
    settings: list[int]
    effective_f_number: float | None = None
    possible_mtf50: float | None = None
    achieved_percent: Figure | None = None
    centre: Figure | None = None
    corners: Figure | None = None
    evenness_percent: Figure | None = None
    fringing_px: Figure | None = None
    falloff_stops: Figure | None = None
    marks: int | None = None
    depth_mm: Figure | None = None
    depth_by: str = ""
    glow_percent: Figure | None = None


class Price(Tabular, msgspec.Struct, frozen=True):
    """What an aperture gives up: one figure that another aperture has better, beyond both intervals.

    `what` is a field of `ApertureFigures`; `value` this aperture's, `best` the best one's, at `best_at`.
    """

    what: str
    value: Figure
    best: Figure
    best_at: str


class DeeperField(Tabular, msgspec.Struct, frozen=True):
    """An aperture with more depth of field, whose centre is not surely sharp enough: it keeps `kept_percent`."""

    aperture: str
    depth_mm: Figure
    kept_percent: Figure


class ApertureChoice(Tabular, msgspec.Struct, frozen=True):
    """The aperture for one purpose, those that are equal to it within the uncertainty, and its price.

    `purpose` is ``sharpest centre``, ``most even``, ``deepest field`` (while the centre keeps `kept_percent` of
    its best MTF50; `equal` are then deeper ones of which that is too close to call) or ``dirt shows from`` (the
    widest aperture at which a mark shows). `value` is the figure that decided. `next_deeper` is, of the apertures
    with more depth of field, the one whose centre keeps most.
    """

    purpose: str
    aperture: str
    value: Figure | None
    equal: list[str]
    prices: list[Price]
    kept_percent: float | None = None
    next_deeper: DeeperField | None = None


class PassedLight(Tabular, msgspec.Struct, frozen=True):
    """How much less light an aperture passes than the widest one, `against`, by their flats and exposures.

    `marked_stops` is what the marks say, and `off_stops` how much less than that it passes; None without marks, or
    where it is so much that the light was rather changed.
    """

    aperture: str
    against: str
    less_stops: Figure
    marked_stops: float | None = None
    off_stops: Figure | None = None


class BlurAperture(Tabular, msgspec.Struct, frozen=True):
    """The f-number by how blur grows out of focus along a rail: effective at the sensor, and as marks say it."""

    aperture: str
    effective_f_number: Figure
    f_number: Figure


class FocusShift(Tabular, msgspec.Struct, frozen=True):
    """How far best focus in the centre moves as the iris closes, from rail series of one setup, focus untouched.

    `farther_mm` is positive where it lies farther from the lens at the smaller aperture; `depth_mm` the depth of
    field there, to either side.
    """

    wide: str
    small: str
    farther_mm: Figure
    depth_mm: Figure


class ApertureSeries(Tabular, msgspec.Struct, frozen=True):
    """Everything that the apertures of a session say together."""

    figures: list[ApertureFigures]
    choices: list[ApertureChoice]
    light: list[PassedLight] = []
    blur: list[BlurAperture] = []
    focus_shifts: list[FocusShift] = []


class Rings(Tabular, msgspec.Struct, frozen=True):
    """How much extension is missing for a magnification: the focal length times what is missing of it."""

    wanted: float
    magnification: Figure
    focal_length_mm: Figure
    extension_mm: Figure
