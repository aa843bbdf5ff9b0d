"""Which shapes and lines are dirt that can show in a picture, and which come of noise, the sensor or the light."""

from __future__ import annotations

import numpy as np

from lensbench.analysers.dust._blobs import Blob
from lensbench.analysers.dust._fibres import Fibre
from lensbench.analysers.dust._residual import Residual
from lensbench.frame import radial_axes

Found = Blob | Fibre

LEAST_SIGNAL, LONG_LEAST_SIGNAL = 6.3, 6.9
"""Least signal to noise of a mark, and of one twice as long as wide: noise alone exceeds it less than once in ten
frames of 24 megapixels (study: tests/bench/dirt.py)."""

FIBRE_SIGNAL, FIBRE_STEP_SIGNAL, FIBRE_STEP_PX = 6.7, 1.75, 32.0
"""The same of a fibre, which noise can imitate in more ways: the first, and so much more for each step of its
path, added in squares, as a path that follows noise gains some signal at each step (study:
tests/bench/dirt.py)."""

LEAST_DEPTH = {"spot": 0.4, "fibre": 0.4, "patch": 0.7}
"""Shallower marks (in percent) show in no picture, and large ones are more likely unevenness of the light (chosen
by experience)."""

LEAST_STEPS = 2.0
"""Where the steps of the stored numbers show, marks shallower than so many may come of them: JPEG rounds twice."""

LEVELLED_DEPTH = 1.0
"""Shallower marks (in percent) can't be distinguished from what levelling leaves of the corners' own light."""

LEAST_WIDTH_PX = 2.5
"""Narrower round marks are the sensor's own."""

LEAST_FIBRE_PX, WIDEST_FIBRE_PX = 24.0, 80.0
"""Shorter lines are spots or nothing, and wider ones no fibres (chosen by experience)."""

FIBRE_ASPECT = 3.0
"""Marks longer than this many widths are fibres."""

PATCH_PX = 100.0
"""Spots wider than this are patches."""

RIDGE_WIDTH_PX, RIDGE_LENGTH_PX, RIDGE_DEPTH, RIDGE_COSINE = 30.0, 300.0, 2.0, 0.6
"""Marks at least so wide and long, shallower (in percent) and within 37° of the tangential direction may be ridges
of the light: where a ring of the lens begins to cut the pencils, its gradient changes along an arc (chosen by
experience)."""

RIDGE_SAG, RIDGE_CHORD = (0.35, 2.0), 0.75
"""Height of a ridge's middle over its chord, over that of an arc around the centre, and its chord over its length
at least: fibres run straight, or bend otherwise (chosen by experience)."""


def is_visible(mark: Found, rounding: float = 0.0) -> bool:
    """Whether a mark is dirt that can show in a picture, and not the sensor's own.

    `rounding` is one step of the stored numbers as a share of the light, where it shows.
    """
    if abs(mark.depth.value) < 100 * LEAST_STEPS * rounding:
        return False
    if isinstance(mark, Fibre):
        deep = abs(mark.depth.value) >= LEAST_DEPTH["fibre"]
        deep &= mark.signal_to_noise >= least_fibre_signal(mark.length.value)
        thin = mark.width.value < min(WIDEST_FIBRE_PX, mark.length.value / FIBRE_ASPECT)
        return deep and thin and mark.length.value >= LEAST_FIBRE_PX
    kind = "patch" if mark.width.value >= PATCH_PX else "spot"
    # The more orientations a shape may have, the likelier noise fits one of them.
    least = LEAST_SIGNAL if mark.length.value < 2 * mark.width.value else LONG_LEAST_SIGNAL
    deep = abs(mark.depth.value) >= max(LEAST_DEPTH[kind], mark.depth.half_width)
    return deep and mark.signal_to_noise >= least and mark.width.value >= LEAST_WIDTH_PX


def is_uneven_light(mark: Found, residual: Residual) -> bool:
    """Whether a mark may be uneven light: faint where the border was levelled, or a ridge along an arc."""
    levelled = bool(residual.levelled_at(mark.x, mark.y))
    return (levelled and abs(mark.depth.value) < LEVELLED_DEPTH) or _is_ridge(mark, residual.size)


def _is_ridge(mark: Found, size: tuple[int, int]) -> bool:
    """Whether a long, wide, faint mark runs around the centre, as the light does where a ring begins to cut it."""
    if mark.width.value < RIDGE_WIDTH_PX or mark.length.value < RIDGE_LENGTH_PX:
        return False
    along = mark.path[-1] - mark.path[0] if isinstance(mark, Fibre) else mark.axis
    outward, _ = radial_axes(mark.x, mark.y, size)
    cosine = abs(float(np.dot(along, outward))) / max(float(np.hypot(*along)), 1e-9)
    if abs(mark.depth.value) >= RIDGE_DEPTH or cosine >= RIDGE_COSINE:
        return False
    return not isinstance(mark, Fibre) or _follows_arc(mark, size)


def _follows_arc(fibre: Fibre, size: tuple[int, int]) -> bool:
    """Whether a fibre bends about as an arc around the frame's centre does."""
    path = fibre.path - (np.array(size) - 1) / 2
    third = max(len(path) // 3, 1)
    ends, middle = np.hypot(*path[[0, -1]].T).mean(), np.hypot(*path[third:-third].T).mean()
    # The height of its middle over the chord, and that of an arc.
    chord = np.hypot(*path[[0, -1]].mean(axis=0))
    straight = np.hypot(*(path[-1] - path[0])) > RIDGE_CHORD * fibre.length.value
    least, most = RIDGE_SAG
    return bool(straight and least * (ends - chord) < middle - chord < most * (ends - chord))


def least_fibre_signal(length_px: float) -> float:
    """Least signal to noise of a fibre of this length."""
    return float(np.sqrt(FIBRE_SIGNAL**2 + FIBRE_STEP_SIGNAL**2 * length_px / FIBRE_STEP_PX))


def is_elongated(blob: Blob) -> bool:
    """Whether a shape is rather a fibre's."""
    width, length = blob.width.value, blob.length.value
    return length >= FIBRE_ASPECT * width and length >= LEAST_FIBRE_PX and width < WIDEST_FIBRE_PX


def is_same_mark(refitted: Blob, first: Blob) -> bool:
    """Whether a round mark fitted again is still the mark that it was."""
    depth = refitted.depth.value / first.depth.value
    area = refitted.width.value * refitted.length.value / (first.width.value * first.length.value)
    return 0.3 < depth < 3 and 0.2 < area < 5
