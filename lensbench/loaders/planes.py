"""Decoded pictures (grey, or planes of red, green and blue) to shots in linear light."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lensbench.errors import BenchError
from lensbench.loaders.encoding import decode_srgb
from lensbench.loaders.levels import clipping_level
from lensbench.shot import Exposure, Shot

TOUCHED_UP = "sharpening and tone curves change every figure. Don't compare them with figures from raw."
"""Why figures from pictures made for looking at don't compare with those from raw."""


def picture_shot(name: str, samples: NDArray, encoding: str, bits: int, exposure: Exposure) -> Shot:
    """A shot of a grey or RGB picture.

    Parameters
    ----------
    name : str
        The file, as messages call it.
    samples : ndarray, shape (height, width) or (height, width, 3)
        As stored.
    encoding : {'linear', 'srgb'}
        How the numbers follow the light.
    bits : int
        Bits a sample, which fix the largest whole number.
    exposure : Exposure
        What the camera recorded.

    Raises
    ------
    BenchError
        If a sample is NaN or infinite.
    """
    if np.issubdtype(samples.dtype, np.floating):
        _check_finite(name, samples)
    if encoding == "srgb":
        samples, white = decode_srgb(samples), 1.0
    elif np.issubdtype(samples.dtype, np.integer):
        white = float(2**bits - 1)
    else:
        samples, white = samples.astype(np.float32), _float_white(samples)
    colours = ("red", "green", "blue") if samples.ndim == 3 else ("grey",)
    shot = Shot(
        name=name,
        samples=samples,
        pattern=None if samples.ndim == 3 else np.zeros((1, 1), dtype=np.uint8),
        colours=colours,
        black=np.zeros(len(colours)),
        white=white,
        gain=np.ones(len(colours)),
        exposure=exposure,
        incomparable=f"was developed for viewing: {TOUCHED_UP}" if encoding == "srgb" else None,
    )
    return replace(shot, white=clipping_level(shot)) if np.issubdtype(samples.dtype, np.integer) else shot


def _check_finite(name: str, samples: NDArray) -> None:
    bad = ~np.isfinite(samples)
    count = int(np.count_nonzero(bad))
    if count:
        y, x = np.unravel_index(int(np.argmax(bad)), samples.shape)[:2]
        raise BenchError(
            f"{name}: {count:,} of its {samples.size:,} numbers are not numbers at all (NaN or infinite), the "
            f"first at x = {x}, y = {y}. Export it again without them."
        )


def _float_white(samples: NDArray) -> float:
    """Where floating-point samples clip: at 1, or, on another scale, at the largest if many are exactly that.

    Where there is another scale and nothing shows clipping, just above the largest sample.
    """
    largest = float(samples.max())
    if largest <= 1:
        return 1.0
    piled_up = np.count_nonzero(samples == largest) > 1e-4 * samples.size
    return largest if piled_up else float(np.nextafter(np.float32(largest), np.float32(np.inf)))
