"""Lateral colour of one shot: red's and blue's displacement against green, by tile, as a field, by zone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.fringing._colour_field import DECENTRING, RADIAL, SHIFT, ColourField
from lensbench.analysers.fringing._field_fit import fit_colour_fields
from lensbench.analysers.fringing._fringe_width import worst_corner, zone_blurs
from lensbench.analysers.fringing._tile_displacements import TileDisplacements, solve_tiles
from lensbench.analysers.fringing._tile_shifts import TileShifts
from lensbench.analysers.numerics.area_means import area_means
from lensbench.findings import (
    NORMAL_95,
    Displacement,
    Figure,
    Fringing,
    FringingField,
    Position,
    TileFringing,
    ZoneFringing,
)
from lensbench.frame import ZONES, h_of, half_diagonal, radial_axes, zone_index, zone_points
from lensbench.robust import robust_sigma
from lensbench.target.finder import FoundTiles

COLOURS = ("red", "blue")
"""The colours compared with green."""

OUTLIER = 5.0
"""Tiles whose displacement deviates from the smooth field by more standard deviations are rejected from a zone
(common practice)."""


def measure_fringing(
    found: FoundTiles,
    responses: dict[str, EdgeResponses],
    size: tuple[int, int],
    pixel_pitch_um: float | None = None,
) -> Fringing:
    """Measure lateral colour at every tile, as a field, by zone, and in the worst corner.

    A colour's position is where an edge's profile crosses half way between its plateaus, and its displacement is
    the one that explains the positions of a tile's three edges against green's when all three may have a common
    offset besides. Asymmetric blur (coma) moves the half crossing by itself, and more so where the colours' blur
    differs; this is part of the displacement, as it is of the fringe that the eye sees.

    Parameters
    ----------
    found : FoundTiles
        The tiles of the shot.
    responses : dict of EdgeResponses by channel
        Their edges, 3 i + k for leg k of tile i; ``green`` and at least one of ``red`` and ``blue``.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        For the width of the worst fringe in micrometres.

    Returns
    -------
    Fringing
        Empty, with a note, for shots without colours.
    """
    colours = [colour for colour in COLOURS if colour in responses and "green" in responses]
    if not colours:
        return Fringing(notes=["The shot has no colours to compare, so there is no fringing to measure."])
    shifts = {
        colour: TileShifts.measured(found, responses["green"], responses[colour], size) for colour in colours
    }
    fitted = fit_colour_fields(shifts, size)
    tiles = {colour: solve_tiles(part, fitted.get(colour)) for colour, part in shifts.items()}
    smooth = {
        colour: fitted[colour].at(part.position) if colour in fitted else np.zeros_like(part.position)
        for colour, part in shifts.items()
    }
    zones = _zones(tiles, smooth, size)
    blurs = zone_blurs({name: responses[name] for name in ("green", *colours)}, size)
    return Fringing(
        tiles=_tiles(found, tiles, size),
        zones=zones,
        fields=[_field_finding(colour, field, shifts[colour]) for colour, field in fitted.items()],
        worst=worst_corner(zones, blurs, pixel_pitch_um),
        notes=[
            f"Too few tiles show all three edges in {colour} for its field over the frame."
            for colour in colours
            if colour not in fitted
        ],
    )


# -- tiles ----------------------------------------------------------------------------------------------------


def _tiles(found: FoundTiles, tiles: Mapping[str, TileDisplacements], size: tuple[int, int]) -> list[TileFringing]:
    """The table of tiles, without those where no colour could be measured."""
    rows = []
    for i in range(len(found.column)):
        positions = [part.position[i] for part in tiles.values() if part.measured[i]]
        if positions:
            x, y = positions[0]
            rows.append(
                TileFringing(
                    column=int(found.column[i]),
                    row=int(found.row[i]),
                    x=float(x),
                    y=float(y),
                    h=float(h_of(x, y, size)),
                    red=_displacement(tiles.get("red"), i, size),
                    blue=_displacement(tiles.get("blue"), i, size),
                )
            )
    return rows


def _displacement(part: TileDisplacements | None, tile: int, size: tuple[int, int]) -> Displacement | None:
    if part is None or not part.measured[tile]:
        return None
    x, y = part.position[tile]
    outward, around = radial_axes(x, y, size)
    axes = np.stack([[1.0, 0.0], [0.0, 1.0], outward, around])
    values = axes @ part.shift[tile]
    sigmas = np.sqrt(np.einsum("ai,ij,aj->a", axes, part.covariance[tile], axes))
    return Displacement(*(Figure.of(v, NORMAL_95 * s, "px") for v, s in zip(values, sigmas, strict=True)))


# -- field ----------------------------------------------------------------------------------------------------


def _field_finding(colour: str, field: ColourField, shifts: TileShifts) -> FringingField:
    """The field as figures."""
    unit = half_diagonal(field.size)
    half = NORMAL_95 * field.centre_sigma
    x, y = (Figure.of(v, w, "px") for v, w in zip(field.centre, half, strict=True))

    def figures(part: slice) -> list[Figure]:
        return [Figure.of(v, NORMAL_95 * s, "px") for v, s in zip(*field.part(part), strict=True)]

    shift_x, shift_y = figures(SHIFT)
    decentring_x, decentring_y = figures(DECENTRING)
    first, second, third = figures(RADIAL)
    edges = int(field.fitted.sum())
    return FringingField(
        channel=colour,
        centre_px=Position.if_known(x, y, unit),
        about_px=(float(field.about[0]), float(field.about[1])),
        shift_px=(shift_x, shift_y),
        radial_px=(first, second, third),
        decentring_px=(decentring_x, decentring_y),
        residual_px=Figure.of(field.residual_px, NORMAL_95 * field.residual_px / np.sqrt(2 * edges), "px"),
        tiles=int(field.fitted.any(axis=1).sum()),
        rejected=int((shifts.usable & ~field.fitted).any(axis=1).sum()),
    )


# -- zones ----------------------------------------------------------------------------------------------------


def _zones(
    tiles: Mapping[str, TileDisplacements], smooth: Mapping[str, NDArray], size: tuple[int, int]
) -> list[ZoneFringing]:
    """Means over the area of each zone with tiles; `smooth` is the field at each tile, (tiles, 2), by colour."""
    rows = []
    for colour, part in tiles.items():
        outward, around = radial_axes(part.position[:, 0], part.position[:, 1], size)
        axes = np.stack([outward, around], axis=1)
        values, expected = (np.einsum("tai,ti->ta", axes, shift) for shift in (part.shift, smooth[colour]))
        variance = np.einsum("tai,tij,taj->ta", axes, part.covariance, axes)
        figures = [_zone_figures(part, values[:, a], expected[:, a], variance[:, a], size) for a in (0, 1)]
        rows += [
            ZoneFringing(name, colour, radial, around)
            for name, radial, around in zip(ZONES, *figures, strict=True)
            if radial is not None and around is not None
        ]
    return rows


def _zone_figures(
    part: TileDisplacements, values: NDArray, expected: NDArray, variance: NDArray, size: tuple[int, int]
) -> list[Figure | None]:
    """Means over the area of each zone of values without outliers from what is expected; None: no tiles there."""
    zone = zone_index(part.position[:, 0], part.position[:, 1], size)
    kept = np.zeros(len(values), bool)
    for k in range(len(ZONES)):
        inside = np.flatnonzero(part.measured & (zone == k))
        if len(inside):
            residual = values[inside] - expected[inside]
            deviation = np.abs(residual - np.median(residual))
            limit = OUTLIER * np.maximum(robust_sigma(residual), np.sqrt(variance[inside]))
            kept[inside[deviation <= limit]] = True
    means = area_means(part.position[kept], values[kept], np.diag(variance[kept]), zone_points(size))
    figures: list[Figure | None] = []
    for k in range(len(ZONES)):
        inside = np.flatnonzero(kept & (zone == k))
        if not len(inside):
            figures.append(None)
        elif means is None or not np.isfinite(means.mean[k]):
            figures.append(_mean(values[inside], variance[inside]))
        else:
            figures.append(Figure.of(means.mean[k], NORMAL_95 * means.sigma[k], "px"))
    return figures


def _mean(values: NDArray, variance: NDArray) -> Figure:
    """The mean of a few values, with the interval of their noise and scatter."""
    n = len(values)
    scatter = max(float(np.var(values, ddof=1) - variance.mean()), 0.0) if n > 1 else 0.0
    sigma = np.hypot(np.sqrt(variance.sum()) / n, np.sqrt(scatter / n))
    return Figure.of(values.mean(), NORMAL_95 * sigma, "px")
