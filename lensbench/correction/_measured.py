"""What a report says that a correction needs: the only file here that knows the fields of findings."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from lensbench.correction._choice import Measured, Weighted
from lensbench.correction._recipe import ColourField, RadialDistortion, Shadow, SmoothLight, cast_terms
from lensbench.findings import Distortion, Falloff, Fringing, Geometry, Mark, Report, Setting
from lensbench.frame import ZONES, zone_index

ON_SENSOR = "sensor"
"""What a mark lies on whose shadow can be taken out."""

DEEPEST = 95.0
"""Percent of the light that a shadow may take: of what lies behind deeper ones nothing is left to lift."""

_CAST_CELLS = (180, 120)
"""Places in the frame over which a zone's mean is taken."""


def with_falloff(report: Report) -> list[Measured]:
    """The settings whose falloff is known."""
    return _measured(report, lambda setting: setting.falloff is not None)


def with_fringing(report: Report) -> list[Measured]:
    """The settings whose lateral colour is known."""
    return _measured(report, lambda setting: setting.fringing is not None and bool(setting.fringing.fields))


def with_distortion(report: Report) -> list[Measured]:
    """The settings whose distortion is known."""
    return _measured(
        report, lambda setting: setting.geometry is not None and setting.geometry.distortion is not None
    )


def with_dirt(report: Report) -> list[Measured]:
    """The settings in which dirt was looked for."""
    return _measured(report, lambda setting: setting.dust is not None)


def _measured(report: Report, holds: Callable[[Setting], bool]) -> list[Measured]:
    """The settings that hold something, with the lens as it sits in its mount, the first setup's before others.

    What a lens turned in its mount shows belongs to no picture that was taken with it unturned.
    """
    least_turn = min((abs(s.lens_turn_deg) for s in report.settings), default=0.0)
    found = [(n, s) for n, s in enumerate(report.settings) if abs(s.lens_turn_deg) == least_turn and holds(s)]
    found.sort(key=lambda pair: (pair[1].f_number or 0.0, pair[1].setup))
    return [
        Measured(n, s.f_number, s.aperture, s.magnification.value if s.magnification is not None else None)
        for n, s in found
    ]


def names_of(report: Report, chosen: Sequence[Weighted]) -> list[str]:
    """The chosen settings as headings call them."""
    return [report.settings[w.number].name for w in chosen]


def magnifications_of(report: Report, chosen: Sequence[Weighted]) -> list[float]:
    """At which magnifications the chosen settings were measured, where that is known."""
    figures = [report.settings[w.number].magnification for w in chosen]
    return [figure.value for figure in figures if figure is not None]


# -- light ----------------------------------------------------------------------------------------------------


def light_of(report: Report, chosen: Sequence[Weighted]) -> SmoothLight:
    """The weighted falloff and cast of some settings."""
    parts = [(_falloff(report, w), w.weight) for w in chosen]
    first = parts[0][0].grid
    stops = sum(weight * _filled(falloff.grid.stops) for falloff, weight in parts)
    size = report.camera.size_px
    casts = [({c: _cast(falloff, c, size) for c in ("red", "blue")}, weight) for falloff, weight in parts]
    cast = {c: np.asarray(sum(weight * shapes[c] for shapes, weight in casts)) for c in ("red", "blue")}
    return SmoothLight(np.array(first.x), np.array(first.y), np.asarray(stops), cast)


def light_left_open(report: Report, chosen: Sequence[Weighted]) -> float | None:
    """Stops of the light's own unevenness that may be left in the falloff of some settings."""
    panels = [_falloff(report, w).panel for w in chosen]
    known = [panel.residual_stops for panel in panels if panel is not None and panel.residual_stops is not None]
    return max(known, default=None)


def has_hot_spot(report: Report, chosen: Sequence[Weighted]) -> bool:
    """Whether a bright spot was found, which is light added by reflections and no falloff."""
    return any(_falloff(report, w).hot_spot is not None for w in chosen)


def _falloff(report: Report, chosen: Weighted) -> Falloff:
    falloff = report.settings[chosen.number].falloff
    assert falloff is not None
    return falloff


def _filled(stops: list[list[float | None]]) -> NDArray[np.float64]:
    """The map with the nearest known value where there is none."""
    values = np.array([[np.nan if v is None else v for v in line] for line in stops], dtype=float)
    unknown = np.isnan(values)
    nearest = distance_transform_edt(unknown, return_distances=False, return_indices=True)
    return values[tuple(nearest)]


def _cast(falloff: Falloff, colour: str, size: tuple[int, int]) -> NDArray[np.float64]:
    """The smooth cast whose means over the zones are nearest to the measured ones."""
    figures = [(row.zone, row.red_percent if colour == "red" else row.blue_percent) for row in falloff.cast]
    known = [(zone, figure) for zone, figure in figures if figure is not None]
    x, y = np.meshgrid(*(np.linspace(0, length - 1, n) for length, n in zip(size, _CAST_CELLS, strict=True)))
    terms, zones = cast_terms(x, y, size), zone_index(x, y, size)
    middle = terms[:, zones == 0].mean(axis=1)
    if len(known) <= len(terms):
        return np.zeros(len(terms))
    means = np.array([terms[:, zones == ZONES.index(zone)].mean(axis=1) - middle for zone, _ in known])
    stops = np.array([-np.log2(1 + figure.value / 100) for _, figure in known])
    trust = np.array([1 / (figure.half_width + 0.1) for _, figure in known])
    return np.linalg.lstsq(means * trust[:, None], stops * trust, rcond=None)[0]


# -- dirt -----------------------------------------------------------------------------------------------------


def shadows_of(report: Report, chosen: Sequence[Weighted]) -> list[Shadow]:
    """The shadows of marks that lie on the sensor; none between settings, since they change with the aperture."""
    dust = report.settings[chosen[0].number].dust if len(chosen) == 1 else None
    marks = dust.marks if dust is not None else []
    return [_shadow(mark) for mark in marks if _can_go(mark)]


def shows_dirt(report: Report) -> bool:
    """Whether any flat shows a mark."""
    return any(setting.dust is not None and bool(setting.dust.marks) for setting in report.settings)


def marks_left(report: Report, chosen: Sequence[Weighted]) -> list[Mark]:
    """The marks of a setting whose shadows stay."""
    dust = report.settings[chosen[0].number].dust
    return [mark for mark in dust.marks if not _can_go(mark)] if dust is not None else []


def _can_go(mark: Mark) -> bool:
    return mark.lies_on == ON_SENSOR and 0 < mark.depth_percent.value < DEEPEST


def _shadow(mark: Mark) -> Shadow:
    depth = mark.depth_percent.value / 100
    if mark.kind == "fibre" and mark.path:
        return Shadow(np.array(mark.path, dtype=float), mark.width_px.value, depth)
    # Which way a longish mark lies is not known: the circle of its area.
    across = float(np.sqrt(mark.width_px.value * mark.length_px.value))
    return Shadow(np.array([(mark.x, mark.y)]), across, depth)


# -- lateral colour and distortion ----------------------------------------------------------------------------


def fringing_of(report: Report, chosen: Sequence[Weighted]) -> dict[str, list[ColourField]]:
    """The weighted fields of lateral colour, by colour."""
    fields: dict[str, list[ColourField]] = {}
    for w in chosen:
        fringing: Fringing | None = report.settings[w.number].fringing
        for field in fringing.fields if fringing is not None else []:
            fields.setdefault(field.channel, []).append(
                ColourField(
                    about=field.about_px,
                    shift=np.array([f.value for f in field.shift_px]),
                    radial=np.array([f.value for f in field.radial_px]),
                    decentring=np.array([f.value for f in field.decentring_px]),
                    weight=w.weight,
                )
            )
    return fields


def distortion_of(report: Report, chosen: Sequence[Weighted]) -> RadialDistortion:
    """The weighted distortion of some settings: their centres differ by little, so its terms are averaged."""
    parts = [(_distortion(report, w), w.weight) for w in chosen]
    longest = max(len(d.terms) for d, _ in parts)
    padded = [weight * np.pad([f.value for f in d.terms], (0, longest - len(d.terms))) for d, weight in parts]
    about = np.sum([weight * np.array(d.about_px) for d, weight in parts], axis=0)
    return RadialDistortion((float(about[0]), float(about[1])), np.sum(padded, axis=0))


def _distortion(report: Report, chosen: Weighted) -> Distortion:
    geometry: Geometry | None = report.settings[chosen.number].geometry
    assert geometry is not None
    assert geometry.distortion is not None
    return geometry.distortion
