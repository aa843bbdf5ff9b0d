"""How bright the middle of an even light was for its exposure, so that apertures can be told by their light."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lensbench.analysers.flat_light import CLIPPED_SHARE, REFERENCE_H, block_means, dark_level
from lensbench.figure import NORMAL_95, Figure
from lensbench.findings import CentreLight
from lensbench.frame import h_of
from lensbench.shot import Shot


def read_centre_light(flats: Sequence[Shot], darks: Sequence[Shot] = ()) -> CentreLight | None:
    """Light in the middle of flats of one setting, per second at ISO 100.

    Parameters
    ----------
    flats : sequence of Shot
        One or more, taken alike.
    darks : sequence of Shot
        Frames taken with the lens covered, at the flats' exposure.

    Returns
    -------
    CentreLight or None
        None where the camera recorded no exposure, or where the middle is clipped.
    """
    found = [one for flat in flats if (one := _per_exposure(flat, darks)) is not None]
    first = flats[0].exposure
    if len(found) < len(flats) or not first.shutter_s or not first.iso:
        return None
    values, noise = np.array(found).T
    relative = float(np.sqrt(np.square(noise / values).sum())) / len(values)
    if len(values) > 1:
        relative = float(np.hypot(relative, values.std(ddof=1) / values.mean()))
    mean = float(values.mean())
    return CentreLight(
        Figure.of(mean, NORMAL_95 * relative * mean, ""), first.shutter_s, first.iso, [flat.name for flat in flats]
    )


def _per_exposure(flat: Shot, darks: Sequence[Shot]) -> tuple[float, float] | None:
    """Light per second at ISO 100, and the standard deviation of its mean over the blocks."""
    exposure = flat.exposure
    if not exposure.shutter_s or not exposure.iso:
        return None
    blocks = block_means(flat, flat.reference)
    middle = h_of(blocks.x[None, :], blocks.y[:, None], flat.size) < REFERENCE_H
    if not middle.any() or np.median(blocks.clipped[middle]) > CLIPPED_SHARE:
        return None
    level = (blocks.light - dark_level(darks, flat, flat.reference))[middle]
    mean = float(level.mean())
    if mean <= 0:
        return None
    scale = flat.full_scale(flat.reference) * exposure.shutter_s * exposure.iso / 100
    return mean / scale, float(level.std() / np.sqrt(level.size)) / scale
