"""The image circle: where a barrel, a ring or a hood ends the light abruptly, unlike merely steep falloff."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates, median_filter
from scipy.optimize import least_squares

from lensbench.analysers.falloff._cut_corners import cut_by_circle, cut_by_mask, sample_positions
from lensbench.findings import NORMAL_95, CutCorner, Figure, ImageCircle, Position
from lensbench.frame import centre_of, half_diagonal
from lensbench.robust import robust_sigma

STEEP = 14.0
"""Stops for one half-diagonal from which the light ends abruptly; cos⁴ reaches 4 in the corner of a 120° lens."""

LEAST_DROP = 1.0
"""Stops that the light must lose over the edge for it to count as ended (chosen by experience)."""

RAYS = 360
"""Directions in which the edge is searched."""

FEWEST_RAYS = 4
"""Directions that must meet the edge: fewer are a mark in the corner (chosen by experience)."""

WIDTH_SHARE = 0.02
"""Share of the edge's width by which the half-light radius may be wrong, since light falls off before the edge too
(checked with `tests.bench.light --edges`)."""

KNOWN_RADIUS = 0.03
"""Half of the interval of the circle's radius, over the radius, up to which the circle is extrapolated to
directions in which no edge was found (chosen by experience)."""

LEAST_ARC_DEG = 25.0
"""Arc of the circle that must be seen for its radius and centre to be determined (chosen by experience)."""

LARGEST_SIGMA = 0.1
"""Standard error of the radius, over the radius, from which the circle counts as unknown (chosen by
experience)."""


@dataclass(frozen=True, eq=False)
class FoundCircle:
    """The image circle, as far as the frame shows it.

    Attributes
    ----------
    beyond : ndarray of bool, shape (y, x)
        Blocks on its edge or outside.
    finding : ImageCircle or None
        None where the frame shows no edge of it.
    """

    beyond: NDArray[np.bool_]
    finding: ImageCircle | None


class _Circle(NamedTuple):
    """A circle fitted to points of the edge."""

    centre: Position
    radius: Figure


def find_image_circle(
    size: tuple[int, int], x: NDArray, y: NDArray, stops: NDArray, seen: NDArray, pixel_pitch_um: float | None
) -> FoundCircle:
    """Search along rays from the middle for where the light ends.

    Parameters
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    x, y : ndarray
        The blocks' centres in pixels.
    stops : ndarray, shape (y, x)
        How dark each block is, positive is darker.
    seen : ndarray of bool, shape (y, x)
        Blocks that are not clipped; those too dark to be measured are among them.
    pixel_pitch_um : float or None
        For figures in millimetres.

    Returns
    -------
    FoundCircle
    """
    rays = _rays(size, x, y, median_filter(np.where(seen, stops, 0.0), 3))
    met = [(angle, *edge) for angle, r, s in rays if (edge := _edge_on(r, s, half_diagonal(size)))]
    if len(met) < FEWEST_RAYS:
        return FoundCircle(np.zeros(stops.shape, bool), None)
    angle, start, radius, width = np.array(met).T
    block = float(np.diff(x[:2]).item())
    beyond = _beyond(size, x, y, angle, start - block)
    middle = centre_of(size)
    points = np.stack([middle[0] + radius * np.cos(angle), middle[1] + radius * np.sin(angle)], axis=1)
    circle = _fitted_circle(points, WIDTH_SHARE * np.median(width)) if _arc_deg(angle) >= LEAST_ARC_DEG else None
    corners: list[CutCorner]
    if circle is not None and circle.radius.half_width < KNOWN_RADIUS * circle.radius.value:
        # Where the edge only grazes the frame no ray crosses enough of it to find it.
        across, down = x - circle.centre.x.value, y - circle.centre.y.value
        within = circle.radius.value - np.percentile(radius - start, 90) - block
        beyond |= np.hypot(across[None, :], down[:, None]) > within
        corners = cut_by_circle(size, *circle)
    else:
        corners = cut_by_mask(size, _beyond(size, *sample_positions(size), angle, radius))
    half = NORMAL_95 * robust_sigma(width) / np.sqrt(len(width))
    finding = ImageCircle(
        corners=corners,
        # The measured edge is convolved with a block's own width.
        width_px=Figure.of(np.sqrt(max(np.median(width) ** 2 - block**2, 0)), np.hypot(half, block), "px"),
        centre_px=circle.centre if circle else None,
        radius_px=circle.radius if circle else None,
        radius_mm=circle.radius.scaled(pixel_pitch_um / 1000, "mm") if circle and pixel_pitch_um else None,
    )
    return FoundCircle(beyond, finding)


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
    """The edge on a ray: where it begins, where the light has fallen to half, its width from 90 % to 10 %."""
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
    falling = np.minimum.accumulate(light)
    most, middle, least = (float(np.interp(-level, -falling, r[first:])) for level in (0.9, 0.5, 0.1))
    return float(r[first]), middle, least - most


def _beyond(size: tuple[int, int], x: NDArray, y: NDArray, angle: NDArray, start: NDArray) -> NDArray[np.bool_]:
    """Which positions are farther out than the edge in their own direction, shape (y, x)."""
    middle = centre_of(size)
    down, across = np.meshgrid(y - middle[1], x - middle[0], indexing="ij")
    limit = np.full(RAYS, np.inf)
    limit[np.round(angle * RAYS / (2 * np.pi)).astype(int) % RAYS] = start
    # A ray without an edge between two with one is a sampling gap.
    near = np.stack([np.roll(limit, step) for step in (-1, 0, 1)])
    limit = near.min(axis=0)
    own = np.round(np.arctan2(down, across) * RAYS / (2 * np.pi)).astype(int) % RAYS
    return np.hypot(across, down) > limit[own]


def _arc_deg(angle: NDArray) -> float:
    """The arc over which the edge is seen: the whole circle less the widest gap."""
    gaps = np.diff(np.append(np.sort(angle), np.min(angle) + 2 * np.pi))
    return 360 - float(np.degrees(gaps.max()))


def _fitted_circle(points: NDArray, common_error: float) -> _Circle | None:
    """Robust least-squares circle through points of an edge, whose radii share an error."""
    start = [*points.mean(axis=0), np.hypot(*(points - points.mean(axis=0)).T).mean()]
    fit = least_squares(lambda c: np.hypot(*(points - c[:2]).T) - c[2], start, loss="soft_l1", f_scale=2.0)
    # Neighbouring rays share their blocks: about one residual in four is independent.
    variance = max(np.mean(fit.fun**2), 0.01) * 4
    sigma = np.sqrt(np.diag(np.linalg.pinv(fit.jac.T @ fit.jac)) * variance)
    if sigma[2] > LARGEST_SIGMA * fit.x[2]:
        return None
    x, y = (Figure.of(c, NORMAL_95 * s, "px") for c, s in zip(fit.x[:2], sigma[:2], strict=True))
    return _Circle(Position(x, y), Figure.of(fit.x[2], float(np.hypot(NORMAL_95 * sigma[2], common_error)), "px"))
