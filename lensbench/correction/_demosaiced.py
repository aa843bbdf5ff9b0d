"""A mosaic to planes of every colour, by LibRaw's own methods, from light that gains have been applied to already.

Adaptive homogeneity-directed demosaicing (AHD) for 2 × 2 mosaics, LibRaw's three passes for six by six ones. The
light goes to LibRaw as a small DNG in memory, with a pedestal under black, so that noise keeps its mean.

References
----------
K. Hirakawa and T. W. Parks, "Adaptive homogeneity-directed demosaicing algorithm", IEEE Transactions on Image
Processing 14 (2005).
"""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import rawpy
from numpy.typing import NDArray

from lensbench.correction._directory import ASCII, BYTE, LONG, RATIONAL, SHORT, SRATIONAL, entry, tiff_bytes
from lensbench.correction._dng_copy import entry_of
from lensbench.dng import photometric_of, sample_tags
from lensbench.shot import Shot

_PEDESTAL = 2048
_RANGE = 65535 - _PEDESTAL


def demosaiced(shot: Shot, light: NDArray[np.float32], method: str = "AHD") -> NDArray[np.float32]:
    """Red, green and blue at every place.

    Parameters
    ----------
    shot : Shot
        Whose mosaic the light is laid out as; its samples are not looked at.
    light : ndarray, shape (height, width)
        1 at white; what lies above is cut off.
    method : str
        One of LibRaw's names.

    Returns
    -------
    ndarray of float32, shape (height, width, 3)
    """
    stored = np.clip(light, -_PEDESTAL / _RANGE, 1.0)
    stored *= _RANGE
    stored += _PEDESTAL + 0.5
    mosaic = replace(shot, samples=stored.astype("<u2"), black=np.zeros(len(shot.colours)), white=65535.0)
    del stored
    with rawpy.imread(io.BytesIO(_in_memory(mosaic))) as raw:
        planes = raw.postprocess(
            demosaic_algorithm=rawpy.DemosaicAlgorithm[method],
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            user_wb=[1, 1, 1, 1],
            user_flip=0,
            user_sat=65535,
            no_auto_bright=True,
            no_auto_scale=True,
        )
    developed = planes.astype(np.float32)
    developed -= _PEDESTAL
    developed /= _RANGE
    return developed


def _in_memory(mosaic: Shot) -> bytes:
    width, height = mosaic.size
    entries = [
        entry(254, LONG, 0),
        entry(256, LONG, width),
        entry(257, LONG, height),
        entry(258, SHORT, 16),
        entry(259, SHORT, 1),
        entry(262, SHORT, photometric_of(mosaic)),
        entry(272, ASCII, "mosaic"),
        entry(277, SHORT, 1),
        entry(278, LONG, height),
        entry(50706, BYTE, (1, 4, 0, 0)),
        entry(50708, ASCII, "mosaic"),
        entry(50721, SRATIONAL, np.eye(3).ravel()),
        entry(50728, RATIONAL, (1, 1, 1)),
        entry(50778, SHORT, 21),
        *(entry_of(tag) for tag in sample_tags(mosaic)),
    ]
    return tiff_bytes(entries, [mosaic.samples.tobytes()])
