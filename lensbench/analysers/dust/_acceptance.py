"""Which shapes and lines are dirt that can show, and which the sensor's, the light's, or other marks' remains."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._blob_shape import Shape
from lensbench.analysers.dust._fibre_path import Trail
from lensbench.analysers.dust._fibre_shape import Fibre
from lensbench.analysers.dust._pyramid import Box
from lensbench.analysers.dust._rim import fade
from lensbench.frame import radial_axes

LEAST_SIGNAL, LONG_LEAST_SIGNAL = 6.3, 6.9
"""Least signal to noise of a mark, and of one twice as long as wide: noise alone passes it less than once in ten
frames of 24 megapixels."""

FIBRE_SIGNAL, FIBRE_STEP_SIGNAL, FIBRE_STEP_PX = 6.7, 1.75, 32.0
"""The same of a fibre, which noise can be mistaken for in more ways: the first, and besides so much for each step
of its path, for a path that is led by noise gathers some signal at each step (the roots of the squares add)."""

LEAST_DEPTH = {"spot": 0.4, "fibre": 0.4, "patch": 0.7}
"""Shallower marks (in percent) show in no picture, and large ones are likelier unevenness of the light."""

LEAST_STEPS = 2.0
"""Where the steps of the stored numbers show, marks shallower than so many may come of them: JPEG rounds twice."""

LEAST_WIDTH_PX = 2.5
"""Whatever round mark is sharper than this is the sensor's own."""

LEAST_FIBRE_PX, WIDEST_FIBRE_PX = 24.0, 80.0
"""Shorter lines are spots or nothing, and wider ones no fibres."""

FIBRE_ASPECT = 3.0
"""Marks longer than this many widths are fibres."""

PATCH_PX = 100.0
"""Spots wider than this are patches."""

RIDGE_WIDTH_PX, RIDGE_LENGTH_PX, RIDGE_DEPTH, RIDGE_LEAN = 30.0, 300.0, 2.0, 0.6
"""Marks at least so wide and long, less deep (in percent) and within 37° of square to the radius may be ridges of
the light: where a ring of the lens begins to cut the pencils, the light bends along an arc."""

BESIDE_DEPTH = {Shape: 0.1, Fibre: 0.7}
"""What lies on a mark, or beside it, is a mark of its own when it is deeper than this share of the other there."""

MISFIT_DEPTH, MISFIT_NEARER = 0.25, 0.4
"""The same where the other is ten times as plain, at this share of the distance: no shadow has quite the profile
that was fitted."""

HALO_DEPTH, HALO_RADIUS, HALO_PX = 0.08, 2.2, 3.0
"""The same all around a mark, out to so many times the way to its half depth, and for fibres so much more."""

END_DEPTH = 1.5
"""The same at the ends of a fibre, which are known to a cell or so: the fibre itself may go on there."""

FAINT_LINE = 0.2
"""Lines along a mark are its leftovers when their signal to noise is no more than this share of its."""

PAIR_PX = 16.0
"""Of a dark and a bright line side by side and so close, the fainter comes of a path that is a little off."""

LED_SHARE = 0.3
"""So much of a line's length must lie along the mark for that."""

Found = Shape | Fibre


def is_deep_enough(mark: Found, rounding: float = 0.0) -> bool:
    """Whether a mark is dirt that can show in a picture, and not the sensor's own.

    `rounding` is the share of the light that one step of the stored numbers makes, where that shows.
    """
    if abs(mark.depth.value) < 100 * LEAST_STEPS * rounding:
        return False
    if isinstance(mark, Fibre):
        deep = abs(mark.depth.value) >= LEAST_DEPTH["fibre"]
        deep &= mark.signal_to_noise >= least_fibre_signal(mark.length.value)
        thin = mark.width.value < min(WIDEST_FIBRE_PX, mark.length.value / FIBRE_ASPECT)
        return deep and thin and mark.length.value >= LEAST_FIBRE_PX
    kind = "patch" if mark.width.value >= PATCH_PX else "spot"
    # The more ways a shape may lie, the likelier noise fits one of them.
    least = LEAST_SIGNAL if mark.length.value < 2 * mark.width.value else LONG_LEAST_SIGNAL
    deep = abs(mark.depth.value) >= max(LEAST_DEPTH[kind], mark.depth.half_width)
    return deep and mark.signal_to_noise >= least and mark.width.value >= LEAST_WIDTH_PX


def is_ridge(mark: Found, size: tuple[int, int]) -> bool:
    """Whether a long, wide, faint mark runs around the middle, as the light does where a ring begins to cut it."""
    if mark.width.value < RIDGE_WIDTH_PX or mark.length.value < RIDGE_LENGTH_PX:
        return False
    along = mark.path[-1] - mark.path[0] if isinstance(mark, Fibre) else mark.axis
    outward, _ = radial_axes(mark.x, mark.y, size)
    lean = abs(float(np.dot(along, outward))) / max(float(np.hypot(*along)), 1e-9)
    return abs(mark.depth.value) < RIDGE_DEPTH and lean < RIDGE_LEAN


def least_fibre_signal(length_px: float) -> float:
    """Least signal to noise of a fibre of this length."""
    return float(np.sqrt(FIBRE_SIGNAL**2 + FIBRE_STEP_SIGNAL**2 * length_px / FIBRE_STEP_PX))


def is_elongated(shape: Shape) -> bool:
    """Whether a shape is rather a fibre's."""
    width, length = shape.width.value, shape.length.value
    return length >= FIBRE_ASPECT * width and length >= LEAST_FIBRE_PX and width < WIDEST_FIBRE_PX


def share_of(mark: Found, x: NDArray, y: NDArray, nearer: float = 1.0) -> NDArray[np.float64]:
    """Share of a mark's depth at places in pixels, brought nearer by a factor."""
    return fade(nearer * mark.radius(x, y), mark.steepness)


def _in_halo(mark: Found, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
    """Which places in pixels lie so near a mark that what it left can be there."""
    more = 2 * HALO_PX / mark.width.value if isinstance(mark, Fibre) else 0.0
    return mark.radius(x, y) < HALO_RADIUS + more


def left_behind(mark: Found, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """How deep (percent) something at places in pixels must be to be more than what a mark, taken out, left."""
    beside = BESIDE_DEPTH[type(mark)] * share_of(mark, x, y, nearer=0.75)
    if isinstance(mark, Fibre):
        to_end = np.min([np.hypot(x - px, y - py) for px, py in mark.path[[0, -1]]], axis=0)
        beside = np.where(to_end < mark.reach + HALO_PX, END_DEPTH, beside)
    return abs(mark.depth.value) * np.maximum(beside, HALO_DEPTH * _in_halo(mark, x, y))


def is_left_over(mark: Found, others: list[Found]) -> bool:
    """Whether a mark is only what others, taken out not quite, left behind."""
    places = mark.path[::4].T if isinstance(mark, Fibre) else (np.array([mark.x]), np.array([mark.y]))
    for other in others:
        if not _about(other).holds(*places).any():
            continue
        if isinstance(mark, Shape) and isinstance(other, Shape) and _is_same(mark, other):
            return True
        if isinstance(mark, Fibre) and isinstance(other, Fibre) and _runs_along(mark, other):
            return True
        # How well a mark is known, and so taken out, goes with how deep it is hereabouts.
        depth = float(np.median(left_behind(other, *places)))
        if mark.signal_to_noise < 0.1 * other.signal_to_noise:
            # A ring that a plain spot leaves may be drawn out to a line that is deep only there.
            depth = max(
                depth, MISFIT_DEPTH * abs(other.depth.value) * float(share_of(other, *places, MISFIT_NEARER).max())
            )
        if abs(mark.depth.value) < depth:
            return True
    return False


def _about(mark: Found) -> Box:
    """Where something may be left of a mark, or lie along it: beyond, its shadow is nothing even misfitted."""
    return mark.box.grown(mark.reach / MISFIT_NEARER + PAIR_PX + WIDEST_FIBRE_PX)


def is_beside(trail: Trail, others: list[Found]) -> bool:
    """Whether a line is led by what a much plainer mark left along its path."""
    path = trail.path[::4].T
    plainer = [other for other in others if trail.signal < FAINT_LINE * other.signal_to_noise]
    return any(np.mean(_in_halo(other, *path)) > LED_SHARE for other in plainer)


def meets(trail: Trail, mark: Found) -> bool:
    """Whether a trail comes close to a mark anywhere."""
    path = trail.path[::2].T
    if isinstance(mark, Fibre):
        return float(mark.distance(*path).min()) < mark.reach + 10
    return float(share_of(mark, *path).max()) > 1e-3


def _runs_along(one: Fibre, other: Fibre) -> bool:
    """Whether a fibre lies for the most part on another, or beside it as the fainter or the brighter of a pair."""
    away = float(np.median(other.distance(*one.path[::4].T))) - max(other.width.value, one.width.value)
    fainter = one.signal_to_noise / other.signal_to_noise
    if one.depth.value * other.depth.value < 0:
        return away < PAIR_PX and fainter < 1
    return away < 2 or (away < 8 and fainter < 2 * FAINT_LINE)


def _is_same(one: Shape, other: Shape) -> bool:
    """Whether two shapes are one mark, found twice."""
    alike = 0.5 < one.width.value / other.width.value < 2 and 0.5 < one.length.value / other.length.value < 2
    return alike and float(other.radius(one.x, one.y)) < 0.7


def is_like(renewed: Shape, first: Shape) -> bool:
    """Whether a shape fitted anew is still the mark that it was."""
    depth = renewed.depth.value / first.depth.value
    area = renewed.width.value * renewed.length.value / (first.width.value * first.length.value)
    return 0.3 < depth < 3 and 0.2 < area < 5
