"""What happens while the shutter is open: the camera moves, the lamp flickers."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.bench.gauntlet.case import Cause
from tests.bench.gauntlet.draft import SIZE, Draft

Path2 = NDArray[np.float64]
"""Displacements (x, y) in pixels, each held equally long, shape (n, 2)."""

MOVED = frozenset({"motion", "double-image", "left-out"})
FLICKER = frozenset({"uneven-light", "left-out"})


def moved(plane: NDArray, shift: Sequence[float]) -> NDArray:
    """A picture displaced by (x, y) pixels; paper comes in from outside."""
    dx, dy = shift
    if dx == round(dx) and dy == round(dy):
        return ndimage.shift(plane, (dy, dx), order=0, mode="nearest")
    return ndimage.shift(plane, (dy, dx), order=3, mode="nearest")


def along_path(draft: Draft, path: Path2, weights: NDArray | None = None) -> None:
    """Expose the sheet along a path about its middle."""
    weights = np.full(len(path), 1 / len(path)) if weights is None else weights
    path = path - weights @ path
    draft.planes = [
        sum(np.float32(w) * moved(plane, shift) for w, shift in zip(weights, path, strict=True))
        for plane in draft.planes
    ]


def double(angle_deg: float, share: float = 0.5) -> Callable[[Draft, float], None]:
    """The camera rests, jumps by so many pixels, and rests; `share` of the time at the second place."""

    def spoil(draft: Draft, px: float) -> None:
        way = np.array([np.cos(np.radians(angle_deg)), -np.sin(np.radians(angle_deg))])
        along_path(draft, np.stack([0 * way, px * way]), np.array([1 - share, share]))

    return spoil


def faint_double(px: float, angle_deg: float) -> Callable[[Draft, float], None]:
    """A jump of fixed length; the strength is the share of the exposure after it."""
    return lambda draft, share: double(angle_deg, share)(draft, px)


def linear(angle_deg: float) -> Callable[[Draft, float], None]:
    """Steady motion over so many pixels."""

    def spoil(draft: Draft, px: float) -> None:
        steps = (np.arange(8) + 0.5) / 8 * px
        way = np.array([np.cos(np.radians(angle_deg)), -np.sin(np.radians(angle_deg))])
        along_path(draft, steps[:, None] * way)

    return spoil


def arc(draft: Draft, px: float) -> None:
    """Motion round a quarter of a circle, so many pixels long."""
    angle = (np.arange(8) + 0.5) / 8 * np.pi / 2
    along_path(draft, px / (np.pi / 2) * np.stack([np.cos(angle), np.sin(angle)], axis=1))


def shaking(draft: Draft, px: float) -> None:
    """A swing to and fro with so many pixels between its ends, where it stays longest."""
    phase = (np.arange(10) + 0.5) / 10 * np.pi
    along_path(draft, px / 2 * np.cos(phase)[:, None] * np.array([0.6, 0.8]))


def triple(draft: Draft, px: float) -> None:
    """Three places of rest on no line."""
    along_path(draft, px * np.array([[0.0, 0.0], [1.0, 0.2], [0.4, 0.9]]), np.array([0.5, 0.3, 0.2]))


def turned_camera(draft: Draft, px: float) -> None:
    """The camera twists about its axis in a jump: so many pixels at the corner, none in the middle.

    Less than some eight blur like a lens's own sagittal blur, growing outwards: no one shot can tell.
    """
    angle = np.degrees(px / (np.hypot(*SIZE) / 2))
    draft.planes = [
        (plane + ndimage.rotate(plane, angle, reshape=False, order=3, mode="nearest")) / 2
        for plane in draft.planes
    ]


def flicker(rows: float, square: bool = False, upright: bool = False) -> Callable[[Draft, float], None]:
    """A lamp's flicker under a rolling shutter: rows brighter and darker in turn by a depth, peak to peak."""

    def spoil(draft: Draft, depth: float) -> None:
        along = np.arange(SIZE[0] if upright else SIZE[1])
        wave = np.sin(2 * np.pi * (along / rows + draft.rng.random()))
        wave = np.tanh(6 * wave) if square else wave
        gain = (1 + depth / 2 * wave).astype(np.float32)
        draft.light = draft.light * (gain[None, :] if upright else gain[:, None]) / (1 + depth / 2)

    return spoil


EXPOSURE_CAUSES = [
    Cause("double-image", (0.5, 1.5, 3.0, 8.0), "px", double(27.0), MOVED),
    Cause("double-image-down", (3.0, 6.0, 12.0, 20.0), "px", double(90.0), MOVED),
    Cause("double-image-sideways", (3.0, 6.0, 12.0, 20.0), "px", double(0.0, 0.35), MOVED),
    Cause("double-image-faint", (0.01, 0.03, 0.06, 0.15), "share", faint_double(7.0, 130.0), MOVED),
    Cause("double-image-turned", (9.0, 12.0, 18.0, 30.0), "px", turned_camera, MOVED),
    Cause("triple-image", (1.0, 3.0, 6.0, 15.0), "px", triple, MOVED),
    Cause("motion", (0.3, 1.0, 2.0, 5.0), "px", linear(20.0), MOVED),
    Cause("motion-down", (0.3, 1.0, 2.0, 5.0), "px", linear(90.0), MOVED),
    Cause("motion-curved", (0.3, 1.0, 2.0, 5.0), "px", arc, MOVED),
    Cause("motion-swing", (0.3, 1.0, 2.0, 5.0), "px", shaking, MOVED),
    Cause("flicker-50-rows", (0.02, 0.06, 0.12, 0.3), "", flicker(50), FLICKER),
    Cause("flicker-150-rows", (0.02, 0.06, 0.12, 0.3), "", flicker(150), FLICKER),
    Cause("flicker-300-rows", (0.02, 0.06, 0.12, 0.3), "", flicker(300), FLICKER),
    Cause("flicker-500-rows", (0.02, 0.06, 0.12, 0.3), "", flicker(500), FLICKER),
    Cause("flicker-square", (0.02, 0.06, 0.12, 0.3), "", flicker(240, square=True), FLICKER),
    Cause("flicker-columns", (0.02, 0.06, 0.12, 0.3), "", flicker(260, upright=True), FLICKER),
]
