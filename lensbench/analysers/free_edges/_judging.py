"""Whether a part of a line is a clean straight edge: smooth, and even on both sides as far as a profile needs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.free_edges._lines import Part
from lensbench.analysers.free_edges._picture import AROUND_PX, Picture
from lensbench.findings import Reason

MOST_BENT = 0.012
"""Curvature (sagitta over length) of a part at most: no lens's distortion makes more, a coin does (own choice)."""

RAGGED_PX, RAGGED = 0.25, 0.2
"""Scatter of a line, in pixels and as a share of its blur, above which it is ragged (own choice)."""

REACH_PX = 160.0
"""How far to each side evenness is looked into."""

UNEVEN = 0.06
"""Share of the contrast by which light may vary on an even side (own choice)."""

LEAST_REACH, LEAST_REACH_PX = 7.0, 9.0
"""Both sides must be even over so many blur widths, and so many pixels."""

MARGIN = 4.5
"""Blur widths by which neighbouring parts of one line overlap: edges are measured so far from their ends."""


@dataclass(frozen=True)
class RefusedLine:
    """A line that looks like an edge and can't serve as one: its middle, its length in pixels, and why.

    `even_px` is how far the side named by the reason is even, where it is for too few pixels.
    """

    x: float
    y: float
    length_px: float
    reason: Reason
    even_px: int | None = None


class CleanPart(NamedTuple):
    """A part that will do, in pixels of the shot: its ends, the way to bright, how far both sides are even."""

    ends_px: NDArray
    towards_bright: NDArray
    reach_px: NDArray


def judged(picture: Picture, part: Part, line: NDArray) -> CleanPart | RefusedLine:
    """A part in the shot's pixels, or why it won't do."""
    block = picture.block
    u, level = _sections(picture, part)
    if level[len(u) // 2 :].mean() < level[: len(u) // 2].mean():
        part = part._replace(along=-part.along, curvature=-part.curvature)
        u, level = _sections(picture, part)
    noise = float(picture.noise(level.max()))
    blur, clear = _blur_and_reach(u, level, noise, AROUND_PX / picture.block)
    reason = _reason_against(part, blur, clear, noise, float(np.ptp(level)), block)
    if reason:
        x, y = part.middle * block + picture.offset
        even = round(float(clear.min() * block)) if reason in (Reason.DARK_SIDE, Reason.BRIGHT_SIDE) else None
        return RefusedLine(float(x), float(y), float(part.length * block), reason, even)
    # Where the line goes on beyond the part, the margin that edges keep from their ends lies there.
    line_ends = (line[[0, -1]] - part.middle) @ part.along
    low, high = np.clip((line_ends.min(), line_ends.max()), *(part.length / 2 + MARGIN * blur) * np.array([-1, 1]))
    ends = part.middle + np.outer((min(low, -part.length / 2), max(high, part.length / 2)), part.along)
    return CleanPart(ends * block + picture.offset, part.normal, clear * block)


SECTIONS = 8
"""Sections along a part that must all be even: a speck may fill less than half of one."""


def _sections(picture: Picture, part: Part) -> tuple[NDArray, NDArray]:
    """Distances across a part, in blocks, and the light there in each of its sections, shape (u, sections)."""
    step = max(2 / picture.block, 0.5)
    side = np.arange(step / 2, REACH_PX / picture.block, step)
    u = np.concatenate([-side[::-1], side])
    count = SECTIONS * int(np.clip(part.length / SECTIONS, 2, 12))
    s = (np.arange(count) + 0.5) / count * 2 - 1
    across = u[:, None] + part.curvature * (s**2 - 0.5)
    places = part.middle + s[:, None] * part.along * part.length / 2 + across[..., None] * part.normal
    return u, np.median(picture.at(places).reshape(len(u), SECTIONS, -1), axis=2)


def _blur_and_reach(u: NDArray, level: NDArray, noise: float, around: float) -> tuple[float, NDArray]:
    """Blur width, and how far the dark and the bright side stay even, in blocks."""
    profile = np.median(level, axis=1)
    near = np.abs(u) <= around
    dark, bright = profile[near & (u < 0)].min(), profile[near & (u > 0)].max()
    contrast = max(bright - dark, 1e-9)
    share = np.clip((profile[near] - dark) / contrast, 0, 1)
    # ∫E(1 - E) is the blur width over √π in a Gaussian edge; a block's own width adds its variance.
    spread = (share * (1 - share)).sum() * (u[1] - u[0])
    blur = float(np.sqrt(max(np.pi * spread**2 - 1 / 12, 0.0)))
    room = UNEVEN * contrast + 3 * noise
    sides = (level[u < 0][::-1], dark), (level[u > 0], bright)
    even = [np.abs(side - plateau).max(axis=1) < room for side, plateau in sides]
    return blur, np.array([_even_as_far_as(side) for side in even]) * (u[1] - u[0])


def _even_as_far_as(even: NDArray[np.bool_]) -> int:
    """How many steps out the first even stretch ends, 0 without any."""
    if not even.any():
        return 0
    first = int(np.argmax(even))
    broken = np.flatnonzero(~even[first:])
    return first + int(broken[0]) if len(broken) else len(even)


def _reason_against(part: Part, blur: float, clear: NDArray, noise: float, contrast: float, block: int) -> Reason:
    """Why a part is not measured; `Reason.NONE` where it is."""
    needed = max(LEAST_REACH * blur, LEAST_REACH_PX / block)
    unsure = noise / max(contrast, 1e-9) * max(blur, 0.5) * 3
    if part.scatter * block > max(RAGGED_PX, RAGGED * blur * block) + unsure * block:
        return Reason.RAGGED
    if abs(part.curvature) > MOST_BENT * part.length + 0.1:
        return Reason.BENT
    if clear.min() < needed:
        return (Reason.DARK_SIDE, Reason.BRIGHT_SIDE)[int(clear.argmin())]
    return Reason.NONE
