"""Edges of a target as a pinhole camera with a distorting lens would show them, from 3-D geometry alone.

Nothing of the package's own mapping is used: the sheet is placed in space, its points are projected, and
the picture is distorted by a function handed over.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.edge import EdgeResponses
from lensbench.analysers.geometry import Lines
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import LEG_CORNERS, Layout

SIZE = (6000, 4000)


def no_distortion(radius):
    return radius


def radial_distortion(*terms: float) -> Callable:
    """The radius in the picture from the ideal one, both in half-diagonals: r (1 + k₁ r² + k₂ r⁴ …)."""

    def distorted(radius):
        return radius * (1 + sum(k * radius ** (2 * i + 2) for i, k in enumerate(terms)))

    return distorted


def set_squares(columns: int = 21, rows: int = 15, pitch_mm: float = 22.0, seed: int = 5) -> Layout:
    """A layout of the target's kind, made here by hand."""
    rng = np.random.default_rng(seed)
    column, row = (a.ravel() for a in np.meshgrid(np.arange(columns), np.arange(rows)))
    node = np.stack([column - (columns - 1) / 2, row - (rows - 1) / 2], axis=-1) * pitch_mm
    away = np.arctan2(node[:, 1], node[:, 0]) + np.where(rng.random(len(node)) < 0.5, np.pi, 0.0)
    away = away + np.radians(rng.uniform(2, 6, len(node)) * rng.choice([-1, 1], len(node)))
    leg = 0.56 * pitch_mm
    along = np.stack([np.cos(away), np.sin(away)], axis=-1)
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
    # The long side's middle lies on the node.
    right_angle = node - leg * (along + across) / 2
    corners = np.stack([right_angle, right_angle + leg * along, right_angle + leg * across], axis=1)
    return Layout(pitch_mm, columns, rows, (columns * pitch_mm, rows * pitch_mm), column, row, corners)


@dataclass(frozen=True)
class Camera:
    """Where sheet and camera stand. Lengths in mm, angles in degrees; the picture in pixels.

    `turn` is anticlockwise as seen, `right_away` and `bottom_away` turn that side of the sheet away;
    `distance` is from the entrance pupil to the sheet, `image_mm` the image distance over the pupil ratio.
    """

    distance: float = 500.0
    image_mm: float = 50.0
    pitch_mm: float = 0.006
    turn: float = 0.0
    right_away: float = 0.0
    bottom_away: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    axis_px: tuple[float, float] = (2999.5, 1999.5)
    half_diagonal_px: float = float(np.hypot(*SIZE)) / 2
    distorted: Callable = no_distortion

    def picture(self, sheet_mm: np.ndarray) -> np.ndarray:
        """Where points of the sheet, shape (..., 2), show in the picture."""
        turn = np.radians(self.turn)
        x, y = sheet_mm[..., 0], sheet_mm[..., 1]
        # x right, y down: anticlockwise as seen carries x towards -y.
        cos, sin = np.cos(turn), np.sin(turn)
        flat = np.stack([x * cos + y * sin, y * cos - x * sin, 0 * x], axis=-1)
        tilt = np.array([np.tan(np.radians(self.right_away)), np.tan(np.radians(self.bottom_away))])
        steep = np.hypot(*tilt)
        if steep:
            # Rodrigues: turn about the line in the sheet that stays at one distance.
            angle, axis = np.arctan(steep), np.array([tilt[1], -tilt[0], 0]) / steep
            flat = (
                flat * np.cos(angle)
                + np.cross(axis, flat) * np.sin(angle)
                + (flat @ axis)[..., None] * axis * (1 - np.cos(angle))
            )
        space = flat + np.array([*self.shift_mm, self.distance])
        ideal = space[..., :2] / space[..., 2:] * self.image_mm / self.pitch_mm / self.half_diagonal_px
        radius = np.hypot(ideal[..., 0], ideal[..., 1])
        factor = self.distorted(radius) / np.where(radius > 0, radius, 1)
        return ideal * factor[..., None] * self.half_diagonal_px + np.asarray(self.axis_px)


def seen_lines(
    camera: Camera,
    layout: Layout,
    noise_px: float = 0.0,
    ink_mm: float = 0.0,
    size: tuple[int, int] = SIZE,
    seed: int = 1,
    print_mm: float = 0.0,
) -> Lines:
    """The edges in the frame, near the middles of their visible parts, with noise along their normals."""
    rng = np.random.default_rng(seed)
    ends = np.asarray(LEG_CORNERS)
    tiles = len(layout.column)
    corners = layout.corners_mm + rng.normal(0, print_mm, (tiles, 1, 2)) if print_mm else layout.corners_mm
    start, end = corners[:, ends[:, 0]], corners[:, ends[:, 1]]
    along = (end - start) / np.linalg.norm(end - start, axis=-1, keepdims=True)
    outward = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    inward = corners.mean(axis=1)[:, None] - start
    outward *= -np.sign((outward * inward).sum(axis=-1))[..., None]
    steps = np.linspace(0.1, 0.9, 81)[:, None, None, None]
    places = start + steps * (end - start) + ink_mm * outward
    seen = camera.picture(places)
    inside = np.all((seen > 3) & (seen < np.asarray(size) - 4), axis=-1)
    middle = np.round((steps[:, :, :, 0] * inside).sum(axis=0) / np.maximum(inside.sum(axis=0), 1), 3)
    place = start + middle[..., None] * (end - start) + ink_mm * outward
    point = camera.picture(place)
    tangent = camera.picture(place + 0.01 * along) - camera.picture(place - 0.01 * along)
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    bright = camera.picture(place + 0.01 * outward) - point
    normal *= np.sign((normal * bright).sum(axis=-1))[..., None]
    keep = inside.sum(axis=0) > 40
    tile, leg = np.nonzero(keep)
    sigma = np.full(len(tile), max(noise_px, 1e-4))
    points = point[keep] + rng.normal(0, noise_px, len(tile))[:, None] * normal[keep] if noise_px else point[keep]
    return Lines(layout.column[tile], layout.row[tile], leg, points, normal[keep], sigma)


def responses_at(point: np.ndarray, normal: np.ndarray, offset: np.ndarray, sigma: float, mtf50: float = 0.2):
    """Edge responses with hand-made places; what places don't need is filled with plausible constants.

    The edges are short, since their offsets are those of their middles, not means along them.
    """
    n = len(point)
    ones = np.ones(n)
    return EdgeResponses(
        x=point[:, 0], y=point[:, 1], normal=normal, angle_deg=0 * ones, offset_px=offset,
        offset_sigma_px=sigma * ones,
        curvature_px=0 * ones, length_px=4 * ones, mtf=np.ones((n, 65)), mtf_sigma=np.zeros((n, 65)),
        mtf50=mtf50 * ones, mtf50_sigma=0.002 * ones, steepness=0.69 * ones, rise_px=2 * ones,
        rise_sigma_px=0.02 * ones, quartile_px=ones,
        tail=np.zeros((n, 12)), tail_covariance=np.zeros((n, 12, 12)),
        tail_model_covariance=np.zeros((n, 12, 12)), reach_px=40 * ones,
        overshoot=0 * ones, dark=0 * ones, white=ones, clipped=0 * ones,
        contrast_to_noise=50 * ones, reason=np.full(n, "", dtype="<U64"),
    )  # fmt: skip


def seen_colours(
    cameras: dict[str, Camera],
    layout: Layout,
    noise_px: float = 0.01,
    spread_px: dict[str, float] | None = None,
    lopsided_px: dict[str, float] | None = None,
    size: tuple[int, int] = SIZE,
    seed: int = 1,
) -> tuple[FoundTiles, dict[str, EdgeResponses]]:
    """Tiles and edges as each colour's camera shows them.

    `spread_px` moves all edges of a colour outwards alike, `lopsided_px` those of half-turned tiles inwards
    instead. Edges that lie outside the frame are not measured.
    """
    rng = np.random.default_rng(seed)
    green = cameras["green"]
    corners = green.picture(layout.corners_mm)
    seen = np.all((corners > 0) & (corners < np.asarray(size) - 1), axis=-1)
    keep = seen.sum(axis=1) >= 2
    found = FoundTiles(layout.column[keep], layout.row[keep], corners[keep], seen[keep].all(axis=1), False)
    ends = layout.corners_mm[keep][:, np.asarray(LEG_CORNERS)]
    middle, along = ends.mean(axis=2), ends[:, :, 1] - ends[:, :, 0]
    inward = layout.corners_mm[keep].mean(axis=1)[:, None] - middle
    half_turned = (along[:, 0] * layout.corners_mm[keep].mean(axis=1)).sum(axis=-1) < 0
    lines = {}
    for name, camera in cameras.items():
        point = camera.picture(middle)
        tangent = camera.picture(middle + 1e-3 * along) - camera.picture(middle - 1e-3 * along)
        normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
        normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
        normal *= -np.sign((normal * (camera.picture(middle + 1e-3 * inward) - point)).sum(axis=-1))[..., None]
        lines[name] = point, normal
    at, across = lines["green"]
    responses = {}
    for name, (point, normal) in lines.items():
        offset = ((point - at) * normal).sum(axis=-1) / (normal * across).sum(axis=-1)
        offset += (spread_px or {}).get(name, 0.0)
        offset += (lopsided_px or {}).get(name, 0.0) * np.where(half_turned, -1, 1)[:, None]
        offset += rng.normal(0, noise_px, offset.shape)
        made = responses_at(at.reshape(-1, 2), normal.reshape(-1, 2), offset.ravel(), max(noise_px, 1e-4))
        outside = ~np.all((at > 2) & (at < np.asarray(size) - 3), axis=-1).ravel()
        made.reason[outside] = "too little of it in the frame"
        responses[name] = made
    return found, responses
