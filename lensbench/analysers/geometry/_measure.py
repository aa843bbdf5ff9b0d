"""How big and how wide the lens sees: magnification, distortion, the target's turn and tilt, the field of view."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from msgspec import structs
from numpy.typing import NDArray

from lensbench.analysers.geometry._mapping import Lines, Mapping, Rulers
from lensbench.analysers.geometry._mapping_fit import MappingFit, fit_mapping
from lensbench.errors import BenchError
from lensbench.findings import (
    NORMAL_95,
    Alignment,
    Distortion,
    DistortionStep,
    Figure,
    Geometry,
    Place,
    View,
    ZoneMagnification,
)
from lensbench.frame import ZONES, centre_of, half_diagonal, pixel_pitch_um, sensor_misfit, zone_index
from lensbench.target.layout import Layout

CURVE_H = np.linspace(0.1, 1.0, 10)
"""Distances from the bending's centre at which the distortion curve is given."""

BEYOND = 0.08
"""How far beyond the outermost edge the bending's curve may be carried on, in half-diagonals."""

STRAIGHT_PERCENT = 0.02
"""Bending below this counts as none, however small its interval."""

CENTRE_KNOWN = 0.05
"""A centre is given when its interval reaches no farther than this share of the half-diagonal."""

RAIL_READING_MM = 0.05
"""Standard deviation of a place on the rail as read by hand (95 %: ± 0.1 mm)."""

STRAINED = 3.0
"""Rulers pulled by more than this many standard deviations were misread, and count as so much less sure."""

_NOT_FILLED = (
    "The target does not reach into the corners of the frame, so distortion is given only as far as it does. Fill "
    "the frame with the target."
)
MISREAD = 0.02
"""Rulers whose lengths are less sure than this share say nothing of sizes."""

_STRAINED = (
    "The target is not as long, across against up, as the ruler bars say. Measure both bars again: the first "
    "number in rulers_measured_mm is the bar that runs across."
)
_UNEVEN_PRINT = (
    "The print is longer one way than the other, by more than printers mostly make it. Measure both ruler bars: "
    "until then sizes are unsure, or can't be told."
)

ENTANGLED = 3.0
"""Tilt and decentring can't be told apart where not knowing the one makes the other this much less sure."""


@dataclass(frozen=True, eq=False)
class TargetShot:
    """One shot of the target, ready for geometry.

    Attributes
    ----------
    name : str
        The shot's file name.
    lines : Lines
        Its edges, in green (or in the only channel).
    mirrored : bool
        Whether the sheet was seen from its back.
    rail_mm : float or None
        Where on the rail the camera stood, if it moved along one.
    mtf50 : float or None
        How sharp the shot is as a whole; the sharpest speaks for the setting.
    """

    name: str
    lines: Lines
    mirrored: bool = False
    rail_mm: float | None = None
    mtf50: float | None = None


def measure_geometry(
    shots: Sequence[TargetShot],
    layout: Layout,
    size: tuple[int, int],
    sensor_mm: tuple[float, float] | None = None,
    rulers_measured_mm: tuple[float, float] | None = None,
    pupil_ratio: float = 1.0,
) -> Geometry:
    """Measure how big, how straight and how wide one setting draws.

    Parameters
    ----------
    shots : sequence of TargetShot
        Shots of one setting; those on a rail with the focus untouched give the field of view.
    layout : Layout
        The target as designed.
    size : (int, int)
        Width and height of the frame in pixels.
    sensor_mm : (float, float), optional
        Width and height of the sensor; without it sizes on the sensor are given in pixels only.
    rulers_measured_mm : (float, float), optional
        The printed ruler bars, across and up, as measured by hand.
    pupil_ratio : float
        Exit pupil's diameter over the entrance pupil's.

    Returns
    -------
    Geometry
        With None and a note where the shots cannot tell.

    References
    ----------
    The pinhole camera with a radial bending about its own centre is photogrammetry's (D. C. Brown, Close-range
    camera calibration, Photogrammetric Engineering 37 (1971) 855-866), here fitted to lines instead of points.
    """
    rulers = Rulers.measured(layout, rulers_measured_mm)
    notes = [] if rulers_measured_mm is not None else [_UNMEASURED]
    kept, fits, unfit = _fits(shots, layout, size, rulers)
    notes += unfit
    if not fits:
        return Geometry(notes=notes)
    if _strain(fits) > STRAINED:
        notes.append(_UNEVEN_PRINT if rulers_measured_mm is None else _STRAINED)
    while _strain(fits) > STRAINED and rulers.spread.max() <= MISREAD:
        # At least so far off they are; less sure, they pull the mapping less askew, and what is left shows.
        rulers = replace(rulers, spread=rulers.spread * _strain(fits))
        _, fits, _ = _fits(kept, layout, size, rulers)
    main = max(range(len(kept)), key=lambda i: kept[i].mtf50 or 0.0)
    if rulers.spread.max() > MISREAD:
        return _without_sizes(_findings(fits[main], kept, main, None, None, pupil_ratio, notes))
    pitch = _pixel_pitch(size, sensor_mm, notes)
    rail = _image_distance(fits, kept, notes)
    fit = fits[main]
    if rail is not None:
        unit = half_diagonal(size)
        lines, name = kept[main].lines, kept[main].mirrored
        fit = fit_mapping(lines, layout, size, rulers, name, (rail.value / unit, rail.spread / rail.value))
    return _findings(fit, kept, main, rail, pitch, pupil_ratio, notes)


def _fits(
    shots: Sequence[TargetShot], layout: Layout, size: tuple[int, int], rulers: Rulers
) -> tuple[list[TargetShot], list[MappingFit], list[str]]:
    """The shots that could be fitted, their fits, and why the others could not."""
    kept, fits, notes = [], [], []
    for shot in shots:
        try:
            fits.append(fit_mapping(shot.lines, layout, size, rulers, shot.mirrored))
        except BenchError as error:
            notes.append(f"{shot.name}: {error}")
        else:
            kept.append(shot)
    return kept, fits, notes


def _strain(fits: list[MappingFit]) -> float:
    """By how many standard deviations the rulers are pulled at most."""
    return max(fit.strain for fit in fits)


def _without_sizes(found: Geometry) -> Geometry:
    """The findings less all that hangs on how long the print is."""
    return structs.replace(found, magnification=None, scale_px_mm=None, covers_mm=None, ink_spread_um=None)


_UNMEASURED = (
    "The ruler bars were not measured, so sizes are only as true as the printer (about 1 %). Measure both bars on "
    "the sheet and put their lengths into rulers_measured_mm."
)


@dataclass(frozen=True)
class _Pitch:
    """The pixel pitch in mm and its relative spread."""

    mm: float
    spread: float


def _pixel_pitch(size: tuple[int, int], sensor_mm: tuple[float, float] | None, notes: list[str]) -> _Pitch | None:
    """The pixel pitch, as unsure as width and height of the sensor disagree (pixels are square)."""
    if sensor_mm is None:
        notes.append(
            "The sensor's size is not known, so sizes on the sensor are in pixels and there is no magnification. "
            "Put the sensor's width and height into sensor_mm."
        )
        return None
    pitch_um = pixel_pitch_um(size, sensor_mm)
    if pitch_um is None:
        notes.append(f"{sensor_misfit(size, sensor_mm)} Until then sizes on the sensor are in pixels.")
        return None
    apart = abs(np.log(sensor_mm[0] / size[0] / (sensor_mm[1] / size[1])))
    if apart > 0.01:
        notes.append(
            f"The sensor's size of {sensor_mm[0]:g} × {sensor_mm[1]:g} mm would make pixels {100 * apart:.1f} % "
            "longer one way than the other. Check sensor_mm: it is the size of the whole visible frame."
        )
    return _Pitch(pitch_um / 1000, float(apart / 2 / NORMAL_95))


@dataclass(frozen=True)
class _Rail:
    """The image distance over the pupil ratio from a rail, in pixels: value, spread, and the part that the rulers
    share with every scale.
    """

    value: float
    own: float
    shared: float
    names: list[str]

    @property
    def spread(self) -> float:
        return float(np.hypot(self.own, self.shared))


def _image_distance(fits: list[MappingFit], shots: list[TargetShot], notes: list[str]) -> _Rail | None:
    """Image distance from the scale at several places on the rail: 1 / scale grows evenly with the distance."""
    railed = [i for i, shot in enumerate(shots) if shot.rail_mm is not None]
    if len({shots[i].rail_mm for i in railed}) < 2:
        notes.append(_ONE_SHOT)
        return None
    rail = np.array([shots[i].rail_mm for i in railed], float)
    middle = np.asarray(centre_of(fits[0].mapping.size))
    scale, own, shared = (
        np.concatenate(part)
        for part in zip(*(fits[i].value_and_spreads(lambda m: m.scale(middle)) for i in railed), strict=True)
    )
    sheet = np.array([fits[i].mapping.sheet_at_centre() for i in railed])
    sideways = np.polyfit(rail, sheet, 1)[0] if len(rail) > 1 else np.zeros(2)
    if np.hypot(*sideways) > 0.5:
        notes.append(_SIDEWAYS)
        return None
    advance = rail * np.sqrt(1 - sideways @ sideways)
    value, spread, misfit = _straight_line(1 / scale, own / scale**2, advance)
    if value < 10 * spread:
        notes.append(_SHORT_STEP)
        return None
    if len(set(rail.tolist())) > 2 and misfit > 4:
        notes.append(_UNEVEN)
    return _Rail(value, spread, value * float(np.median(shared / scale)), [shots[i].name for i in railed])


_ONE_SHOT = (
    "One place of the camera tells how much of the target is seen, not how wide the lens sees. Shoot the target "
    "twice a known step apart on a rail, focus untouched, and put both places into rail_mm."
)
_SIDEWAYS = (
    "The target wandered sideways by more than half of the rail's step, so the step says nothing of the distance. "
    "Point the rail at the target."
)
_SHORT_STEP = (
    "The shots on the rail differ too little in size to tell how wide the lens sees. Take a longer step, a tenth "
    "of the distance or more."
)
_UNEVEN = (
    "Sizes do not change evenly along the rail: the focus was touched, or a place on the rail was misread. The "
    "field of view's interval is widened for it."
)


def _straight_line(inverse: NDArray, inverse_spread: NDArray, advance: NDArray) -> tuple[float, float, float]:
    """Slope of the advance against 1 / scale, without its sign, its spread, and the misfit (1 is as expected)."""
    slope = np.polyfit(inverse, advance, 1)[0]
    for _ in range(3):
        variance = RAIL_READING_MM**2 + (slope * inverse_spread) ** 2
        weight = 1 / variance
        from_middle = inverse - (weight * inverse).sum() / weight.sum()
        square = (weight * from_middle**2).sum()
        slope = (weight * from_middle * advance).sum() / square
    off = advance - slope * from_middle
    off = off - (weight * off).sum() / weight.sum()
    free = len(advance) - 2
    misfit = float((weight * off**2).sum() / free) if free else 1.0
    return abs(float(slope)), float(np.sqrt(max(misfit, 1.0) / square)), misfit


def _findings(
    fit: MappingFit,
    shots: list[TargetShot],
    main: int,
    rail: _Rail | None,
    pitch: _Pitch | None,
    pupil_ratio: float,
    notes: list[str],
) -> Geometry:
    """All figures of one setting, read off the fit of its sharpest shot."""
    middle = np.asarray(centre_of(fit.mapping.size))
    scale = fit.figure(lambda m: m.scale(middle), "px/mm")
    distortion = _distortion(fit)
    alignment = _alignment(fit, rail, distortion.centre_px is not None)
    if not alignment.distinguished_from_decentring:
        notes.append(
            "From this shot a tilted target and a decentred lens look alike. Shoot it again with the lens turned "
            "half round in its mount."
        )
    if fit.reach < 1 - BEYOND:
        notes.append(_NOT_FILLED)
    view = None if rail is None else _view(fit, shots, main, rail, pitch, pupil_ratio)
    lines = shots[main].lines
    tiles = np.unique(np.stack([lines.column, lines.row])[:, fit.used], axis=1).shape[1]
    return Geometry(
        magnification=None if pitch is None else _times_pitch(scale, pitch, "×"),
        distortion_percent=distortion.curve[-1].percent if fit.reach >= 1 - BEYOND else None,
        target_turn_deg=fit.figure(lambda m: np.degrees(m.turn), "°"),
        target_tilt_deg=None if rail is None else _tilt(fit),
        field_of_view_deg=None if view is None else view.diagonal_deg,
        shot=shots[main].name,
        scale_px_mm=scale,
        covers_mm=tuple(fit.figures(_covered, "mm")),
        magnification_zones=_zones(fit),
        distortion=distortion,
        alignment=alignment,
        view=view,
        ink_spread_um=fit.figure(lambda m: 1000 * m.ink(middle), "µm"),
        tiles=int(tiles),
        left_out=int((~fit.used).sum()),
        notes=notes,
    )


def _times_pitch(figure: Figure, pitch: _Pitch, unit: str) -> Figure:
    """A figure in pixels as one in millimetres on the sensor."""
    half = np.hypot(figure.half_width, NORMAL_95 * pitch.spread * figure.value)
    return Figure.of(figure.value * pitch.mm, half * pitch.mm, unit)


def _covered(mapping: Mapping) -> NDArray:
    """Width and height that the frame covers on the sheet through its middle, in printed millimetres."""
    width, height = mapping.size
    cx, cy = centre_of(mapping.size)
    ends = np.array([[[-0.5, cy], [width - 0.5, cy]], [[cx, -0.5], [cx, height - 0.5]]])
    printed = mapping.on_sheet(ends) * mapping.printed_size
    return np.linalg.norm(printed[:, 1] - printed[:, 0], axis=-1)


def _zones(fit: MappingFit) -> list[ZoneMagnification]:
    """The lens's own magnification by zone, in percent of that at the frame's centre."""
    width, height = fit.mapping.size
    grid = np.meshgrid(np.linspace(0, width - 1, 61), np.linspace(0, height - 1, 41))
    points = np.stack(grid, axis=-1).reshape(-1, 2)
    zone = zone_index(points[:, 0], points[:, 1], fit.mapping.size)
    middle = np.asarray(centre_of(fit.mapping.size))

    def percents(mapping: Mapping) -> NDArray:
        share = mapping.scale(points) / mapping.scale(middle)
        return 100 * np.bincount(zone, share, len(ZONES)) / np.bincount(zone, minlength=len(ZONES))

    return [ZoneMagnification(name, f) for name, f in zip(ZONES, fit.figures(percents, "%"), strict=True)]


# -- distortion -----------------------------------------------------------------------------------------------


def _distortion(fit: MappingFit) -> Distortion:
    """The bending's curve, its name, and where it is centred."""
    h = CURVE_H[: max(int((fit.reach + BEYOND >= CURVE_H).sum()), 1)]
    whole = fit.figures(lambda m: 100 * (1 / m.stretch(h) - 1), "%")
    local = fit.figures(lambda m: 100 * (1 / m.radial_stretch(h) - 1), "%")
    mapping = fit.mapping
    x, y = (fit.figure(lambda m, axis=axis: m.centre[axis], "px") for axis in (0, 1))
    known = max(x.half_width, y.half_width) <= CENTRE_KNOWN * mapping.unit
    rms = float(np.sqrt(np.mean(np.square(fit.residual[fit.used]))))
    return Distortion(
        shape=_shape(whole),
        curve=[DistortionStep(*step) for step in zip(h.round(3).tolist(), whole, local, strict=True)],
        bow_percent=fit.figure(_bow, "%") if fit.reach >= 1 - BEYOND else None,
        centre_px=Place(x, y) if known else None,
        about_px=(float(mapping.centre[0]), float(mapping.centre[1])),
        terms=fit.figures(lambda m: m.terms, ""),
        residual_px=Figure.of(rms, NORMAL_95 * rms / np.sqrt(2 * fit.used.sum()), "px"),
    )


def _shape(curve: list[Figure]) -> str:
    """The bending in a word: a wave is a curve that turns back by more than its interval."""
    values = np.array([0.0] + [f.value for f in curve])
    unsure = max(STRAIGHT_PERCENT, curve[-1].half_width)
    farthest = int(np.argmax(np.abs(values)))
    if abs(values[farthest]) <= max(STRAIGHT_PERCENT, curve[farthest - 1].half_width):
        return "none"
    back = values[farthest] - values[-1]
    before = values[: farthest + 1] * np.sign(values[farthest])
    if abs(back) > unsure or before.min() < -unsure:
        return "wave"
    return "cushion" if values[farthest] > 0 else "barrel"


def _bow(mapping: Mapping) -> float:
    """How far a straight line along the long side bows inwards between its ends, in percent of the short side."""
    short = min(mapping.size)
    line = short / 2 / mapping.unit * mapping.stretch(np.array(1.0))
    return float(100 * (0.5 - mapping.bent_radius(line) * mapping.unit / short))


# -- how the target stood -------------------------------------------------------------------------------------


def _alignment(fit: MappingFit, rail: _Rail | None, centre_known: bool) -> Alignment:
    """Tilt as unequal sizes at opposite edges of the picture, and as angles where the image distance is known."""
    mapping = fit.mapping
    reach = np.asarray(mapping.size) / mapping.unit
    left, top = fit.figures(lambda m: 100 * m.lean * reach, "%")
    angles = (None, None)
    if rail is not None:
        angles = fit.figures(lambda m: np.degrees(np.arctan(m.lean * m.distance)), "°")
    told = centre_known or fit.lean_spread_by_centre() <= ENTANGLED
    return Alignment(left, top, *angles, distinguished_from_decentring=told)


def _tilt(fit: MappingFit) -> Figure:
    """The whole tilt; an angle has no sign, so its interval ends at 0."""
    tilt = fit.figure(lambda m: np.degrees(np.arctan(np.hypot(*(m.lean * m.distance)))), "°")
    return Figure(tilt.value, max(tilt.low, 0.0), tilt.high, tilt.unit)


# -- how wide the lens sees -----------------------------------------------------------------------------------


def _view(
    fit: MappingFit, shots: list[TargetShot], main: int, rail: _Rail, pitch: _Pitch | None, pupil_ratio: float
) -> View:
    """The angles that the frame takes in from the entrance pupil, and the lengths behind them."""
    middle = np.asarray(centre_of(fit.mapping.size))
    scale, own, _ = (float(part[0]) for part in fit.value_and_spreads(lambda m: m.scale(middle)))
    away = rail.value / scale
    diagonal, across, down = _angles(fit, rail)
    # The rulers' error scales both the image distance and the scale, and so leaves the distance to the target.
    away_half = NORMAL_95 * away * np.hypot(rail.own / rail.value, own / scale)
    mm = focal = None
    if pitch is not None:
        mm = _times_pitch(Figure.of(rail.value, NORMAL_95 * rail.spread, "px"), pitch, "mm")
        focal = _focal_length(rail, scale, pitch, pupil_ratio, _focus_doubt(shots, rail, scale))
    return View(
        diagonal_deg=diagonal,
        across_deg=across,
        down_deg=down,
        image_distance_px=Figure.of(rail.value, NORMAL_95 * rail.spread, "px"),
        image_distance_mm=mm,
        pupil_to_target_mm=Figure.of(away, away_half, "mm"),
        focal_length_mm=focal,
        shot=shots[main].name,
        shots=rail.names,
    )


def _angles(fit: MappingFit, rail: _Rail) -> list[Figure]:
    """Full angles over the diagonal (mean of both), across and down, with the bending taken into account."""
    width, height = fit.mapping.size
    left, top, right, bottom = -0.5, -0.5, width - 0.5, height - 0.5
    cx, cy = centre_of(fit.mapping.size)
    ends = np.array(
        [
            [[left, top], [right, bottom]],
            [[right, top], [left, bottom]],
            [[left, cy], [right, cy]],
            [[cx, top], [cx, bottom]],
        ]
    )

    def angles(mapping: Mapping, distance: float) -> NDArray:
        away = np.linalg.norm(mapping.unbent(ends), axis=-1) * mapping.unit
        full = np.degrees(np.arctan(away / distance)).sum(axis=-1)
        return np.array([full[:2].mean(), full[2], full[3]])

    values, own, shared = fit.value_and_spreads(lambda m: angles(m, rail.value))
    step = 1e-4 * rail.value
    slope = (angles(fit.mapping, rail.value + step) - angles(fit.mapping, rail.value - step)) / (2 * step)
    spread = np.sqrt(own**2 + shared**2 + (slope * rail.spread) ** 2)
    return [Figure.of(v, NORMAL_95 * s, "°") for v, s in zip(values, spread, strict=True)]


def _focal_length(rail: _Rail, scale: float, pitch: _Pitch, pupil_ratio: float, doubt: float) -> Figure:
    """F from the image distance over the pupil ratio, f (1 + m / P), m being that of the shot in focus."""
    reach = scale * pitch.mm / pupil_ratio
    focal = rail.value * pitch.mm / (1 + reach)
    # An error of the rulers or of the pitch scales the image distance and m alike.
    common = np.hypot(rail.shared / rail.value, pitch.spread) / (1 + reach)
    spread = np.sqrt((rail.own / rail.value) ** 2 + common**2 + (doubt * reach / (1 + reach)) ** 2)
    return Figure.of(focal, NORMAL_95 * focal * spread, "mm")


def _focus_doubt(shots: list[TargetShot], rail: _Rail, scale: float) -> float:
    """Relative spread of the magnification in focus: none where sharpness tells which shot that is."""
    if all(shot.mtf50 is not None for shot in shots):
        return 0.0
    places = [shot.rail_mm for shot in shots if shot.rail_mm is not None]
    # The focus may have lain anywhere between the rail's ends.
    return float((max(places) - min(places)) * scale / rail.value / np.sqrt(12))
