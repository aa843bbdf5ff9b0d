"""What stands before the lens and isn't one flat, clean, evenly lit sheet: the wrong sheet, or what covers it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, zoom

from lensbench.target.layout import layout_text, make_layout
from tests.bench.gauntlet.case import Cause
from tests.bench.gauntlet.draft import MAGNIFICATION, SENSOR_MM, SIZE, Draft, LensFrame, draw, tiles_of
from tests.bench.gauntlet.exposure_causes import moved
from tests.outside.renderer import OutsideLens, expose, write_mosaic

GLASS = frozenset({"double-image", "left-out", "uneven-light"})
SPOILED = frozenset({"uneven-light", "left-out", "tiles"})

DISTANCE_MM = 220.0
"""Of the sheet from the lens' entrance pupil: 20 mm of focal length at a tenth of life size."""

BLUR_PX_A_MM = 0.6
"""Diameter of the blur of what lies 1 mm out of focus: f/2.8, a tenth of life size, 6 µm pixels."""


class DeepFrame(LensFrame):
    """A lens before a sheet that isn't flat: `depth` gives how many mm nearer each (x, y) of it lies."""

    def __init__(self, lens: OutsideLens, depth: Callable[[NDArray], NDArray]) -> None:
        super().__init__(lens)
        self.depth = depth

    def picture(self, mm: NDArray, colour: int) -> NDArray:
        """What is nearer is drawn larger."""
        return super().picture(mm * (1 / (1 - self.depth(mm) / DISTANCE_MM))[..., None], colour)

    def covariance(self, place: NDArray, colour: int) -> NDArray:
        """What is nearer or farther is out of focus besides."""
        depth = float(self.depth((place - self.centre) / self.lens.px_per_mm))
        return super().covariance(place, colour) + (BLUR_PX_A_MM * depth / 4) ** 2 * np.eye(2)


def mirrored(draft: Draft, turn_deg: float) -> None:
    """A print seen from its back, turned by so much."""
    draft.frame = LensFrame(replace(draft.lens, turn_deg=turn_deg))
    draft.tiles = [{**t, "corners_mm": [[-x, y] for x, y in t["corners_mm"]]} for t in draft.tiles]


def turned(draft: Draft, turn_deg: float) -> None:
    """The whole sheet turned."""
    draft.frame = LensFrame(replace(draft.lens, turn_deg=turn_deg))


def wrong_print(draft: Draft, factor: float) -> None:
    """The target.json of a sheet made for another magnification."""
    draft.layout_text = layout_text(make_layout(SENSOR_MM, MAGNIFICATION * factor, "coarse"))


def two_sheets(draft: Draft, share: float) -> None:
    """Another sheet lies over the right-hand side of the frame."""
    other = make_layout(SENSOR_MM, MAGNIFICATION * 1.1, "coarse")
    over = draw(LensFrame(replace(draft.lens, turn_deg=-3.0)), tiles_of(other))
    from_x = round(SIZE[0] * (1 - share))
    for plane, second in zip(draft.planes, over, strict=True):
        plane[:, from_x:] = second[:, from_x:]


def ghost(shift: tuple[float, float]) -> Callable[[Draft, float], None]:
    """Glass before the sheet: a faint picture of the sheet beside its own, displaced."""

    def spoil(draft: Draft, share: float) -> None:
        draft.planes = [plane + np.float32(share) * moved(plane, shift) for plane in draft.planes]

    return spoil


def veil(draft: Draft, share: float) -> None:
    """A lamp's reflection in glass before the sheet: a round soft patch of light over black and white."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    away = (x - 0.35 * SIZE[0]) ** 2 + (y - 0.4 * SIZE[1]) ** 2
    patch = share * np.exp(-away / (2 * 110.0**2))
    draft.planes = [(plane + patch).astype(np.float32) / np.float32(1 + share / 3) for plane in draft.planes]


def curled(draft: Draft, bulge_mm: float) -> None:
    """A sheet that bulges towards the lens in its middle and lies flat at its left and right."""
    across = SENSOR_MM[0] / MAGNIFICATION / 2
    draft.frame = DeepFrame(draft.lens, lambda mm: bulge_mm * (1 - (mm[..., 0] / across) ** 2))
    draft.entry["f_number"] = 2.8


def leaning(draft: Draft, lean_deg: float) -> None:
    """A sheet whose right side stands back, focused in the middle."""
    draft.frame = DeepFrame(draft.lens, lambda mm: -mm[..., 0] * np.tan(np.radians(lean_deg)))
    draft.entry["f_number"] = 2.8
    draft.unknown = ("tilt",)


def skewed(draft: Draft, share: float) -> None:
    """The camera pans under a rolling shutter: each row is drawn farther to the right than the one above."""

    class Skewed(LensFrame):
        def picture(self, mm: NDArray, colour: int) -> NDArray:
            at = super().picture(mm, colour)
            return np.stack([at[..., 0] + share * (at[..., 1] - self.centre[1]), at[..., 1]], axis=-1)

    draft.frame = Skewed(draft.lens)


def halftone(draft: Draft, period_px: float) -> None:
    """Black printed as dots of a screen at 40°, four fifths of the paper covered."""
    x, y = np.meshgrid(np.arange(4 * SIZE[0]) / 4, np.arange(4 * SIZE[1], dtype=np.float32) / 4)
    a, b = np.cos(np.radians(40.0)), np.sin(np.radians(40.0))
    waves = np.cos(2 * np.pi / period_px * (a * x + b * y)) + np.cos(2 * np.pi / period_px * (a * y - b * x))
    dots = (waves < np.quantile(waves[::7, ::7], 0.8)).astype(np.float32)
    screen = gaussian_filter(dots.reshape(SIZE[1], 4, SIZE[0], 4).mean(axis=(1, 3)), draft.lens.sigma_px[0])
    draft.planes = [1 - (1 - plane) * screen for plane in draft.planes]


def text_behind(draft: Draft, depth: float) -> None:
    """A sheet lit from behind, with lines of text on its back that show through its white."""
    marks = draft.rng.random((SIZE[1] // 4, SIZE[0] // 5)) < 0.45
    marks[np.arange(len(marks)) % 6 > 3] = False
    text = zoom(marks.astype(np.float32), (4, 5), order=0)[: SIZE[1], : SIZE[0]]
    shade = (1 - depth * gaussian_filter(text, 2.0)).astype(np.float32)
    draft.planes = [plane * shade for plane in draft.planes]


def hairs(draft: Draft, count: float) -> None:
    """Hairs and specks lie on the print, dark on white and light on black."""
    cover = np.zeros(SIZE[::-1], np.float32)
    for _ in range(round(count)):
        start, angle = draft.rng.uniform((0, 0), SIZE), draft.rng.uniform(0, 2 * np.pi)
        curve, length = draft.rng.normal(0, 0.01), draft.rng.uniform(20, 150)
        steps = np.arange(0, length, 0.25)
        heading = angle + curve * steps
        at = start + np.cumsum(0.25 * np.stack([np.cos(heading), np.sin(heading)], axis=1), axis=0)
        column, row = np.rint(at).astype(int).T
        inside = (column >= 0) & (column < SIZE[0]) & (row >= 0) & (row < SIZE[1])
        cover[row[inside], column[inside]] = 1
    cover = gaussian_filter(cover, 0.8)
    draft.planes = [plane * (1 - 0.6 * cover) + 0.15 * cover for plane in draft.planes]


def gradient(draft: Draft, stops: float) -> None:
    """A lamp at one side: so many stops from the left border to the right one."""
    fall = 2.0 ** (-stops * np.arange(SIZE[0]) / SIZE[0])
    draft.light = draft.light * fall.astype(np.float32)


def shadow(draft: Draft, depth: float) -> None:
    """The hard edge of a shadow runs over the sheet, slantwise."""
    x, y = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1]))
    across = (x - 0.55 * SIZE[0]) * np.cos(0.4) + (y - 0.5 * SIZE[1]) * np.sin(0.4)
    draft.light = draft.light * (1 - depth / (1 + np.exp(-across / 2))).astype(np.float32)


def refocused(draft: Draft, factor: float) -> None:
    """A second shot of the same entry, blurred so many times as much."""
    lens = replace(draft.lens, sigma_px=tuple(factor * sigma for sigma in draft.lens.sigma_px))
    planes = list(draw(LensFrame(lens), draft.tiles))
    second = expose(draft.rng, planes, draft.light)
    draft.others["second.dng"] = lens
    draft.add_shot({**draft.entry, "file": "second.dng"}, lambda path: write_mosaic(path, second))


SCENE_CAUSES = [
    Cause("mirrored", (-10.0, 0.0, 3.0, 178.0), "deg", mirrored, frozenset({"mirrored", "left-out"})),
    Cause("turned", (45.0, 90.0, 180.0, 270.0), "deg", turned, frozenset({"left-out", "tiles"})),
    Cause("wrong-print", (0.5, 0.9, 1.02, 1.1), "times", wrong_print, frozenset({"left-out", "tiles"})),
    Cause("two-sheets", (0.05, 0.2, 0.4, 0.6), "share", two_sheets, SPOILED),
    Cause("glass-ghost", (0.003, 0.01, 0.03, 0.1), "share", ghost((41.0, 23.0)), GLASS),
    Cause("glass-ghost-near", (0.003, 0.01, 0.03, 0.1), "share", ghost((7.0, 4.0)), GLASS),
    Cause("veil", (0.01, 0.03, 0.1, 0.3), "share", veil, GLASS),
    Cause("curled", (1.0, 3.0, 6.0, 15.0), "mm", curled, frozenset({"not-flat", "tilted", "rulers"})),
    Cause("leaning", (1.0, 3.0, 6.0, 15.0), "deg", leaning, frozenset({"tilted", "left-out"})),
    Cause(
        "rolling-skew", (0.001, 0.003, 0.01, 0.03), "share", skewed, frozenset({"not-flat", "rulers", "motion"})
    ),
    Cause("halftone", (1.0, 2.0, 4.0, 8.0), "px", halftone, SPOILED | {"print-limited"}),
    Cause("text-behind", (0.01, 0.03, 0.06, 0.2), "", text_behind, SPOILED),
    Cause("hairs", (10.0, 40.0, 100.0, 300.0), "hairs", hairs, SPOILED),
    Cause("sheet-gradient", (1.0, 2.0, 3.0, 5.0), "stops", gradient, SPOILED | {"dark"}),
    Cause("sheet-shadow", (0.02, 0.06, 0.15, 0.5), "", shadow, SPOILED),
    Cause("refocused", (1.01, 1.03, 1.06, 1.2), "times", refocused, frozenset({"unlike"})),
]
