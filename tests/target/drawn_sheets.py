"""Shots of the sheet drawn for the finder's tests: polygons through an invented lens, blurred, mosaicked.

Nothing of the package is used but the Shot and the layout's corners; what is drawn where is known in closed form.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from lensbench.shot import Shot
from lensbench.target.layout import Layout
from tests.invented_shots import KINDS, shot_of

WHITE, INK, DESK = 0.75, 0.04, 0.12
FINER = 4
"""Polygons are drawn on a picture this many times finer, then averaged."""


@dataclass(frozen=True)
class View:
    """How the sheet is seen.

    `radial` is the lens's radial scale (of small lengths along the radius) in the frame's corner over that in the
    middle; `reach` how much of the layout's frame is seen (1.2 is from further off); `shift` moves the sheet by
    parts of the frame; `fringe_px` is how far red lies outwards in the corner.
    """

    size: tuple[int, int] = (1800, 1200)
    turn_deg: float = 0.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    radial: float = 1.0
    reach: float = 1.0
    shift: tuple[float, float] = (0.0, 0.0)
    mirrored: bool = False
    sigma_px: float = 1.0
    falloff_stops: float = 0.0
    fringe_px: float = 0.0
    glare: float = 0.0
    kind: str = "RGGB"
    noise: bool = True
    seed: int = 1

    def to_frame(self, mm: np.ndarray, layout: Layout) -> np.ndarray:
        """Sheet to picture: turned, tilted in a camera ten frames off, bent, scaled."""
        width, height = self.size
        xy = mm * width / layout_field(layout)[0] / self.reach
        if self.mirrored:
            xy = xy * [-1, 1]
        turn = np.radians(self.turn_deg)
        xy = xy @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        xy = xy + np.array(self.shift) * self.size
        distance = 1.5 * width
        lean = np.radians(self.tilt_deg)
        depth = 1 + (xy[..., 0] * np.sin(lean[0]) + xy[..., 1] * np.sin(lean[1])) / distance
        xy = xy * np.cos(lean) / depth[..., None]
        half = np.hypot(width, height) / 2
        # r (1 + k r²) has the radial scale 1 + 3 k r²; r0 is what comes to lie in the corner.
        r0 = 1 / (1 + (self.radial - 1) / 3)
        k = (self.radial - 1) / 3 / r0**2
        r = np.linalg.norm(xy, axis=-1, keepdims=True) / half
        turning = 1 / np.sqrt(-3 * k) if k < 0 else np.inf
        bent = xy * (1 + k * np.minimum(r, turning) ** 2)
        # Past the radius where the picture would fold back, keep going outwards: never in the frame.
        bent = np.where(r > 0.97 * turning, xy * 10, bent)
        return bent + (np.array(self.size) - 1) / 2


def layout_field(layout: Layout) -> tuple[float, float]:
    """Millimetres of the sheet that a frame of 3:2 was meant to see, from the lattice's names."""
    pitches = np.sqrt(1.5 * (165 if layout.columns > 17 else 63))
    return layout.pitch_mm * pitches, layout.pitch_mm * pitches / 1.5


@dataclass(frozen=True, eq=False)
class Drawn:
    """A drawn shot and the truth: the layout's tiles that lie wholly in the frame, and those that are cut."""

    shot: Shot
    corners_px: np.ndarray
    whole: np.ndarray
    usable: np.ndarray


def draw(layout: Layout, view: View, paper_mm: float | None = None) -> Drawn:
    """Draw a shot of the sheet; a paper's rim of `paper_mm` about the tiles shows where the sheet ends."""
    lights = {}
    for colour, share in (("green", 0.0), ("red", 1.0), ("blue", -0.7)):
        if colour == "green" or (view.fringe_px and view.kind != "grey"):
            lights[colour] = _light(layout, view, paper_mm, share * view.fringe_px)
        else:
            lights[colour] = lights["green"]
    corners = view.to_frame(layout.corners_mm, layout)
    return Drawn(_exposed(lights, view), corners, *_shown(corners, view.size))


def _shown(corners: np.ndarray, size: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    inside = (corners >= -0.5) & (corners <= np.array(size) - 0.5)
    whole = inside.all(axis=(1, 2))
    t = np.linspace(0, 1, 101)[:, None]
    usable = np.zeros(len(corners), bool)
    for i, j in ((0, 1), (0, 2), (1, 2)):
        edge = corners[:, None, i] * (1 - t) + corners[:, None, j] * t
        usable |= ((edge >= 0) & (edge <= np.array(size) - 1)).all(axis=2).mean(axis=1) > 0.5
    return whole, usable & ~whole


def _light(layout: Layout, view: View, paper_mm: float | None, fringe: float) -> np.ndarray:
    width, height = view.size
    fine = np.full((height * FINER, width * FINER), 255, np.uint8)
    middle, half = (np.array(view.size) - 1) / 2, np.hypot(width, height) / 2

    def outline(corners_mm: np.ndarray) -> np.ndarray:
        t = np.linspace(0, 1, 12, endpoint=False)[:, None]
        nexts = np.roll(corners_mm, -1, axis=0)
        points = np.concatenate([a * (1 - t) + b * t for a, b in zip(corners_mm, nexts, strict=True)])
        placed = view.to_frame(points, layout)
        h = np.linalg.norm(placed - middle, axis=1, keepdims=True) / half
        placed = placed + fringe * (placed - middle) / half * h**2
        return np.round(((placed + 0.5) * FINER - 0.5) * 256).astype(np.int32)

    def fill(points: np.ndarray, ground: int, value: int) -> None:
        # OpenCV fills the points of the outline too, which makes figures half a point larger: these get half.
        cv2.fillPoly(fine, [points], value, shift=8)
        cv2.polylines(fine, [points], True, (ground + value) // 2, shift=8)

    if paper_mm is not None:
        fine[:] = round(255 * DESK / WHITE)
        rim = np.abs(layout.corners_mm).max(axis=(0, 1)) + paper_mm
        fill(outline(rim * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])), int(fine[0, 0]), 255)
    for corners in layout.corners_mm:
        points = outline(corners)
        if (np.abs(points / 256 / FINER - middle) < np.array(view.size) * 0.8).all():
            fill(points, 255, round(255 * INK / WHITE))
    light = cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    # What lies beyond the border blurs into the frame as its mirror image: close enough a pixel or two inside.
    light = gaussian_filter(light, view.sigma_px, mode="reflect")
    y, x = np.mgrid[0:height, 0:width]
    h = np.hypot(x - middle[0], y - middle[1]) / half
    light = light * 2.0 ** (-view.falloff_stops * h**2)
    return WHITE * (light * (1 - view.glare) + view.glare * light.mean())


def _exposed(lights: dict[str, np.ndarray], view: View) -> Shot:
    pattern, colours = KINDS[view.kind]
    rng = np.random.default_rng(view.seed)
    planes = np.stack([lights["green" if name == "grey" else name] for name in colours])
    if pattern is None:
        light = np.moveaxis(planes, 0, -1)
    else:
        down, across = np.shape(pattern)
        width, height = view.size
        index = np.tile(pattern, (-(-height // down), -(-width // across)))[:height, :width]
        light = np.take_along_axis(planes, index[None], axis=0)[0]
    electrons = 30_000 * light
    if view.noise:
        electrons = electrons + rng.standard_normal(light.shape, np.float32) * np.sqrt(
            np.maximum(electrons, 0) + 9
        )
    samples = np.clip(512 + electrons / 30_000 * 15359, 0, 16383).round().astype(np.uint16)
    return shot_of(samples, pattern, colours)


def from_other_pictures(grey: np.ndarray) -> Shot:
    """A shot of any photograph, grey from 0 to 1."""
    return _exposed(dict.fromkeys(("red", "green", "blue"), grey.astype(np.float32)), replace(View(), noise=True))
