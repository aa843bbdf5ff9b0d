"""A correction as the opcode lists of one picture, and what these leave."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.correction._fitted_warp import FittedWarp, fit_warp
from lensbench.correction._gains import Gains
from lensbench.correction._mosaic import is_two_by_two, mosaic_colours, sites
from lensbench.correction._opcodes import fix_bad_pixels, gain_map, map_points
from lensbench.correction._recipe import Shadow
from lensbench.correction._warp import Warp
from lensbench.shot import Shot

COARSE_STEP_PX, FINE_STEP_PX = 64, 8
"""Distance of a gain map's points: for smooth light, and at the finest where it holds shadows of dirt."""

STEPS_A_SHADOW = 3
"""A shadow narrower than this many steps would be lost between the points of the map."""

WORTH_SAYING_PX = 0.05
"""Lateral colour that an opcode leaves, and that is said: half of what counts as taken out."""


@dataclass(frozen=True, eq=False)
class Opcodes:
    """The opcode lists of a copy (bad pixels, gains, the warp), and what the user should know of them."""

    bad_pixels: list[bytes]
    gains: list[bytes]
    warp: FittedWarp | None
    caveats: list[str]


def make_opcodes(shot: Shot, gains: Gains, warp: Warp, hot: NDArray[np.int64]) -> Opcodes:
    """The opcodes of a correction.

    Parameters
    ----------
    shot : Shot
    gains, warp : Gains, Warp
        Of the same recipe.
    hot : ndarray, shape (pixels, 2)
        Rows and columns of hot pixels.
    """
    maps, too_narrow = _gain_maps(shot, gains)
    fitted = fit_warp(warp) if warp.needed else None
    fixed = [fix_bad_pixels(hot, _phase(shot))] if len(hot) and is_two_by_two(shot) else []
    caveats = []
    if too_narrow:
        caveats.append(
            f"{too_narrow} of {len(gains.recipe.shadows)} shadows of dirt are too narrow for the DNG's map: "
            "only a TIFF is free of them."
        )
    if mosaic_colours(shot) is not None and not is_two_by_two(shot):
        caveats.append(
            "The mosaic is none of 2 × 2, so the DNG has one gain for all colours and no list of hot pixels: a "
            "TIFF has all of it."
        )
    return Opcodes(fixed, maps, fitted, [*caveats, *_said_of_warp(fitted)])


def _said_of_warp(fitted: FittedWarp | None) -> list[str]:
    said = []
    if fitted is not None and fitted.newer:
        said.append("The DNG's warp takes WarpRectilinear2, of version 1.6: older raw developers leave it out.")
    if fitted is not None and fitted.fringing_left_px > WORTH_SAYING_PX:
        said.append(
            f"The DNG's warp has one centre for all colours: up to {fitted.fringing_left_px:.2f} px of lateral "
            "colour stay. A TIFF has none of this."
        )
    return said


def _gain_maps(shot: Shot, gains: Gains) -> tuple[list[bytes], int]:
    """One map for each plane of a 2 × 2 mosaic or of a picture, and how many shadows are too narrow for them."""
    recipe = gains.recipe
    if recipe.light is None and not recipe.shadows:
        return [], 0
    step, shadows = _step(recipe.shadows)
    too_narrow = len(recipe.shadows) - len(shadows)
    x, y = (map_points(math.ceil(length / step) + 1, length) for length in shot.size)

    def on_map(colour: str) -> NDArray[np.float32]:
        return gains.on_map(colour, x, y, shadows).astype(np.float32)

    if shot.pattern is None:
        return [gain_map(on_map(c), shot.size, plane=n) for n, c in enumerate(shot.colours)], too_narrow
    if not is_two_by_two(shot):
        return [gain_map(on_map(shot.reference), shot.size)], too_narrow
    maps = {colour: on_map(colour) for colour in shot.channels}
    return [
        gain_map(maps[colour], shot.size, (columns.start, rows.start), (2, 2))
        for rows, columns, colour in sites(shot)
    ], too_narrow


def _step(shadows: Sequence[Shadow]) -> tuple[float, list[Shadow]]:
    """How close the points of the map lie, and the shadows that it can hold."""
    widths = [s.width_px for s in shadows if s.width_px >= STEPS_A_SHADOW * FINE_STEP_PX]
    step = min([COARSE_STEP_PX, *(width / STEPS_A_SHADOW for width in widths)])
    return step, [s for s in shadows if s.width_px >= STEPS_A_SHADOW * step]


def _phase(shot: Shot) -> int:
    """What a 2 × 2 mosaic begins with, as FixBadPixelsList counts it."""
    first, beside = (colour for rows, _, colour in sites(shot) if rows.start == 0)
    if first == "green":
        return 1 if beside == "red" else 2
    return 0 if first == "red" else 3
