"""How defocus changes over the frame, read off the blur of single shots: lean and curvature of the field.

Blur tells how far out of focus a place is, not on which side. Over the frame defocus follows a plane (the lean)
and a bowl (the curvature of field): where they are fitted together only the sign of all is left open.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

from lensbench.findings import NORMAL_95, Camera, EdgeSharpness, Setting
from lensbench.frame import centre_of, half_diagonal
from lensbench.optics import GREEN_NM, defocused_mtf, effective_f_number, quarter_wave_focus
from lensbench.shot import reference_channel

LEAST_EDGES = 40
"""Edges, sagittal and tangential, below which nothing is fitted."""

MODEL_SIGMA = 0.05
"""Relative standard deviation of squared blur that the model leaves besides noise (study:
`tests/bench/assembly.py`)."""

SCALE_SIGMA = 0.05
"""Relative standard deviation of all defocus together: a lens is no perfect lens out of focus (study:
`tests/bench/assembly.py`)."""

MOST_DEPTHS = 30.0
"""Defocus is followed to so many quarter-wave depths."""

CURVATURE_PRIOR, BLUR_PRIOR = 6.0, 3.0
"""Standard deviations: of the field's curvature at h = 1 in depths, and of the lens's own blur there, squared,
over that of a perfect lens (chosen by experience)."""


class BlurLean(NamedTuple):
    """Defocus over the frame in quarter-wave depths at the sensor; the sign of all is open together.

    Attributes
    ----------
    lean : ndarray, shape (2,)
        What it gains over a half-diagonal to the right and downwards.
    covariance : ndarray, shape (2, 2)
        Of `lean`.
    bowl, bowl_sigma : float
        What it gains at h = 1 all round: curvature of field, mean of both directions.
    depth_mm : float
        A quarter-wave depth.
    """

    lean: NDArray[np.float64]
    covariance: NDArray[np.float64]
    bowl: float
    bowl_sigma: float
    depth_mm: float


def blur_lean(setting: Setting, camera: Camera, pupil_ratio: float = 1.0) -> BlurLean | None:
    """Fit lean and curvature of the field to the blur of one setting.

    Parameters
    ----------
    setting : Setting
        With sharpness, f-number and magnification.
    camera : Camera
        For the frame's size and the pixel pitch.
    pupil_ratio : float
        Exit over entrance pupil.

    Returns
    -------
    BlurLean or None
        None where too little is known, or too few edges were measured.
    """
    pitch = camera.pixel_pitch_um
    if setting.sharpness is None or setting.f_number is None or pitch is None:
        return None
    magnification = setting.magnification.value if setting.magnification else 0.0
    f_number = float(effective_f_number(setting.f_number, magnification, pupil_ratio))
    edges = _edges(setting.sharpness.edges)
    if len(edges) < LEAST_EDGES:
        return None
    field = _BlurField.of(edges, camera.size_px, _blur_by_defocus(round(f_number, 3), pitch))
    best = min(field.fits(), key=lambda fit: fit.cost)
    reduced = 2 * best.cost / max(len(edges) - len(best.x), 1)
    covariance = max(reduced, 1.0) * np.linalg.pinv(best.jac.T @ best.jac, hermitian=True)
    covariance[_LEAN, _LEAN] += np.outer(best.x[_LEAN], best.x[_LEAN]) * SCALE_SIGMA**2
    bowl = np.array([0.5, 0.5])
    return BlurLean(
        lean=best.x[_LEAN],
        covariance=covariance[_LEAN, _LEAN],
        bowl=float(bowl @ best.x[_BOWL]),
        bowl_sigma=float(np.sqrt(bowl @ covariance[_BOWL, _BOWL] @ bowl)),
        depth_mm=float(quarter_wave_focus(f_number, GREEN_NM * 1e-6)),
    )


def _edges(edges: Sequence[EdgeSharpness]) -> list[EdgeSharpness]:
    """The used edges along and across the radius, in the channel that speaks for sharpness."""
    used = [e for e in edges if e.used and e.mtf50 and e.direction in ("sagittal", "tangential")]
    channel = reference_channel([edge.channel for edge in used])
    return [edge for edge in used if edge.channel == channel]


@lru_cache(maxsize=8)
def _blur_by_defocus(f_number: float, pitch_um: float) -> CubicSpline:
    """1 / MTF50² of a perfect lens with pixels, by defocus in quarter-wave depths."""
    depths = np.linspace(0, MOST_DEPTHS, 121)
    frequency = np.linspace(0.001, 1.0, 1000)
    wavelength = GREEN_NM * 1e-3
    defocus = depths[:, None] * quarter_wave_focus(f_number, wavelength)
    contrast = defocused_mtf(frequency / pitch_um, wavelength, f_number, defocus) * np.sinc(frequency)
    first = np.argmax(contrast < 0.5, axis=1)
    rows = np.arange(len(depths))
    high, low = contrast[rows, np.maximum(first - 1, 0)], contrast[rows, first]
    step = frequency[1] - frequency[0]
    half = frequency[np.maximum(first - 1, 0)] + step * (high - 0.5) / np.maximum(high - low, 1e-9)
    return CubicSpline(depths, np.where(contrast.min(axis=1) < 0.5, half, 1.0) ** -2.0)


_LEAN, _BOWL = slice(1, 3), slice(3, 5)
"""Where lean and curvature (sagittal, tangential) stand among the parameters; the centre's defocus comes first,
then blur of the lens's own: everywhere, and at h = 1 for both directions, over a perfect lens's."""


class _BlurField(NamedTuple):
    """Edges' positions in half-diagonals, which are tangential, their squared blur's logarithm, and its sigma."""

    x: NDArray
    y: NDArray
    tangential: NDArray
    level: NDArray
    sigma: NDArray
    blur: CubicSpline

    @classmethod
    def of(cls, edges: Sequence[EdgeSharpness], size: tuple[int, int], blur: CubicSpline) -> _BlurField:
        x, y = ((np.array([(e.x, e.y) for e in edges]) - centre_of(size)) / half_diagonal(size)).T
        mtf50 = np.array([(e.mtf50.value, e.mtf50.half_width) for e in edges if e.mtf50])
        noise = 2 * mtf50[:, 1] / NORMAL_95 / mtf50[:, 0]
        tangential = np.array([e.direction == "tangential" for e in edges])
        return cls(x, y, tangential, -2 * np.log(mtf50[:, 0]), np.hypot(noise, MODEL_SIGMA), blur)

    def residuals(self, theta: NDArray) -> NDArray[np.float64]:
        square = self.x**2 + self.y**2
        bowl = np.where(self.tangential, theta[4], theta[3])
        own = theta[5] + np.where(self.tangential, theta[7], theta[6]) * square
        defocus = theta[0] + theta[1] * self.x + theta[2] * self.y + bowl * square
        perfect = float(self.blur(0.0))
        model = self.blur(np.minimum(np.abs(defocus), MOST_DEPTHS)) + perfect * own
        misfit = (self.level - np.log(np.maximum(model, 0.2 * perfect))) / self.sigma
        return np.concatenate([misfit, theta[3:5] / CURVATURE_PRIOR, theta[5:] / BLUR_PRIOR])

    def fits(self) -> Iterator:
        """Fits from starts all over, the few best of them to the end."""
        leans = [(0.0, 0.0), *((s, 0.0) for s in (-1.5, 1.5)), *((0.0, s) for s in (-1.5, 1.5))]
        starts = [
            np.array([centre, *lean, bowl, bowl, 0.3, 0.3, 0.3])
            for centre, lean, bowl in product((0.3, 1.5), leans, (-1.0, 1.0))
        ]
        rough = [least_squares(self.residuals, start, loss="soft_l1", max_nfev=6) for start in starts]
        for one in sorted(rough, key=lambda fit: fit.cost)[:3]:
            yield least_squares(self.residuals, one.x, loss="soft_l1", max_nfev=60)
