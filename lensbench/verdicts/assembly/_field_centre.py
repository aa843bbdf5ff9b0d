"""A curved field whose middle lies off the frame's: it slopes there, and nothing leans."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.findings import NORMAL_95, Camera, Setting
from lensbench.frame import centre_of, half_diagonal
from lensbench.verdicts.assembly._centres import TOGETHER, centre_positions


class FieldCentre(NamedTuple):
    """Where the field has its middle, in half-diagonals from the frame's (right, down), with its covariance."""

    vector: NDArray[np.float64]
    covariance: NDArray[np.float64]

    def slope(self, bowl: float, bowl_sigma: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """How a bowl that gains so much at h = 1 slopes in the frame's middle, a half-diagonal; the covariance."""
        square = np.outer(self.vector, self.vector)
        return -2 * bowl * self.vector, 4 * (bowl**2 * self.covariance + bowl_sigma**2 * square)


def field_centre(setting: Setting, settings: Sequence[Setting], camera: Camera) -> FieldCentre:
    """The mean of the optical centres that were seen with the lens standing as in one setting.

    Their covariance grows by what they disagree (Birge's ratio: Phys. Rev. 40, 207, 1932). Without any, the middle
    may lie as far off as the centres of a straight lens may lie apart.
    """
    way = setting.lens_turn_deg, setting.turned
    alike = [one for one in settings if (one.lens_turn_deg, one.turned) == way]
    at = [place for one in alike for _, place in centre_positions(one)]
    if not at:
        return FieldCentre(np.zeros(2), np.eye(2) * (TOGETHER / 2) ** 2)
    scale = half_diagonal(camera.size_px)
    places = (np.array([(p.x.value, p.y.value) for p in at]) - centre_of(camera.size_px)) / scale
    sigmas = np.array([(p.x.half_width, p.y.half_width) for p in at]) / NORMAL_95 / scale
    weights = 1 / np.square(np.maximum(sigmas, 1e-6))
    mean = (weights * places).sum(axis=0) / weights.sum(axis=0)
    misfit = (weights * (places - mean) ** 2).sum() / max(2 * (len(at) - 1), 1)
    return FieldCentre(mean, np.diag(max(misfit, 1.0) / weights.sum(axis=0)))
