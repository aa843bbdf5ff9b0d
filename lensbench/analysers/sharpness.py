"""Sharpness by edge, place and zone from measured edges: exact directions, odd edges left out, curves, units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import FREQUENCY, EdgeResponses, unfollowed_contrast
from lensbench.findings import (
    Contrast,
    ContrastCurve,
    EdgeSharpness,
    Figure,
    Sharpness,
    TileSharpness,
    ZoneDifference,
    ZoneSharpness,
)
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEGS

CONFIDENCE = 1.96
"""Standard deviations in half of a 95 % interval."""

DIRECTIONS = ("sagittal", "tangential")

CONTRAST_CY_PX = (0.125, 0.25)
"""Frequencies at which zones state their contrast: a quarter and half of the Nyquist frequency ..."""

CONTRAST_LP_MM = (10.0, 30.0)
"""... and, where the pixels' size is known, the trade's coarse and fine structures."""

WORTH_REPORTING = 0.1
"""Relative standard deviation above which a figure says too little to enter a zone."""


class ShotEdges(NamedTuple):
    """The measured edges of one shot: of the tiles found (edge 3 i + k is leg k of tile i), or free blades."""

    shot: str
    responses: dict[str, EdgeResponses]
    found: FoundTiles | None = None


@dataclass(frozen=True, eq=False)
class _Table:
    """Edges of one channel over all shots, a row each; `place` numbers each one's tile (or group of blades)."""

    shot: NDArray
    column: NDArray
    row: NDArray
    leg: NDArray
    place: NDArray
    x: NDArray
    y: NDArray
    normal: NDArray
    angle_deg: NDArray
    direction: NDArray
    mtf50: NDArray
    sigma: NDArray
    mtf: NDArray
    mtf_sigma: NDArray
    rise_px: NDArray
    overshoot: NDArray
    contrast_to_noise: NDArray
    why: NDArray


@dataclass(frozen=True, eq=False)
class _Places:
    """Tiles (or groups of blades) of one channel: MTF50 and curves along both directions; NaN where unknown."""

    x: NDArray
    y: NDArray
    first_edge: NDArray
    mtf50: NDArray
    sigma: NDArray
    curve: NDArray
    curve_sigma: NDArray


def measure_sharpness(
    shots: Sequence[ShotEdges], size: tuple[int, int], pixel_pitch_um: float | None = None
) -> Sharpness:
    """Sharpness of one setting from the measured edges of its shots.

    Every tile's edges give the ellipse of its blur, 1 / MTF50² along a normal n being n·S·n, and so the exact
    sagittal and tangential figures of the place. A zone's figure is the mean over its places; its interval is the
    shots' noise alone. Edges far off their neighbours are left out and say so.

    Parameters
    ----------
    shots : sequence of ShotEdges
        One or more shots taken alike.
    size : (int, int)
        Width and height of the frame in pixels.
    pixel_pitch_um : float, optional
        Distance of the pixels on the sensor; gives the figures in lp/mm.

    Returns
    -------
    Sharpness
    """
    channels = list(dict.fromkeys(channel for part in shots for channel in part.responses))
    result = Sharpness([], [], [], [], [])
    means: dict[tuple[str, str], tuple[float, float]] = {}
    for channel in channels:
        table = _with_odd_ones_named(_table(shots, channel, size))
        places = _places(table, size)
        result.edges.extend(_edge_rows(table, channel, size))
        result.tiles.extend(_tile_rows(table, places, channel, size))
        zone = frame.zone_index(places.x, places.y, size)
        for k, name in enumerate(frame.ZONES):
            _add_zone(result, means, places, zone == k, name, channel, size, pixel_pitch_um)
    result.colours.extend(_colour_differences(means, channels))
    return result


# -- tables ---------------------------------------------------------------------------------------------------


def _table(shots: Sequence[ShotEdges], channel: str, size: tuple[int, int]) -> _Table:
    parts, begin = [], 0
    for part in shots:
        if channel not in part.responses:
            continue
        r = part.responses[channel]
        n = len(r)
        if part.found is None:
            column, row, place, leg = np.arange(n), np.zeros(n, int), np.arange(n), np.full(n, "blade")
        else:
            column, row = np.repeat(part.found.column, 3), np.repeat(part.found.row, 3)
            place, leg = np.repeat(np.arange(n // 3), 3), np.tile(np.array(LEGS), n // 3)
        direction = frame.edge_direction(r.x, r.y, r.angle_deg, size)
        parts.append(
            _Table(
                np.full(n, part.shot),
                column,
                row,
                leg,
                place + begin,
                r.x,
                r.y,
                r.normal,
                r.angle_deg,
                direction,
                r.mtf50,
                r.mtf50_sigma,
                r.mtf,
                r.mtf_sigma,
                r.rise_px,
                r.overshoot,
                r.contrast_to_noise,
                r.why.astype("<U96"),
            )
        )
        begin = begin + int(place.max(initial=-1)) + 1
    names = _Table.__dataclass_fields__
    table = _Table(**{name: np.concatenate([getattr(p, name) for p in parts]) for name in names})
    return _with_blades_together(table, size)


BLADES_TOGETHER = 0.3
"""Free edges within a square of so many half-diagonals count as of one place, whichever shots they are from."""


def _with_blades_together(table: _Table, size: tuple[int, int]) -> _Table:
    """The table with free edges that lie near each other in one place: each tells what others leave."""
    free = np.flatnonzero(table.leg == "blade")
    if not len(free):
        return table
    side = BLADES_TOGETHER * frame.half_diagonal(size)
    x, y = table.x[free], table.y[free]
    zone = frame.zone_index(x, y, size)
    key = np.stack([zone, *(np.floor(a / side).astype(int) * (zone > 0) for a in (x, y))])
    place = table.place.copy()
    place[free] = place.max(initial=0) + 1 + np.unique(key, axis=1, return_inverse=True)[1].ravel()
    return replace(table, place=place)


def _with_odd_ones_named(table: _Table) -> _Table:
    """The table with a reason beside edges that are far off the like edges around them (a scratch, a hair)."""
    why = table.why.copy()
    for leg in np.unique(table.leg):
        if leg == "blade":
            continue
        here = np.flatnonzero((why == "") & (table.leg == leg))
        off, limit = _off_neighbours(table, here)
        odd = np.abs(off) > limit
        sharper = np.where(off[odd] > 0, "sharper", "softer")
        percent = np.abs(np.expm1(off[odd])) * 100
        why[here[odd]] = [f"{p:.0f} % {s} than the edges around it" for p, s in zip(percent, sharper, strict=True)]
    return replace(table, why=why)


NEIGHBOURS = 8
"""Like edges around each that it is held against."""

ODD = 5.0
"""An edge is odd when farther off its neighbours than so many times their common spread ..."""

ODD_AT_LEAST = 0.08
"""... and by more than this share."""


def _off_neighbours(table: _Table, here: NDArray) -> tuple[NDArray, NDArray]:
    """How far ln MTF50 lies off a plane's robust fit to the nearest like edges, and how far it may."""
    if len(here) < NEIGHBOURS + 1:
        return np.zeros(len(here)), np.full(len(here), np.inf)
    x, y, value = table.x[here], table.y[here], np.log(table.mtf50[here])
    away = np.hypot(x[:, None] - x, y[:, None] - y)
    near = np.argsort(away, axis=1)[:, 1 : NEIGHBOURS + 1]
    scale = away[np.arange(len(here))[:, None], near].max(axis=1)
    lever = np.stack(
        [np.ones(near.shape), (x[near] - x[:, None]) / scale[:, None], (y[near] - y[:, None]) / scale[:, None]],
        axis=2,
    )
    weight = np.ones(near.shape)
    for _ in range(4):
        matrix = np.einsum("nk,nki,nkj->nij", weight, lever, lever) + 0.02 * np.diag([0.0, 1.0, 1.0])
        right = np.einsum("nk,nki,nk->ni", weight, lever, value[near])
        plane = np.linalg.solve(matrix, right[..., None])[..., 0]
        rest = np.abs(np.einsum("nki,ni->nk", lever, plane) - value[near])
        weight = 1 / (1 + (rest / (np.median(rest, axis=1, keepdims=True) * 2 + 1e-4)) ** 2)
    off = value - plane[:, 0]
    spread = 1.4826 * np.median(np.abs(off))
    relative = table.sigma[here] / table.mtf50[here]
    return off, np.maximum(ODD * np.hypot(spread, relative), ODD_AT_LEAST)


# -- places ---------------------------------------------------------------------------------------------------


def _places(table: _Table, size: tuple[int, int]) -> _Places:
    """Both directions' MTF50 and curves at every tile or group of blades, from its good edges."""
    number, first = np.unique(table.place, return_index=True)
    n = len(number)
    owner = np.searchsorted(number, table.place)
    x = np.bincount(owner, table.x, n) / np.bincount(owner, minlength=n)
    y = np.bincount(owner, table.y, n) / np.bincount(owner, minlength=n)
    outward, around = frame.radial_axes(x, y, size)
    ends = np.stack(
        [around, outward], axis=1
    )  # a sagittal edge's normal points around, a tangential one's outward
    axes = _axes_of_edges(table, owner, ends, size)
    mtf50, sigma = _ellipses(table, owner, axes, n)
    curve, curve_sigma = _curves_along(table, owner, axes, mtf50)
    return _Places(x, y, first, mtf50, sigma, curve, curve_sigma)


def _axes_of_edges(table: _Table, owner: NDArray, ends: NDArray, size: tuple[int, int]) -> NDArray:
    """The two axes to hold each edge's normal against: its tile's, or its own where free edges lie apart.

    In the centre the radius turns from edge to edge while the blur doesn't; there free edges share upright axes.
    """
    axes = ends[owner]
    free = table.leg == "blade"
    x, y = table.x[free], table.y[free]
    central = frame.zone_index(x, y, size) == 0
    cx, cy = frame.centre_of(size)
    outward, around = frame.radial_axes(np.where(central, cx, x), np.where(central, cy, y), size)
    axes[free] = np.stack([around, outward], axis=1)
    return axes


CROSS_TERM = 0.3
"""How far a lens's blur ellipse may be expected to lean off the radius where a tile's edges don't tell ..."""

OTHER_WAY = 1.0
"""... and how far 1 / MTF50² the other way from that of the edges measured, as shares of that."""


UNLIKE = 0.04
"""How far MTF50 of free edges near each other may differ for all that one ellipse can tell."""


def _ellipses(table: _Table, owner: NDArray, axes: NDArray, n: int) -> tuple[NDArray, NDArray]:
    """MTF50 along each of n places' two axes, with standard deviations, shape (n, 2)."""
    good = (table.why == "") & (table.sigma > 0)
    who, normal = owner[good], table.normal[good]
    a, b = (np.einsum("ec,ec->e", normal, axes[good, k]) for k in (0, 1))
    row = np.stack([a * a, b * b, 2 * a * b], axis=1)
    value = table.mtf50[good] ** -2
    noise = 2 * table.sigma[good] * table.mtf50[good] ** -3
    trust = 1 / np.maximum(noise, np.where(table.leg[good] == "blade", 2 * UNLIKE * value, 0)) ** 2
    mean = np.bincount(who, value, n) / np.maximum(np.bincount(who, minlength=n), 1)
    mean = np.where(mean > 0, mean, 1.0)[:, None]
    # Flat enough to leave three measured edges alone, firm enough that two legs can do without the third.
    prior = np.array([OTHER_WAY, OTHER_WAY, CROSS_TERM]) ** -2 / mean**2
    covariance = np.linalg.inv(_moments(who, row, trust, n) + prior[:, None] * np.eye(3))
    right = np.stack([np.bincount(who, row[:, i] * trust * value, n) for i in range(3)], axis=1)
    right = right + prior * mean * [1, 1, 0]
    form, blown_up = np.einsum("nij,nj->ni", covariance, right)[:, :2], _sigmas(covariance)
    shaken = _moments(who, row, (trust * noise) ** 2, n) + prior[:, None] * np.eye(3)
    known = (form > 0) & (blown_up < 2 * WORTH_REPORTING * np.abs(form))
    mtf50 = np.where(known, np.maximum(form, 1e-12) ** -0.5, np.nan)
    return mtf50, np.where(known, 0.5 * _sigmas(covariance @ shaken @ covariance) * mtf50**3, np.nan)


def _moments(who: NDArray, row: NDArray, weight: NDArray, n: int) -> NDArray:
    """Σ weight row row' of each of n places, shape (n, 3, 3)."""
    terms = [[np.bincount(who, weight * row[:, i] * row[:, j], n) for j in range(3)] for i in range(3)]
    return np.array(terms, dtype=float).transpose(2, 0, 1)


def _sigmas(covariance: NDArray) -> NDArray:
    """Standard deviations along both axes, shape (n, 2)."""
    return np.sqrt(covariance[:, [0, 1], [0, 1]])


NEAR_AXIS = np.cos(np.radians(25))


def _curves_along(table, owner, axes, mtf50):
    """The curve along each axis: that of the edge that faces it most nearly, stretched to the exact MTF50."""
    curve, sigma = np.full((2, len(mtf50), 2, len(FREQUENCY)), np.nan)
    facing = np.abs(np.einsum("ec,ekc->ek", table.normal, axes))
    facing[table.why != ""] = 0
    for k in (0, 1):
        order = np.lexsort((-facing[:, k], owner))
        best = order[np.unique(owner[order], return_index=True)[1]]
        for place in np.flatnonzero((facing[best, k] > NEAR_AXIS) & np.isfinite(mtf50[:, k])):
            e = best[place]
            stretched = FREQUENCY * table.mtf50[e] / mtf50[place, k]
            curve[place, k] = np.interp(stretched, FREQUENCY, table.mtf[e])
            sigma[place, k] = np.interp(stretched, FREQUENCY, table.mtf_sigma[e])
    return curve, sigma


# -- rows -----------------------------------------------------------------------------------------------------


def _figure(value: float, sigma: float, unit: str) -> Figure | None:
    return Figure.of(value, CONFIDENCE * sigma, unit) if np.isfinite(value) and np.isfinite(sigma) else None


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _edge_rows(table: _Table, channel: str, size: tuple[int, int]) -> list[EdgeSharpness]:
    h = frame.h_of(table.x, table.y, size)
    return [
        EdgeSharpness(
            column=int(table.column[i]),
            row=int(table.row[i]),
            leg=str(table.leg[i]),
            direction=str(table.direction[i]),
            channel=channel,
            x=float(table.x[i]),
            y=float(table.y[i]),
            h=float(h[i]),
            angle_deg=float(table.angle_deg[i]),
            mtf50=_figure(table.mtf50[i], table.sigma[i], "cy/px"),
            used=bool(table.why[i] == ""),
            why=str(table.why[i]),
            shot=str(table.shot[i]),
            rise_px=_number(table.rise_px[i]),
            overshoot_percent=_number(100 * table.overshoot[i]),
            contrast_to_noise=_number(table.contrast_to_noise[i]),
        )
        for i in range(len(table.x))
    ]


def _tile_rows(table: _Table, places: _Places, channel: str, size: tuple[int, int]) -> list[TileSharpness]:
    h = frame.h_of(places.x, places.y, size)
    rows = []
    for i, e in enumerate(places.first_edge):
        both = [_figure(places.mtf50[i, k], places.sigma[i, k], "cy/px") for k in (0, 1)]
        rows.append(
            TileSharpness(
                int(table.column[e]),
                int(table.row[e]),
                channel,
                float(places.x[i]),
                float(places.y[i]),
                float(h[i]),
                both[0],
                both[1],
                any(both),
                str(table.shot[e]),
            )
        )
    return rows


# -- zones ----------------------------------------------------------------------------------------------------


def _add_zone(result, means, places, inside, name, channel, size, pitch_um):
    """Append one zone's figures in one channel: both directions, their mean, and how they differ."""
    found = []
    for k, direction in enumerate(DIRECTIONS):
        chosen = inside & np.isfinite(places.mtf50[:, k])
        count = int(chosen.sum())
        if count == 0:
            continue
        value = float(places.mtf50[chosen, k].mean())
        sigma = float(np.sqrt((places.sigma[chosen, k] ** 2).sum()) / count)
        curve = _mean_curve(places, chosen, k)
        found.append((value, sigma, curve, count))
        result.zones.append(_zone_row(name, channel, direction, value, sigma, curve, count, size, pitch_um))
    if len(found) < 2:
        return
    (a, da, ca, na), (b, db, cb, nb) = found
    mean, spread = (a + b) / 2, np.hypot(da, db) / 2
    both = None if ca is None or cb is None else ((ca[0] + cb[0]) / 2, np.hypot(ca[1], cb[1]) / 2)
    result.zones.append(_zone_row(name, channel, "mean", mean, spread, both, na + nb, size, pitch_um))
    result.astigmatism.append(ZoneDifference(name, *DIRECTIONS, _difference(a, da, b, db), channel))
    means[name, channel] = mean, spread


def _mean_curve(places: _Places, chosen: NDArray, k: int) -> tuple[NDArray, NDArray] | None:
    known = chosen & np.isfinite(places.curve[:, k, 0])
    if not known.any():
        return None
    sigma = np.sqrt((places.curve_sigma[known, k] ** 2).sum(axis=0)) / known.sum()
    return places.curve[known, k].mean(axis=0), sigma


def _zone_row(name, channel, direction, value, sigma, curve, count, size, pitch_um) -> ZoneSharpness:
    figure = Figure.of(value, CONFIDENCE * sigma, "cy/px")
    row = ZoneSharpness(name, channel, direction, figure, None, count)
    row.mtf50_lw_ph = _scaled(figure, 2 * size[1], "lw/ph")
    if pitch_um:
        row.mtf50_lp_mm = _scaled(figure, 1000 / pitch_um, "lp/mm")
    if curve is not None:
        mtf, noise = curve
        spread = np.hypot(noise, unfollowed_contrast(FREQUENCY, value))
        row.curve = _curve_row(mtf, spread)
        row.contrast = _contrasts(mtf, spread, pitch_um)
    return row


def _scaled(figure: Figure, factor: float, unit: str) -> Figure:
    return Figure(figure.value * factor, figure.low * factor, figure.high * factor, unit)


def _curve_row(mtf: NDArray, sigma: NDArray) -> ContrastCurve:
    def plain(a):
        return [round(float(v), 5) for v in a]

    half = CONFIDENCE * sigma
    return ContrastCurve(plain(FREQUENCY), plain(mtf), plain(np.maximum(mtf - half, 0)), plain(mtf + half))


def _contrasts(mtf: NDArray, sigma: NDArray, pitch_um: float | None) -> list[Contrast]:
    wanted = [(f, "cy/px", f) for f in CONTRAST_CY_PX]
    if pitch_um:
        wanted += [(f, "lp/mm", f * pitch_um / 1000) for f in CONTRAST_LP_MM]
    return [
        Contrast(
            f, unit, Figure.of(np.interp(at, FREQUENCY, mtf), CONFIDENCE * np.interp(at, FREQUENCY, sigma), "")
        )
        for f, unit, at in wanted
        if at <= FREQUENCY[-1]
    ]


def _difference(a: float, da: float, b: float, db: float) -> Figure:
    """a over b, in percent of their mean."""
    mean = (a + b) / 2
    return Figure.of(100 * (a - b) / mean, CONFIDENCE * 100 * np.hypot(da * b, db * a) / mean**2, "%")


def _colour_differences(means, channels) -> list[ZoneDifference]:
    """Each colour against green (or the first channel there is), by zone."""
    reference = "green" if "green" in channels else next(iter(channels), "")
    rows = []
    for name in frame.ZONES:
        for channel in channels:
            if channel != reference and {(name, channel), (name, reference)} <= means.keys():
                percent = _difference(*means[name, channel], *means[name, reference])
                rows.append(ZoneDifference(name, channel, reference, percent))
    return rows
