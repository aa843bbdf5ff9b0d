"""Colour fringing: where red and blue land against green, over the frame, and how wide a band the eye sees."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.fringing._colour_field import (
    VAGUE_PX,
    ColourField,
    TileDisplacements,
    TileShifts,
    fit_colour_field,
    solve_tiles,
)
from lensbench.findings import (
    NORMAL_95,
    Displacement,
    Figure,
    Fringing,
    FringingField,
    Place,
    TileFringing,
    WorstFringing,
    ZoneFringing,
)
from lensbench.frame import ZONES, centre_of, h_of, half_diagonal, radial_axes, zone_index
from lensbench.optics import gaussian_mtf50
from lensbench.target.finder import FoundTiles

COLOURS = ("red", "blue")
"""The colours held against green."""

CENTRE_KNOWN = 0.05
"""A centre is given when its interval reaches no farther than this share of the half-diagonal."""

SLIVER = 6.0
"""An edge this many times less sure than the median edge is a sliver at the frame's border."""

SEEN = 0.1
"""Colours count as apart where their profiles, each from 0 to 1, differ by more than this."""


def measure_fringing(
    found: FoundTiles,
    responses: dict[str, EdgeResponses],
    size: tuple[int, int],
    pixel_pitch_um: float | None = None,
) -> Fringing:
    """Measure lateral colour at every tile, as a field, by zone, and in the worst corner.

    A colour's position is where an edge's profile crosses half way between its plateaus, and its displacement is
    what explains the positions of a tile's three edges against green's when all three may besides be offset
    alike. Blur that is lopsided (coma) moves the half crossing of its own accord, and more so where the colours'
    blur differs; this is part of the displacement, as it is of the fringe that the eye sees.

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
        return Fringing(
            notes=["The shot has no colours to hold against each other, so there is no fringing to see."]
        )
    fields, tiles, smooth, notes = {}, {}, {}, []
    for colour in colours:
        shifts = tile_shifts(found, responses["green"], responses[colour], size)
        field = fit_colour_field(shifts, size)
        tiles[colour] = solve_tiles(shifts, field)
        smooth[colour] = np.zeros_like(shifts.place) if field is None else field.at(shifts.place)
        if field is None:
            notes.append(f"Too few tiles show all three edges in {colour} for its field over the frame.")
        else:
            fields[colour] = _field_finding(colour, field, shifts)
    zones = _zones(tiles, smooth, size)
    return Fringing(
        tiles=_tiles(found, tiles, size),
        zones=zones,
        fields=list(fields.values()),
        worst=_worst(zones, _zone_blur(responses, size), pixel_pitch_um),
        notes=notes,
    )


def tile_shifts(
    found: FoundTiles, green: EdgeResponses, colour: EdgeResponses, size: tuple[int, int]
) -> TileShifts:
    """One colour's edges against green's, by tile."""
    usable = green.measured & colour.measured
    # Offsets are means over the used length; a bent edge used over less of its length would seem to move.
    half = np.stack([np.where(usable, response.length_px, 2.0) / 2 for response in (green, colour)])
    bend = np.where(usable, green.bend_px, 0.0) / half[0] ** 2
    shift = np.where(usable, colour.offset_px - green.offset_px, 0.0) - bend * (half[1] ** 2 - half[0] ** 2) / 3
    sigma = np.where(usable, np.hypot(colour.offset_sigma_px, green.offset_sigma_px), 1.0)
    usable &= _trusted(sigma, usable)
    # Of a tile that the border halves, the part seen speaks for the nearest place in the frame.
    place = np.clip(_incentres(found.corners_px, green), 0, np.asarray(size) - 1)
    along = found.corners_px[:, 1] - found.corners_px[:, 0]
    outward = found.corners_px.mean(axis=1) - centre_of(size)
    return TileShifts(
        place=place,
        points=_along_edges(green, usable),
        # The colour's own normal: strong fringing turns its edges a little against green's.
        normal=colour.normal.reshape(-1, 3, 2),
        shift=shift.reshape(-1, 3),
        sigma=sigma.reshape(-1, 3),
        usable=usable.reshape(-1, 3),
        half_turned=(along * outward).sum(axis=1) < 0,
    )


def _along_edges(green: EdgeResponses, usable: NDArray) -> NDArray:
    """Two places on each edge whose mean is the mean along it, for all that changes like a parabola (Gauss)."""
    middle, (across, down) = np.stack([green.x, green.y], axis=-1), green.normal.T
    half = np.where(usable, green.length_px, 0.0)[:, None] / 2
    step = half / np.sqrt(3) * np.stack([-down, across], axis=-1)
    return np.stack([middle - step, middle + step], axis=1).reshape(-1, 3, 2, 2)


def _trusted(sigma: NDArray, usable: NDArray) -> NDArray:
    """Edges not much less sure than the shot's others: of slivers at the border even the spread is vague."""
    if not usable.any():
        return usable
    return sigma <= min(VAGUE_PX, SLIVER * float(np.median(sigma[usable])))


def _incentres(corners: NDArray, green: EdgeResponses) -> NDArray:
    """Incentres of tiles, shape (tiles, 2): equally far from all three edges as green shows them.

    Corners are found to a pixel only, over which strong fringing changes; they serve where an edge is missing.
    """
    facing = np.linalg.norm(np.roll(corners, -1, axis=1) - np.roll(corners, 1, axis=1), axis=-1)
    incentres = np.einsum("tkc,tk->tc", corners, facing / facing.sum(axis=1, keepdims=True))
    whole = green.measured.reshape(-1, 3).all(axis=1)
    normal = green.normal.reshape(-1, 3, 2)[whole]
    middle = np.stack([green.x, green.y], axis=-1).reshape(-1, 3, 2)[whole]
    columns = np.concatenate([normal, np.ones((len(normal), 3, 1))], axis=2)
    incentres[whole] = np.linalg.solve(columns, (normal * middle).sum(axis=2)[..., None])[:, :2, 0]
    return incentres


# -- tiles, field and zones -----------------------------------------------------------------------------------


def _tiles(found: FoundTiles, tiles: dict[str, TileDisplacements], size: tuple[int, int]) -> list[TileFringing]:
    """The table of tiles; a tile where no colour could be measured is left out."""
    measured = np.any([part.measured for part in tiles.values()], axis=0)
    rows = []
    for i in np.flatnonzero(measured):
        place = next(part.place[i] for part in tiles.values() if part.measured[i])
        rows.append(
            TileFringing(
                column=int(found.column[i]),
                row=int(found.row[i]),
                x=float(place[0]),
                y=float(place[1]),
                h=float(h_of(*place, size)),
                red=_displacement(tiles.get("red"), i, size),
                blue=_displacement(tiles.get("blue"), i, size),
            )
        )
    return rows


def _displacement(part: TileDisplacements | None, tile: int, size: tuple[int, int]) -> Displacement | None:
    if part is None or not part.measured[tile]:
        return None
    outward, around = radial_axes(*part.place[tile], size)
    axes = np.stack([[1.0, 0.0], [0.0, 1.0], outward, around])
    values = axes @ part.shift[tile]
    spreads = np.sqrt(np.einsum("ai,ij,aj->a", axes, part.covariance[tile], axes))
    return Displacement(*(Figure.of(v, NORMAL_95 * s, "px") for v, s in zip(values, spreads, strict=True)))


def _field_finding(colour: str, field: ColourField, shifts: TileShifts) -> FringingField:
    """The field as figures."""
    unit = half_diagonal(field.size)
    reach = NORMAL_95 * unit * field.part("centre")[1]
    known = reach.max() <= CENTRE_KNOWN * unit
    x, y = (Figure.of(v, w, "px") for v, w in zip(field.centre, reach, strict=True))

    def figures(name: str) -> tuple[Figure, ...]:
        return tuple(Figure.of(v, NORMAL_95 * s, "px") for v, s in zip(*field.part(name), strict=True))

    edges = int(field.fits.sum())
    return FringingField(
        channel=colour,
        centre_px=Place(x, y) if known else None,
        about_px=(float(field.centre[0]), float(field.centre[1])),
        shift_px=figures("shift"),
        radial_px=figures("radial"),
        decentring_px=figures("decentring"),
        residual_px=Figure.of(field.residual_px, NORMAL_95 * field.residual_px / np.sqrt(2 * edges), "px"),
        tiles=int(field.fits.any(axis=1).sum()),
        left_out=int((shifts.usable & ~field.fits).any(axis=1).sum()),
    )


def _zones(
    tiles: dict[str, TileDisplacements], smooth: dict[str, NDArray], size: tuple[int, int]
) -> list[ZoneFringing]:
    """Means of the tiles in each zone, without tiles far off the smooth course."""
    rows = []
    for colour, part in tiles.items():
        outward, around = radial_axes(part.place[:, 0], part.place[:, 1], size)
        axes = np.stack([outward, around], axis=1)
        values, course = (np.einsum("tai,ti->ta", axes, shift) for shift in (part.shift, smooth[colour]))
        variance = np.einsum("tai,tij,taj->ta", axes, part.covariance, axes)
        zone = zone_index(part.place[:, 0], part.place[:, 1], size)
        for k, name in enumerate(ZONES):
            inside = part.measured & (zone == k)
            if inside.any():
                figures = (_mean(*(array[inside, a] for array in (values, course, variance))) for a in (0, 1))
                rows.append(ZoneFringing(name, colour, *figures))
    return rows


def _mean(values: NDArray, course: NDArray, variance: NDArray) -> Figure:
    """The mean of values, those left out that lie far off their course, with the interval of their noise."""
    off = values - course
    off = np.abs(off - np.median(off))
    keep = off <= 5 * np.maximum(1.4826 * np.median(off), np.sqrt(variance))
    # Much like a plain mean, so that it stands for the zone's middle; vague tiles count for less.
    weight = 1 / (variance[keep] + np.median(variance[keep]))
    weight /= weight.sum()
    return Figure.of(weight @ values[keep], NORMAL_95 * np.sqrt(weight**2 @ variance[keep]), "px")


# -- what the eye sees ----------------------------------------------------------------------------------------


def _zone_blur(responses: dict[str, EdgeResponses], size: tuple[int, int]) -> dict[tuple[str, str], tuple]:
    """Blur of each colour in each zone, as the Gaussian of the same MTF50: its deviation in px, and its spread."""
    blur = {}
    for colour in ("green", *COLOURS):
        if colour not in responses:
            continue
        response = responses[colour]
        zone = zone_index(response.x, response.y, size)
        for k, name in enumerate(ZONES):
            inside = response.measured & (zone == k)
            if inside.sum() >= 2:
                mtf50 = float(np.median(response.mtf50[inside]))
                # The median of n values spreads by 1.25 / √n of theirs.
                relative = 1.25 * float(np.median(response.mtf50_sigma[inside])) / mtf50 / np.sqrt(inside.sum())
                sigma = float(gaussian_mtf50(mtf50))
                blur[name, colour] = sigma, relative * sigma
    return blur


def _worst(
    zones: list[ZoneFringing], blur: dict[tuple[str, str], tuple], pixel_pitch_um: float | None
) -> WorstFringing | None:
    """The corner zone where two colours lie farthest apart."""
    zero = Figure(0.0, 0.0, 0.0, "px")
    corners = {}
    for row in zones:
        if row.zone.startswith("corner"):
            corners.setdefault(row.zone, {"green": (zero, zero)})[row.channel] = row.radial_px, row.around_px
    pairs = [
        (_apart(places[a], places[b]), zone, (a, b))
        for zone, places in corners.items()
        for a, b in combinations(places, 2)
    ]
    if not pairs:
        return None
    apart, zone, colours = max(pairs, key=lambda pair: pair[0].value)
    width = _fringe_width(corners[zone], colours, {c: blur.get((zone, c)) for c in corners[zone]})
    microns = width.scaled(pixel_pitch_um, "µm") if width is not None and pixel_pitch_um is not None else None
    return WorstFringing(zone, colours, apart, width, microns)


def _apart(a: tuple[Figure, Figure], b: tuple[Figure, Figure]) -> Figure:
    """Distance of two colours from their radial and around parts."""
    way = np.array([p.value - q.value for p, q in zip(a, b, strict=True)])
    half = np.array([np.hypot(p.half_width, q.half_width) for p, q in zip(a, b, strict=True)])
    length = float(np.hypot(*way))
    unit = way / length if length > 0 else np.array([1.0, 0.0])
    reach = float(np.hypot(*(unit * half)))
    return Figure(length, max(length - reach, 0.0), length + reach, "px")


def _fringe_width(
    places: dict[str, tuple[Figure, Figure]], farthest: tuple[str, str], blur: dict[str, tuple | None]
) -> Figure | None:
    """Width of the coloured band on an edge square to the line between the two colours farthest apart."""
    if any(value is None for value in blur.values()):
        return None
    way = np.array([p.value - q.value for p, q in zip(places[farthest[0]], places[farthest[1]], strict=True)])
    unit = way / max(float(np.hypot(*way)), 1e-12)
    colours = list(places)
    place = np.array([unit @ [part.value for part in places[c]] for c in colours])
    doubt = np.array([np.hypot(*(unit * [part.half_width for part in places[c]])) for c in colours]) / NORMAL_95
    deviation, deviation_doubt = np.array([blur[c] for c in colours]).T
    values, doubts = np.concatenate([place, deviation]), np.concatenate([doubt, deviation_doubt])
    effects = []
    for i, step in enumerate(doubts):
        moved = np.zeros_like(values)
        moved[i] = step
        effects.append((_band(values + moved) - _band(values - moved)) / 2)
    width = _band(values)
    reach = NORMAL_95 * float(np.hypot.reduce(effects))
    return Figure(width, max(width - reach, 0.0), width + reach, "px")


def _band(values: NDArray) -> float:
    """Length over which the lightest and the darkest profile differ by more than `SEEN`."""
    place, deviation = np.split(values, 2)
    reach = np.abs(place).max() + 5 * deviation.max()
    along, step = np.linspace(-reach, reach, 4001, retstep=True)
    profiles = ndtr((along - place[:, None]) / deviation[:, None])
    over = np.ptp(profiles, axis=0) - SEEN
    # Cells that the threshold cuts through count by the part of them that lies over it.
    ahead, behind = over[1:], over[:-1]
    share = np.clip(np.maximum(ahead, behind) / np.maximum(np.abs(ahead - behind), 1e-300), 0, 1)
    return float(step * share.sum())
