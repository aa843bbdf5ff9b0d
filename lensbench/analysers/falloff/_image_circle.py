"""Hard edges: where a barrel, a ring or a hood ends the light abruptly, told from falloff that is merely steep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, median_filter
from scipy.optimize import least_squares

from lensbench.findings import NORMAL_95, CutCorner, Figure, ImageCircle, Position
from lensbench.frame import ZONES, centre_of, half_diagonal, zone_index

STEEP = 14.0
"""Stops for one half-diagonal from which the light ends abruptly; cos⁴ reaches 4 in the corner of a 120° lens."""

LEAST_DROP = 1.0
"""Stops that the light must lose on the way for it to count as ended."""

RAYS = 360
"""Directions in which the edge is looked for."""

LEAST_RAYS = 4
"""Directions that must meet the edge: fewer are a mark in the corner."""

CORNERS = [zone for zone in ZONES if zone.startswith("corner")]

LEAST_CUT, RAYS_DOUBT = 0.5, 4.0
"""Percent of a corner that must be cut for it to be named, and by how much that may be off without a circle."""

WIDTH_DOUBT = 0.02
"""Part of an edge's width by which half of the light may be placed wrong, since light falls off before it too."""

SURE = 0.03
"""Half of the interval of a circle's radius, over the radius, up to which it tells where the edge goes on."""

FINE = 400
"""Places each way at which it is looked what is cut."""

LEAST_SPAN_DEG = 25.0
"""How much of the circle must be seen for its radius and centre to be told."""


@dataclass(frozen=True, eq=False)
class FoundEdge:
    """A hard edge.

    Attributes
    ----------
    beyond : ndarray of bool, shape (y, x)
        Blocks on the edge or beyond it.
    finding : ImageCircle or None
        None where there is no hard edge.
    """

    beyond: NDArray[np.bool_]
    finding: ImageCircle | None


def find_hard_edge(
    size: tuple[int, int], x: NDArray, y: NDArray, stops: NDArray, seen: NDArray, pixel_pitch_um: float | None
) -> FoundEdge:
    """Look outward from the middle for where the light ends.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops : ndarray, shape (y, x)
        How dark each block is, positive is darker.
    seen : ndarray of bool, shape (y, x)
        Blocks that are no clipped ones; too dark to be read counts as seen.
    pixel_pitch_um : float or None
        For figures in millimetres.
    """
    rays = _rays(size, x, y, median_filter(np.where(seen, stops, 0.0), 3))
    met = [(angle, *edge) for angle, r, s in rays if (edge := _edge_on(r, s, half_diagonal(size)))]
    nothing = FoundEdge(np.zeros(stops.shape, bool), None)
    if len(met) < LEAST_RAYS:
        return nothing
    angle, start, radius, width = np.array(met).T
    block = float(np.diff(x[:2]).item())
    beyond = _beyond(size, x, y, angle, start - block)
    middle = centre_of(size)
    places = np.stack([middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)], axis=1)
    circle = (
        _circle(places, WIDTH_DOUBT * np.median(width), pixel_pitch_um)
        if _span_deg(angle) >= LEAST_SPAN_DEG
        else (None, None, None)
    )
    sure = circle[0] is not None and circle[1].half_width < SURE * circle[1].value
    if sure:
        # Where the edge only grazes the frame no ray meets enough of it to tell.
        across, down = x - circle[0].x.value, y - circle[0].y.value
        within = circle[1].value - np.percentile(radius - start, 90) - block
        beyond |= np.hypot(across[None, :], down[:, None]) > within
    spread = NORMAL_95 * 1.4826 * float(np.median(np.abs(width - np.median(width)))) / np.sqrt(len(width))
    finding = ImageCircle(
        corners=_corners(size, *circle[:2]) if sure else _corners_by_rays(size, angle, radius),
        # A block's own width smears the edge.
        width_px=Figure.of(np.sqrt(max(np.median(width) ** 2 - block**2, 0)), np.hypot(spread, block), "px"),
        centre_px=circle[0],
        radius_px=circle[1],
        radius_mm=circle[2],
    )
    return FoundEdge(beyond, finding)


def _rays(size: tuple[int, int], x: NDArray, y: NDArray, stops: NDArray) -> list[tuple[float, NDArray, NDArray]]:
    """Stops along rays from the middle to the border: angle, distances in pixels and stops."""
    middle, pitch = centre_of(size), float(np.diff(x[:2]).item())
    found = []
    for angle in np.arange(RAYS) * 2 * np.pi / RAYS:
        cos, sin = np.cos(angle), np.sin(angle)
        longest = min(size[0] / 2 / max(abs(cos), 1e-9), size[1] / 2 / max(abs(sin), 1e-9))
        r = np.arange(0, longest, pitch / 2)
        columns = np.interp(middle[0] + r * cos, x, np.arange(len(x)))
        rows = np.interp(middle[1] + r * sin, y, np.arange(len(y)))
        light = map_coordinates(2.0**-stops, [rows, columns], order=1, mode="nearest")
        found.append((float(angle), r, -np.log2(light)))
    return found


def _edge_on(r: NDArray, stops: NDArray, half: float) -> tuple[float, float, float] | None:
    """Where on a ray the steep part begins, where the light has fallen to half, and from nine tenths to one."""
    if len(r) < 8:
        return None
    slope = np.gradient(stops, r / half)
    steep = np.flatnonzero(slope > STEEP)
    if not len(steep):
        return None
    first = int(steep[0])
    while first > 0 and slope[first - 1] > STEEP / 3:
        first -= 1
    inside = stops[first]
    if stops[first:].max() - inside < LEAST_DROP or stops[-1] - inside < LEAST_DROP / 2:
        return None
    light = 2.0 ** -(stops[first:] - inside)
    tenths = [float(np.interp(-level, -np.minimum.accumulate(light), r[first:])) for level in (0.9, 0.5, 0.1)]
    return float(r[first]), tenths[1], tenths[2] - tenths[0]


def _beyond(size: tuple[int, int], x: NDArray, y: NDArray, angle: NDArray, start: NDArray) -> NDArray[np.bool_]:
    """Blocks farther out than the edge in their own direction."""
    middle = centre_of(size)
    down, across = np.meshgrid(y - middle[1], x - middle[0], indexing="ij")
    limit = np.full(RAYS, np.inf)
    limit[np.round(angle * RAYS / (2 * np.pi)).astype(int) % RAYS] = start
    # A ray or two that miss the edge between others that meet it see a gap of the grid's.
    near = np.stack([np.roll(limit, step) for step in (-1, 0, 1)])
    limit = near.min(axis=0)
    own = np.round(np.arctan2(down, across) * RAYS / (2 * np.pi)).astype(int) % RAYS
    return np.hypot(across, down) > limit[own]


def _span_deg(angle: NDArray) -> float:
    """How much of the circle the edge is seen over: the whole less the widest gap."""
    gaps = np.diff(np.append(np.sort(angle), np.min(angle) + 2 * np.pi))
    return 360 - float(np.degrees(gaps.max()))


def _circle(
    places: NDArray, doubt: float, pixel_pitch_um: float | None
) -> tuple[Position | None, Figure | None, Figure | None]:
    """The circle through places of an edge, all of which may be off alike, by least squares of their distances."""
    start = [*places.mean(axis=0), np.hypot(*(places - places.mean(axis=0)).T).mean()]
    fit = least_squares(lambda c: np.hypot(*(places - c[:2]).T) - c[2], start, loss="soft_l1", f_scale=2.0)
    # Neighbouring directions share their blocks.
    variance = max(np.mean(fit.fun**2), 0.01) * 4
    sigma = np.sqrt(np.diag(np.linalg.pinv(fit.jac.T @ fit.jac)) * variance)
    centre, radius = fit.x[:2], fit.x[2]
    if sigma[2] > 0.1 * radius:
        return None, None, None
    at = Position(*(Figure.of(c, NORMAL_95 * s, "px") for c, s in zip(centre, sigma[:2], strict=True)))
    pitch = (pixel_pitch_um or 0) / 1000
    half = float(np.hypot(NORMAL_95 * sigma[2], doubt))
    figure = Figure.of(radius, half, "px")
    return at, figure, Figure.of(radius * pitch, half * pitch, "mm") if pitch else None


def _corners(size: tuple[int, int], centre: Position, radius: Figure) -> list[CutCorner]:
    """How much of each corner zone lies beyond the circle where half of the light is left."""
    x, y = _fine(size)
    away = np.hypot(x[None, :] - centre.x.value, y[:, None] - centre.y.value)
    ends = [_shares(size, away > r) for r in (radius.value, radius.high, radius.low)]
    return [
        CutCorner(zone, Figure(*cut, "%"))
        for zone, cut in zip(CORNERS, zip(*ends, strict=True), strict=True)
        if cut[0] > LEAST_CUT
    ]


def _corners_by_rays(size: tuple[int, int], angle: NDArray, radius: NDArray) -> list[CutCorner]:
    """The same where too little is seen of the edge for a circle."""
    shares = _shares(size, _beyond(size, *_fine(size), angle, radius))
    cut = zip(CORNERS, shares, strict=True)
    return [
        CutCorner(zone, Figure(s, max(s - RAYS_DOUBT, 0), min(s + RAYS_DOUBT, 100), "%"))
        for zone, s in cut
        if s > LEAST_CUT
    ]


def _fine(size: tuple[int, int]) -> tuple[NDArray, NDArray]:
    """Places across and down, dense enough to count how much of a corner is cut."""
    return tuple((np.arange(FINE) + 0.5) / FINE * length - 0.5 for length in size)


def _shares(size: tuple[int, int], cut: NDArray[np.bool_]) -> list[float]:
    """Percent of each corner zone that is cut."""
    x, y = _fine(size)
    index = zone_index(x[None, :], y[:, None], size)
    return [100 * float(cut[index == ZONES.index(zone)].mean()) for zone in CORNERS]
