"""What is wrong with a file or with what the session file says of it, though the shot itself was honest.

Numbers are changed as a camera or a converter would: a level in the header, the mosaic's phase, a curve, filters
over the samples of each colour. The session also has a flat, since levels and curves spoil falloff first.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.bench.gauntlet.case import Cause, Hidden
from tests.bench.gauntlet.draft import LAYOUT, SIZE, Draft
from tests.outside.renderer import expose, write_mosaic

BLACK, WHITE = 512, 15_512
SENSITIVITY = (0.6, 1.0, 0.75)
"""Of red, green and blue: no lamp makes a sensor's colours alike."""

# What the guide says that no shot can reveal, word for word.
BLACK_LEVEL = "a black level in the file that is off by less than about 1 % of full scale"
MILD_CURVE = "a tone curve milder than a gamma of about 1.15 in a single shot"
MILD_CURVE_OF_TWO = "(two shots of the target taken alike show one of 1.1)"
MILD_FILTER = "sharpening or smoothing in a raw file by less than about 7 % of the sharpness"
MILD_CORRECTION = "falloff that the camera corrected in its raw by less than about 0.15 stop"
COLOURS_SWAPPED = "red and blue taken for each other"

CURVED = frozenset({"tone-curve", "black-level", "brightened"})
FILTERED = frozenset({"noise-reduced", "sharpened", "tone-curve", "coarse-numbers"})

Change = Callable[[NDArray[np.float64], float], NDArray[np.float64]]
"""Stored numbers and a strength to other stored numbers."""


class FileDraft:
    """The files of a draft's session, a target shot and a flat, with their numbers and tags open to change."""

    def __init__(
        self, draft: Draft, repeats: int = 1, sensitivity: tuple[float, float, float] = SENSITIVITY
    ) -> None:
        self.draft = draft
        self.tags: dict = {"black": BLACK, "white": WHITE, "pattern": bytes([0, 1, 1, 2])}
        colours = np.array(sensitivity, np.float32)
        sheet = [plane * share for plane, share in zip(draft.planes, colours, strict=True)]
        even = [np.full(SIZE[::-1], share, np.float32) for share in colours]
        self.mosaics = {"shot.dng": sheet, "flat.dng": even}
        self.mosaics |= {f"again{number}.dng": sheet for number in range(1, repeats)}
        self.mosaics = {name: expose(draft.rng, planes, draft.light) for name, planes in self.mosaics.items()}

    def change(self, change: Change, strength: float) -> None:
        """Change every file's numbers."""
        for name, mosaic in self.mosaics.items():
            numbers = np.clip(np.rint(change(mosaic.astype(float), strength)), 0, WHITE)
            self.mosaics[name] = numbers.astype(np.uint16)

    def put(self) -> None:
        """Have the draft's session written so."""
        self.draft.mosaic = self.mosaics["shot.dng"]
        self.draft.write_file = lambda path: write_mosaic(path, self.mosaics["shot.dng"], **self.tags)
        for name in list(self.mosaics)[1:]:
            shows = "flat" if name == "flat.dng" else "target"
            entry = {"file": name, "shows": shows, "f_number": self.draft.entry["f_number"]}
            self.draft.add_shot(entry, lambda path, name=name: write_mosaic(path, self.mosaics[name], **self.tags))


def changed(change: Change, repeats: int = 1) -> Callable[[Draft, float], None]:
    """Numbers changed after the exposure, in all files alike."""

    def spoil(draft: Draft, strength: float) -> None:
        files = FileDraft(draft, repeats)
        files.change(change, strength)
        files.put()

    return spoil


def stated(key: str) -> Callable[[Draft, float], None]:
    """Another level in the header: the strength is what is added to the true one."""

    def spoil(draft: Draft, strength: float) -> None:
        files = FileDraft(draft)
        files.tags[key] += int(strength)
        files.put()

    return spoil


def mosaic_from(repeat: tuple[int, int, int, int]) -> Callable[[Draft, float], None]:
    """The header names another corner of the repeat; the strength is by how much blue is brighter than red."""

    def spoil(draft: Draft, brighter: float) -> None:
        files = FileDraft(draft, sensitivity=(0.6, 1.0, 0.6 * (1 + brighter)))
        files.tags["pattern"] = bytes(repeat)
        files.put()

    return spoil


def rulers(draft: Draft, percent: float) -> None:
    """Both bars misread by so much."""
    draft.session["target"]["rulers_measured_mm"] = [mm * (1 + percent / 100) for mm in LAYOUT.rulers_mm]


def one_ruler(draft: Draft, percent: float) -> None:
    """One bar misread by so much."""
    across, up = LAYOUT.rulers_mm
    draft.session["target"]["rulers_measured_mm"] = [across * (1 + percent / 100), up]


def stored_twice(draft: Draft, offset: float) -> None:
    """One exposure under two names, the second with twice the numbers and another black."""
    files = FileDraft(draft)
    files.put()
    again = (files.mosaics["shot.dng"].astype(float) - BLACK) * 2 + BLACK + offset
    entry = {"file": "again.dng", "shows": "target", "f_number": draft.entry["f_number"], "setup": 2}
    levels = {"black": int(BLACK + offset), "white": int((WHITE - BLACK) * 2 + BLACK + offset)}
    draft.add_shot(entry, lambda path: write_mosaic(path, again.astype(np.uint16), **levels))


def gamma(numbers: NDArray, power: float) -> NDArray:
    """A power curve over the light above black."""
    return BLACK + (WHITE - BLACK) * np.clip((numbers - BLACK) / (WHITE - BLACK), 0, 1) ** (1 / power)


def s_curve(numbers: NDArray, amount: float) -> NDArray:
    """Darker below half and brighter above, by a sine: `amount` is by how much the slope rises in the middle."""
    light = np.clip((numbers - BLACK) / (WHITE - BLACK), 0, 1)
    return BLACK + (WHITE - BLACK) * (light - amount * np.sin(2 * np.pi * light) / (2 * np.pi))


def steps(numbers: NDArray, step: float) -> NDArray:
    """Rounded to multiples."""
    return BLACK + np.rint((numbers - BLACK) / step) * step


def brightened(numbers: NDArray, stops: float) -> NDArray:
    """The corners multiplied by so many stops, growing with the square of the distance."""
    x, y = np.meshgrid(np.arange(SIZE[0]) - (SIZE[0] - 1) / 2, np.arange(SIZE[1]) - (SIZE[1] - 1) / 2)
    return BLACK + (numbers - BLACK) * 2.0 ** (stops * (x**2 + y**2) / (np.hypot(*SIZE) / 2) ** 2)


def by_colour(change: Change) -> Change:
    """A change to the samples of each position of the mosaic's repeat apart."""

    def apply(numbers: NDArray, strength: float) -> NDArray:
        out = np.empty_like(numbers)
        for row in (0, 1):
            for column in (0, 1):
                out[row::2, column::2] = change(numbers[row::2, column::2], strength)
        return out

    return apply


def soft(numbers: NDArray, sigma: float) -> NDArray:
    """Blurred: noise reduction at its simplest."""
    return ndimage.gaussian_filter(numbers, sigma)


def sharpened(numbers: NDArray, amount: float) -> NDArray:
    """An unsharp mask."""
    return numbers + amount * (numbers - ndimage.gaussian_filter(numbers, 1.5))


def thresholded(numbers: NDArray, sigmas: float) -> NDArray:
    """Detail fainter than so many times the noise taken out, as lossy compression does."""
    base = ndimage.uniform_filter(numbers, 5)
    detail = numbers - base
    return base + np.where(np.abs(detail) < sigmas * np.sqrt(0.5 * np.maximum(numbers - BLACK, 20)), 0, detail)


def scaled(numbers: NDArray, percent: float) -> NDArray:
    """Resampled radially, as a correction of distortion does."""
    rows, columns = np.indices(numbers.shape, float)
    middle = (np.array(numbers.shape) - 1) / 2
    u, v = (rows - middle[0]) / middle[1], (columns - middle[1]) / middle[1]
    factor = 1 + percent / 100 * (u**2 + v**2)
    places = [middle[0] + (rows - middle[0]) * factor, middle[1] + (columns - middle[1]) * factor]
    return ndimage.map_coordinates(numbers, places, order=1, mode="nearest")


def hot_columns(numbers: NDArray, share: float) -> NDArray:
    """Twenty columns that shine by a share of full scale."""
    out = numbers.copy()
    out[:, np.random.default_rng(616_001).integers(0, SIZE[0], 20)] += share * (WHITE - BLACK)
    return out


def hot_pixels(numbers: NDArray, share: float) -> NDArray:
    """A share of the pixels, shining by up to full scale."""
    rng = np.random.default_rng(616_002)
    return numbers + (rng.random(numbers.shape) < share) * rng.uniform(0.05, 1, numbers.shape) * (WHITE - BLACK)


FILE_CAUSES = [
    Cause(
        "black-too-low",
        (-400.0, -200.0, -100.0, -60.0),
        "",
        stated("black"),
        CURVED,
        hidden=(Hidden(-150, BLACK_LEVEL),),
    ),
    Cause(
        "black-too-high",
        (100.0, 200.0, 300.0, 400.0),
        "",
        stated("black"),
        CURVED,
        hidden=(Hidden(150, BLACK_LEVEL),),
    ),
    Cause("gamma", (1.08, 1.15, 1.3, 2.2), "", changed(gamma), CURVED, hidden=(Hidden(1.14, MILD_CURVE, 1.0),)),
    Cause(
        "gamma-of-two",
        (1.05, 1.08, 1.15, 1.3),
        "",
        changed(gamma, repeats=2),
        CURVED,
        hidden=(Hidden(1.09, MILD_CURVE_OF_TWO, 1.0),),
    ),
    Cause(
        "gamma-darker",
        (0.95, 0.9, 0.87, 0.7),
        "",
        changed(gamma, repeats=2),
        CURVED,
        hidden=(Hidden(0.92, MILD_CURVE_OF_TWO, 1.0),),
    ),
    Cause("s-curve", (0.05, 0.1, 0.2, 0.4), "", changed(s_curve), CURVED | FILTERED),
    Cause("s-curve-of-two", (0.05, 0.1, 0.2, 0.4), "", changed(s_curve, repeats=2), CURVED),
    Cause("coarse-steps", (64.0, 128.0, 256.0, 512.0), "", changed(steps), FILTERED),
    Cause(
        "falloff-corrected",
        (0.1, 0.2, 0.5, 0.9),
        "stops",
        changed(brightened),
        CURVED,
        hidden=(Hidden(0.15, MILD_CORRECTION),),
    ),
    Cause(
        "softened",
        (0.25, 0.35, 0.45, 0.7),
        "",
        changed(by_colour(soft)),
        FILTERED,
        hidden=(Hidden(0.36, MILD_FILTER),),
    ),
    Cause(
        "sharpened-raw",
        (0.02, 0.05, 0.15, 0.4),
        "",
        changed(by_colour(sharpened)),
        FILTERED,
        hidden=(Hidden(0.07, MILD_FILTER),),
    ),
    Cause("thresholded", (0.5, 1.0, 2.0, 4.0), "sigma", changed(by_colour(thresholded)), FILTERED),
    Cause("resampled", (0.2, 0.6, 2.0, 6.0), "%", changed(by_colour(scaled)), FILTERED | {"tiles"}),
    Cause("mosaic-column-off", (0.06, 0.12, 0.25, 0.5), "", mosaic_from((1, 0, 2, 1)), frozenset({"mosaic"})),
    Cause("mosaic-row-off", (0.06, 0.12, 0.25, 0.5), "", mosaic_from((1, 2, 0, 1)), frozenset({"mosaic"})),
    Cause("hot-columns", (0.01, 0.03, 0.1, 0.3), "", changed(hot_columns), frozenset({"uneven-light", "clipped"})),
    Cause("hot-pixels", (0.0003, 0.001, 0.003, 0.01), "", changed(hot_pixels), frozenset({"clipped"})),
    Cause("rulers-both", (3.5, 5.0, 10.0, 20.0), "%", rulers, frozenset({"rulers"})),
    Cause("ruler-one", (0.2, 0.5, 2.0, 10.0), "%", one_ruler, frozenset({"rulers"})),
    Cause("stored-twice", (0.0, 64.0, 512.0, 1000.0), "", stored_twice, frozenset({"left-out"})),
    Cause(
        "red-for-blue",
        (0.06, 0.12, 0.25, 0.5),
        "",
        mosaic_from((2, 1, 1, 0)),
        frozenset({"mosaic"}),
        hidden=(Hidden(0.5, COLOURS_SWAPPED),),
    ),
]
