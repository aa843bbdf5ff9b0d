"""Leftovers of marks when they are subtracted, since no shadow has exactly the fitted profile."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.dust._acceptance import WIDEST_FIBRE_PX, Found
from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._boxes import Box
from lensbench.analysers.dust._fibre_tracing import Trace
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._mark_profile import relative_depth

# These were chosen by experience; tests/bench/dirt.py shows what they find and miss.

BLOB_SHARE, FIBRE_SHARE = 0.1, 0.7
"""What lies on a round mark or a fibre, or beside it, is a mark of its own when deeper than this share of the
other's depth there."""

NEARER = 0.75
"""Factor on the distance at which that depth is taken, as fitted positions and widths are a little off."""

MISFIT_SIGNAL, MISFIT_SHARE, MISFIT_NEARER = 0.1, 0.25, 0.4
"""The share and the factor where the signal to noise is less than a tenth of the other's: the misfit of its
profile is then significant."""

HALO_SHARE, HALO_RADIUS, HALO_PX = 0.08, 2.2, 3.0
"""The same all around a mark, out to so many times its radius at half depth, and for fibres so many pixels
more."""

END_SHARE = 1.5
"""The same at the ends of a fibre, whose position is known to a cell or so: the fibre itself may continue
there."""

FAINT_LINE = 0.2
"""Lines along a mark are its leftovers when their signal to noise is no more than this share of its."""

PAIR_PX = 16.0
"""Of a dark and a bright line side by side and so close, the fainter comes of a path that is a little off."""

BESIDE_SIGNAL, SHORT_WIDTHS, SHORT_PX = 0.5, 4.0, 24.0
"""Of a mark beside a fibre, or on it: less than this share of its signal to noise, and shorter than so many of its
widths or pixels, it comes of a bend, a crossing or an end that is a little off (chosen by experience)."""

WITHIN_SIGNAL, WITHIN_RADIUS = 0.7, 1.6
"""The same within a round mark, out to so many times its radius at half depth: a shadow's own middle or rim."""

ALONG_SHARE = 0.3
"""Share of a line's length in the halo of a mark from which the line counts as along it."""

NEGLIGIBLE = 1e-3
"""Relative depth of a shadow from which on it disturbs what lies there."""


def depth_share(mark: Found, x: ArrayLike, y: ArrayLike, nearer: float = 1.0) -> NDArray[np.float64]:
    """Relative depth of a mark at positions in pixels, their distance from it multiplied by a factor."""
    return relative_depth(nearer * mark.radius(x, y), mark.steepness)


def is_disturbed(mark: Blob, others: list[Found]) -> bool:
    """Whether a round mark lies in the shadow of another."""
    return any(float(depth_share(other, mark.x, mark.y)) > NEGLIGIBLE for other in others)


def exceed_leftovers(
    candidates: NDArray[np.bool_], x: NDArray, y: NDArray, depth: NDArray, found: list[Found]
) -> NDArray[np.bool_]:
    """Which candidates are deeper than what the marks found so far, subtracted, left at their positions.

    Parameters
    ----------
    candidates : ndarray of bool, shape (n,)
        Those that are examined; the others are False in the result.
    x, y, depth : ndarray, shape (n,)
        Positions in pixels and depths in percent.
    found : list of Blob and Fibre

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    kept = candidates.copy()
    for mark in found:
        on = np.flatnonzero(kept & mark.box.grown(mark.width.value).contains(x, y))
        kept[on] = depth[on] > leftover_depth(mark, x[on], y[on])
    return kept


def leftover_depth(mark: Found, x: NDArray, y: NDArray) -> NDArray[np.float64]:
    """Depth in percent that a mark, subtracted, may leave at positions in pixels."""
    share = (FIBRE_SHARE if isinstance(mark, Fibre) else BLOB_SHARE) * depth_share(mark, x, y, NEARER)
    if isinstance(mark, Fibre):
        to_end = np.min([np.hypot(x - px, y - py) for px, py in mark.path[[0, -1]]], axis=0)
        share = np.where(to_end < mark.reach + HALO_PX, END_SHARE, share)
    return abs(mark.depth.value) * np.maximum(share, HALO_SHARE * _in_halo(mark, x, y))


def is_leftover(mark: Found, others: list[Found]) -> bool:
    """Whether a mark is only what others, imperfectly subtracted, left."""
    if isinstance(mark, Fibre):
        x, y = mark.path[::4].T
    else:
        x, y = np.array([mark.x]), np.array([mark.y])
    for other in others:
        if not _surroundings(other).contains(x, y).any():
            continue
        if isinstance(mark, Blob) and isinstance(other, Blob) and _is_duplicate(mark, other):
            return True
        if isinstance(mark, Fibre) and isinstance(other, Fibre) and _runs_along(mark, other):
            return True
        if _is_beside(mark, other) if isinstance(other, Fibre) else _is_within(mark, other):
            return True
        # How accurately a mark is known, and so subtracted, depends on its depth here.
        depth = float(np.median(leftover_depth(other, x, y)))
        if mark.signal_to_noise < MISFIT_SIGNAL * other.signal_to_noise:
            # A ring left by a deep spot may be traced as a line that is deep only there; another fibre may cross.
            shares = depth_share(other, x, y, MISFIT_NEARER)
            crosses = isinstance(other, Fibre) and isinstance(mark, Fibre) and _same_sign(mark, other)
            share = float(np.median(shares) if crosses else shares.max())
            depth = max(depth, MISFIT_SHARE * abs(other.depth.value) * share)
        if abs(mark.depth.value) < depth:
            return True
    return False


def is_along(trace: Trace, others: list[Found]) -> bool:
    """Whether a line follows what a mark of much higher signal to noise left along its path."""
    x, y = trace.path[::4].T
    stronger = [other for other in others if trace.signal < FAINT_LINE * other.signal_to_noise]
    return any(float(np.mean(_in_halo(other, x, y))) > ALONG_SHARE for other in stronger)


def meets(trace: Trace, mark: Found) -> bool:
    """Whether a line comes close to a mark anywhere."""
    x, y = trace.path[::2].T
    if isinstance(mark, Fibre):
        return float(mark.distance(x, y).min()) < mark.reach + 10
    return float(depth_share(mark, x, y).max()) > NEGLIGIBLE


def _in_halo(mark: Found, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
    """Which positions in pixels lie close enough to a mark for its leftovers."""
    more = 2 * HALO_PX / mark.width.value if isinstance(mark, Fibre) else 0.0
    return mark.radius(x, y) < HALO_RADIUS + more


def _surroundings(mark: Found) -> Box:
    """Where leftovers of a mark, or lines along it, may lie: its shadow, however misfitted, is nothing beyond."""
    return mark.box.grown(mark.reach / MISFIT_NEARER + PAIR_PX + WIDEST_FIBRE_PX)


def _runs_along(one: Fibre, other: Fibre) -> bool:
    """Whether a fibre lies for the most part on another, or beside it as the fainter or the brighter of a pair."""
    away = float(np.median(other.distance(*one.path[::4].T))) - max(other.width.value, one.width.value)
    fainter = one.signal_to_noise / other.signal_to_noise
    if not _same_sign(one, other):
        return away < PAIR_PX and fainter < 1
    return away < 2 or (away < 8 and fainter < 2 * FAINT_LINE)


def _is_beside(mark: Found, fibre: Fibre) -> bool:
    """Whether a weaker mark of the other sign lies beside a fibre, or a short one of its own sign on it."""
    if mark.signal_to_noise > BESIDE_SIGNAL * fibre.signal_to_noise:
        return False
    x, y = mark.path[::4].T if isinstance(mark, Fibre) else np.array([[mark.x], [mark.y]])
    away = float(np.median(fibre.distance(x, y)))
    if not _same_sign(mark, fibre):
        return away < (fibre.width.value + mark.width.value) / 2 + PAIR_PX
    if mark.length.value > max(SHORT_WIDTHS * fibre.width.value, SHORT_PX):
        return False
    share = abs(mark.depth.value / fibre.depth.value)
    near = (fibre.width.value + mark.width.value) / 2 + HALO_PX
    # The last piece of it, perhaps, of its own width and depth.
    piece = share < END_SHARE and mark.width.value < 2 * fibre.width.value
    return away < near if share < 1 and not piece else piece and away < near + mark.length.value / 2


def _is_within(mark: Found, blob: Blob) -> bool:
    """Whether a weaker mark of the other sign lies for the most part in the shadow of a round one."""
    if _same_sign(mark, blob) or mark.signal_to_noise > WITHIN_SIGNAL * blob.signal_to_noise:
        return False
    x, y = mark.path[::4].T if isinstance(mark, Fibre) else np.array([[mark.x], [mark.y]])
    return float(np.median(blob.radius(x, y))) < WITHIN_RADIUS


def _same_sign(one: Found, other: Found) -> bool:
    return one.depth.value * other.depth.value > 0


def _is_duplicate(one: Blob, other: Blob) -> bool:
    """Whether two shapes are one mark, found twice."""
    alike = 0.5 < one.width.value / other.width.value < 2 and 0.5 < one.length.value / other.length.value < 2
    return alike and float(other.radius(one.x, one.y)) < 0.7
