"""Magnification, distortion, the target's turn and tilt, and the field of view of one setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from msgspec import structs
from numpy.typing import NDArray

from lensbench.analysers.geometry import _notes
from lensbench.analysers.geometry._alignment import measure_alignment, whole_tilt
from lensbench.analysers.geometry._distortion import measure_distortion, reaches_corners
from lensbench.analysers.geometry._fitting import fit_mapping
from lensbench.analysers.geometry._mapping import Mapping
from lensbench.analysers.geometry._mapping_fit import MappingFit
from lensbench.analysers.geometry._pixel_pitch import PixelPitch, pixel_pitch
from lensbench.analysers.geometry._rail import rail_distance
from lensbench.analysers.geometry._rulers import Rulers
from lensbench.analysers.geometry._target_shot import TargetShot
from lensbench.analysers.geometry._view import measure_view
from lensbench.errors import BenchError
from lensbench.findings import Geometry, View, ZoneMagnification
from lensbench.frame import ZONES, centre_of, half_diagonal, zone_index
from lensbench.target.layout import Layout

MISREAD_SIGMAS = 3.0
"""Ruler bars that deviate from the edges by more standard deviations were misread; theirs are widened by as much
(common practice)."""

SIZES_UNKNOWN = 0.02
"""Relative standard deviation of the ruler bars above which no size is given (chosen by experience)."""


def measure_geometry(
    shots: Sequence[TargetShot],
    layout: Layout,
    size: tuple[int, int],
    sensor_mm: tuple[float, float] | None = None,
    rulers_measured_mm: tuple[float, float] | None = None,
    pupil_ratio: float = 1.0,
) -> Geometry:
    """Measure magnification, distortion, tilt and field of view of one setting.

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
    The pinhole camera with a radial distortion about its own centre is photogrammetry's (D. C. Brown, Close-range
    camera calibration, Photogrammetric Engineering 37 (1971) 855-866), here fitted to lines instead of points.
    """
    sheet = _Sheet(layout, size, rulers_measured_mm is not None)
    fitted, unfitted = sheet.fitted(shots, Rulers.measured(layout, rulers_measured_mm))
    notes = [*([] if sheet.measured else [_notes.UNMEASURED_RULERS]), *unfitted]
    if not fitted.fits:
        return Geometry(notes=notes)
    fitted, more = sheet.with_wider_rulers(fitted)
    notes += more
    main = max(range(len(fitted.shots)), key=lambda i: fitted.shots[i].mtf50 or 0.0)
    shot, fit = fitted.shots[main], fitted.fits[main]
    if fitted.rulers.sigma.max() > SIZES_UNKNOWN:
        return _with_notes(_without_sizes(_geometry(fit, shot, None, None)), fit, notes)
    pitch, pitch_notes = pixel_pitch(size, sensor_mm)
    on_rail = rail_distance(fitted.fits, fitted.shots)
    rail = on_rail.distance
    view = None
    if rail is not None:
        unit = half_diagonal(size)
        known = rail.value / unit, rail.sigma / rail.value
        fit = fit_mapping(shot.lines, layout, size, fitted.rulers, shot.mirrored, known, shot.others)
        focused = all(shot.mtf50 is not None for shot in fitted.shots)
        view = measure_view(fit, shot.name, rail, pitch, pupil_ratio, focused)
    found = structs.replace(_geometry(fit, shot, pitch, view), misread_rail=on_rail.misread)
    return _with_notes(found, fit, [*notes, *pitch_notes, *on_rail.notes])


# -- the fits of all shots ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _FittedShots:
    """The shots that could be fitted, their fits, and the ruler bars that these take as given."""

    shots: list[TargetShot]
    fits: list[MappingFit]
    rulers: Rulers

    @property
    def sheet_deviation(self) -> float:
        """Largest deviation from the priors that all shots share, in standard deviations."""
        return max(fit.sheet_deviation for fit in self.fits)


@dataclass(frozen=True, eq=False)
class _Sheet:
    """The sheet that all shots show, and whether its ruler bars were measured."""

    layout: Layout
    size: tuple[int, int]
    measured: bool

    def fitted(self, shots: Sequence[TargetShot], rulers: Rulers) -> tuple[_FittedShots, list[str]]:
        """Fit every shot; those that have too few edges get a note."""
        kept, fits = [], []
        notes = []
        for shot in shots:
            try:
                fits.append(self._fit(shot, rulers))
            except BenchError as error:
                notes.append(_notes.not_fitted(shot.name, str(error)))
            else:
                kept.append(shot)
        return _FittedShots(kept, fits, rulers), notes

    def _fit(self, shot: TargetShot, rulers: Rulers) -> MappingFit:
        return fit_mapping(shot.lines, self.layout, self.size, rulers, shot.mirrored, others=shot.others)

    def with_wider_rulers(self, fitted: _FittedShots) -> tuple[_FittedShots, list[str]]:
        """Fit again with ruler bars as uncertain as their deviation shows, as long as they are of any use.

        They are in error by at least that much; with a wider prior they bias the mapping less, and more of the
        deviation shows.
        """
        if fitted.sheet_deviation <= MISREAD_SIGMAS:
            return fitted, []
        notes = [_notes.MISREAD_RULERS if self.measured else _notes.UNEVEN_PRINT]
        while fitted.sheet_deviation > MISREAD_SIGMAS and fitted.rulers.sigma.max() <= SIZES_UNKNOWN:
            wider = replace(fitted.rulers, sigma=fitted.rulers.sigma * fitted.sheet_deviation)
            fitted, _ = self.fitted(fitted.shots, wider)
        return fitted, notes


# -- figures of one shot --------------------------------------------------------------------------------------


def _geometry(fit: MappingFit, shot: TargetShot, pitch: PixelPitch | None, view: View | None) -> Geometry:
    """All figures of one setting but the notes, read off the fit of its sharpest shot."""
    middle = np.asarray(centre_of(fit.mapping.size))
    scale = fit.figure(lambda m: m.scale(middle), "px/mm")
    across, down = fit.figures(_covered, "mm")
    distortion = measure_distortion(fit)
    known = view is not None
    return Geometry(
        magnification=None if pitch is None else pitch.times(scale, "×"),
        distortion_percent=distortion.curve[-1].percent if reaches_corners(fit) else None,
        target_turn_deg=fit.figure(lambda m: np.degrees(m.turn), "°"),
        target_tilt_deg=whole_tilt(fit) if known else None,
        field_of_view_deg=None if view is None else view.diagonal_deg,
        shot=shot.name,
        scale_px_mm=scale,
        covers_mm=(across, down),
        magnification_zones=_zones(fit),
        distortion=distortion,
        alignment=measure_alignment(fit, known, distortion.centre_px is not None),
        view=view,
        ink_spread_um=fit.figure(lambda m: 1000 * m.ink(middle), "µm"),
        tiles=len(np.unique(shot.lines.tile[fit.used])),
        rejected=int((~fit.used).sum()),
    )


def _without_sizes(geometry: Geometry) -> Geometry:
    """What remains where the print's scale is not known."""
    return structs.replace(geometry, magnification=None, scale_px_mm=None, covers_mm=None, ink_spread_um=None)


def _with_notes(geometry: Geometry, fit: MappingFit, notes: list[str]) -> Geometry:
    """The finding with all its notes, those on the shot's own shortcomings last."""
    own = []
    if geometry.alignment is not None and not geometry.alignment.distinguished_from_decentring:
        own.append(_notes.TILT_OR_DECENTRING)
    if not reaches_corners(fit):
        own.append(_notes.CORNERS_EMPTY)
    return structs.replace(geometry, notes=[*notes, *own])


def _covered(mapping: Mapping) -> NDArray[np.float64]:
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
