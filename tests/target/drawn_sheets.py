"""Shots of the sheet drawn for the finder's tests: polygons through an invented lens, blurred, mosaicked.

Nothing of the package is used but the Shot and the layout's corners; what is drawn where is known in closed form.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from lensbench.shot import Shot
from lensbench.target.finder import FoundTiles
from lensbench.target.layout import Layout
from tests.invented_shots import KINDS, shot_of

INK, DESK = 0.055, 0.15
FINER = 4
"""Polygons are drawn on a picture this many times finer, then averaged."""


@dataclass(frozen=True)
class View:
    """How the sheet is seen.

    `radial` is the lens's radial scale (of small lengths along the radius) in the frame's corner over that in the
    middle, `by_angle` another formula for it, `decentre` where its own middle lies (in half-diagonals). `reach` is
    how much of the layout's frame is seen (1.2 is from further off); `shift` moves it by parts of the frame;
    `light` is the paper's, of full scale; `fringe_px` is how far red lies outwards in the corner.
    """

    size: tuple[int, int] = (1800, 1200)
    turn_deg: float = 0.0
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    radial: float = 1.0
    by_angle: bool = False
    decentre: tuple[float, float] = (0.0, 0.0)
    reach: float = 1.0
    shift: tuple[float, float] = (0.0, 0.0)
    mirrored: bool = False
    sigma_px: float = 1.0
    falloff_stops: float = 0.0
    fringe_px: float = 0.0
    glare: float = 0.0
    light: float = 0.75
    kind: str = "RGGB"
    noise: bool = True
    seed: int = 1

    def to_frame(self, mm: np.ndarray, layout: Layout) -> np.ndarray:
        """Sheet to picture: turned, tilted seen from one and a half frames' width, bent, scaled."""
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
        middle = np.array(self.decentre) * half
        xy = middle + _bent((xy - middle) / half, self.radial, self.by_angle) * half
        return xy + (np.array(self.size) - 1) / 2


def _bent(xy: np.ndarray, radial: float, by_angle: bool) -> np.ndarray:
    """Places bent so that small lengths along the radius are `radial` times as long where the radius is 1.

    Either r (1 + k r²), or, for lenses that draw angles, arctan(a r) / a (tan where the radial scale exceeds 1).
    """
    r = np.linalg.norm(xy, axis=-1, keepdims=True)
    if by_angle and radial < 1:
        a = np.arctan(np.sqrt(1 / radial - 1))
        return xy * np.where(r > 0, np.arctan(a * r) / np.maximum(a * r, 1e-12), 1)
    if by_angle:
        a = np.sqrt(radial - 1)
        return xy * np.where(a * r < 1.4, np.tan(np.minimum(a * r, 1.4)) / np.maximum(a * r, 1e-12), 10)
    # The radial scale is 1 + 3 k r²; r0 is what comes to lie at 1.
    r0 = 1 / (1 + (radial - 1) / 3)
    k = (radial - 1) / 3 / r0**2
    turning = 1 / np.sqrt(-3 * k) if k < 0 else np.inf
    # Past the radius where the picture would fold back, keep going outwards: never in the frame.
    return np.where(r > 0.97 * turning, xy * 10, xy * (1 + k * r**2))


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


def draw(layout: Layout, view: View, paper_mm: float | None = None, finer: int = FINER) -> Drawn:
    """Draw a shot of the sheet; a paper's rim of `paper_mm` about the tiles shows where the sheet ends."""
    lights = {}
    for colour, share in (("green", 0.0), ("red", 1.0), ("blue", -0.7)):
        if colour == "green" or (view.fringe_px and view.kind != "grey"):
            lights[colour] = _light(layout, view, paper_mm, share * view.fringe_px, finer)
        else:
            lights[colour] = lights["green"]
    corners = view.to_frame(layout.corners_mm, layout)
    return Drawn(_exposed(lights, view), corners, *_shown(corners, view.size, 1 + 2 * view.sigma_px))


def _shown(corners: np.ndarray, size: tuple[int, int], beside: float) -> tuple[np.ndarray, np.ndarray]:
    """Tiles wholly in the frame, and cut ones of which half an edge shows with so many pixels on either side."""
    inside = (corners >= -0.5) & (corners <= np.array(size) - 0.5)
    whole = inside.all(axis=(1, 2))
    t = np.linspace(0, 1, 101)[:, None]
    usable = np.zeros(len(corners), bool)
    for i, j in ((0, 1), (0, 2), (1, 2)):
        edge = corners[:, None, i] * (1 - t) + corners[:, None, j] * t
        usable |= ((edge >= beside) & (edge <= np.array(size) - 1 - beside)).all(axis=2).mean(axis=1) > 0.5
    return whole, usable & ~whole


def _light(layout: Layout, view: View, paper_mm: float | None, fringe: float, finer: int) -> np.ndarray:
    width, height = view.size
    # Blur brings light in from beyond the border, so that is drawn too.
    rim = int(np.ceil(4 * view.sigma_px))
    wide, high = width + 2 * rim, height + 2 * rim
    fine = np.full((high * finer, wide * finer), 255, np.uint8)
    middle, half = (np.array(view.size) - 1) / 2, np.hypot(width, height) / 2

    def outline(corners_mm: np.ndarray) -> np.ndarray:
        t = np.linspace(0, 1, 12, endpoint=False)[:, None]
        nexts = np.roll(corners_mm, -1, axis=0)
        points = np.concatenate([a * (1 - t) + b * t for a, b in zip(corners_mm, nexts, strict=True)])
        placed = view.to_frame(points, layout)
        h = np.linalg.norm(placed - middle, axis=1, keepdims=True) / half
        placed = placed + fringe * (placed - middle) / half * h**2
        return np.round(((placed + rim + 0.5) * finer - 0.5) * 256).astype(np.int32)

    def fill(points: np.ndarray, ground: int, value: int) -> None:
        # OpenCV fills the points of the outline too, which makes figures half a point larger: these get half.
        cv2.fillPoly(fine, [points], value, shift=8)
        cv2.polylines(fine, [points], True, (ground + value) // 2, shift=8)

    if paper_mm is not None:
        fine[:] = round(255 * DESK)
        reach = np.abs(layout.corners_mm).max(axis=(0, 1)) + paper_mm
        fill(outline(reach * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])), int(fine[0, 0]), 255)
    for corners in layout.corners_mm:
        points = outline(corners)
        if (np.abs(points / 256 / finer - rim - middle) < np.array(view.size) * 0.8).all():
            fill(points, 255, round(255 * INK))
    light = cv2.resize(fine, (wide, high), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    light = gaussian_filter(light, view.sigma_px)[rim : rim + height, rim : rim + width]
    y, x = np.mgrid[0:height, 0:width]
    h = np.hypot(x - middle[0], y - middle[1]) / half
    light = light * 2.0 ** (-view.falloff_stops * h**2)
    return view.light * (light * (1 - view.glare) + view.glare * light.mean())


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
    return _exposed(dict.fromkeys(("red", "green", "blue"), grey.astype(np.float32)), View(size=grey.shape[::-1]))


@dataclass(frozen=True, eq=False)
class Score:
    """What was found of what was drawn: tiles wholly in the frame and cut ones of which half an edge shows.

    `wrong` counts tiles said to be where they are not (by a fifth of a leg), `extra` those hardly in the frame;
    errors are each of the former tiles' worst corner's, in pixels.
    """

    whole: int
    whole_found: int
    cut: int
    cut_found: int
    wrong: int
    extra: int
    errors: np.ndarray
    cut_errors: np.ndarray


def score(drawn: Drawn, layout: Layout, found: FoundTiles) -> Score:
    """Hold what was found against what was drawn."""
    number = {place: i for i, place in enumerate(zip(layout.column.tolist(), layout.row.tolist(), strict=True))}
    places = zip(found.column.tolist(), found.row.tolist(), strict=True)
    index = np.array([number[place] for place in places], dtype=int)
    corners = drawn.corners_px[index]
    errors = np.linalg.norm(found.corners_px - corners, axis=2).max(axis=1)
    leg = np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)
    got = np.zeros(len(layout.column), bool)
    got[index] = True
    whole = drawn.whole[index]
    return Score(
        int(drawn.whole.sum()),
        int((got & drawn.whole).sum()),
        int(drawn.usable.sum()),
        int((got & drawn.usable).sum()),
        int((errors > 0.2 * leg).sum()),
        int((got & ~drawn.whole & ~drawn.usable).sum()),
        errors[whole],
        errors[drawn.usable[index]],
    )
