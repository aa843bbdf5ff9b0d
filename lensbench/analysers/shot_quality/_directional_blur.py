"""Blur in one direction, uniform over the frame: motion causes it, and a centred lens only radial patterns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.analysers.edge import EdgeResponses
from lensbench.frame import centre_of, half_diagonal
from lensbench.optics import gaussian_mtf, gaussian_mtf50
from lensbench.robust import cauchy_weight, robust_sigma

FEWEST_TILES = 12
"""Whole tiles needed to separate a uniform part from the lens's radial pattern (chosen by experience)."""

ROUNDS = 12
"""Rounds of the reweighted fit; it settles after far fewer."""

MIN_STRENGTH = 2.0
"""The uniform part counts if it is so many times the tiles' scatter about the pattern (checked with
`tests.bench.warnings`) ..."""

SHORTEST_PX = 0.7
"""... and amounts to a motion of so many pixels: less is hidden by the pixel's own aperture (same study)."""

COMA_ASYMMETRY = 0.7
"""Uniform coma that increases the blur's variance along its direction by a relative strength s gives edges that
face it an asymmetry of about so much times s^1.5 (`EdgeAsymmetry`): third moment against second."""

SURELY_COMA = 0.39
"""Share of that from which blur is coma's: a jerk that rests at three places in turn has up to 0.34, the lenses of
`tests/spoiled_shots.py` with uniform coma 0.44 or more. The notice of motion says that it may be the lens."""

MOST_OF_COMA, ALONG = 0.1, 0.85
"""Contrast that returns beyond a frequency where it was lost, of edges whose normal has at least this part along
the blur: coma's up to 0.02, that of rests at places apart from 0.2 (study: `tests/bench/gauntlet`)."""


@dataclass(frozen=True)
class DirectionalBlur:
    """Blur along one direction, the same at all tiles.

    Attributes
    ----------
    length_px : float
        Length of the uniform motion that lowers MTF50 as much.
    angle_deg : float
        Its direction, anticlockwise as seen from x right, 0 to 180.
    lost_percent : float
        Share of the MTF50 along that direction that it takes, at the typical tile.
    strength : float
        By how much it increases the typical tile's variance along that direction, and decreases it across.
    rebound : float
        How much the MTF along that direction rises again beyond its lowest, the median edge: as where the camera
        rested at several places.
    tiles : int
        How many tiles it is measured at.
    """

    length_px: float
    angle_deg: float
    lost_percent: float
    strength: float
    rebound: float
    tiles: int

    def is_coma(self, asymmetry: tuple[float, float]) -> bool:
        """Whether edges are asymmetric along that direction as coma makes them; motion blurs symmetrically.

        Parameters
        ----------
        asymmetry : (float, float)
            `EdgeAsymmetry.directional` of the same shot.
        """
        angle = np.radians(self.angle_deg)
        along = abs(asymmetry[0] * np.cos(angle) - asymmetry[1] * np.sin(angle))
        asymmetric = along > SURELY_COMA * COMA_ASYMMETRY * self.strength**1.5
        return bool(asymmetric and self.rebound < MOST_OF_COMA)


def _blur_ellipses(responses: EdgeResponses) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The blur's ellipse at each tile whose three edges are measured: edge 3 i + k being leg k of tile i.

    Returns
    -------
    position : ndarray, shape (n, 2)
        (x, y) in pixels.
    variance : ndarray, shape (n, 3)
        xx, yy and xy of the variance of the Gaussian blur with the same MTF50 in every direction, px².
    """
    whole = responses.measured.reshape(-1, 3).all(axis=1)
    normal = responses.normal.reshape(-1, 3, 2)[whole]
    position = np.stack([responses.x, responses.y], axis=-1).reshape(-1, 3, 2)[whole].mean(axis=1)
    along = (gaussian_mtf50(1.0) / responses.mtf50.reshape(-1, 3)[whole]) ** 2
    a, b = normal[..., 0], normal[..., 1]
    matrix = np.stack([a * a, b * b, 2 * a * b], axis=-1)
    return position, np.asarray(np.linalg.solve(matrix, along[..., None])[..., 0], np.float64)


def find_directional_blur(responses: EdgeResponses, size: tuple[int, int]) -> DirectionalBlur | None:
    """Look for blur in one direction, uniform over the whole frame.

    A centred lens elongates each tile's blur along or across the radius, increasingly outwards: the ellipse's
    anisotropy (xx - yy, 2 xy) / 2 then varies as (h², h⁴) (cos 2φ, sin 2φ). Motion adds the same everywhere. Both
    are fitted together; sharp tiles have more weight, since motion shows most there.

    Parameters
    ----------
    responses : EdgeResponses
        Of a target's tiles in one channel; edge 3 i + k is leg k of tile i.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    DirectionalBlur or None
        None where there is none that counts, or too few tiles.
    """
    position, variance = _blur_ellipses(responses)
    if len(position) < FEWEST_TILES:
        return None
    anisotropy = np.stack([(variance[:, 0] - variance[:, 1]) / 2, variance[:, 2]], axis=-1)
    mean = (variance[:, 0] + variance[:, 1]) / 2
    uniform, scatter = _uniform_part(position, anisotropy, np.maximum(mean, 1e-3), size)
    amount = float(np.hypot(*uniform))
    if amount < MIN_STRENGTH * scatter:
        return None
    # Half of the angle in the (cos 2φ, sin 2φ) plane, its sign changed for y up.
    angle = float(-np.degrees(np.arctan2(uniform[1], uniform[0])) / 2 % 180)
    middle = float(np.median(mean))
    narrow, wide = float(np.sqrt(max(middle - amount, 0.02))), float(np.sqrt(middle + amount))
    length = _motion_between(narrow, wide)
    if length < SHORTEST_PX:
        return None
    lost, rebound = 100 * float(1 - narrow / wide), _rebound(responses, angle)
    return DirectionalBlur(length, angle, lost, amount / middle, rebound, len(position))


def _rebound(responses: EdgeResponses, angle_deg: float) -> float:
    """How much the MTF of edges across a direction rises again beyond its lowest, the median edge; 0 for none."""
    way = np.array([np.cos(np.radians(angle_deg)), -np.sin(np.radians(angle_deg))])
    mtf = responses.mtf[responses.measured & (np.abs(responses.normal @ way) > ALONG)]
    rise = (mtf - np.minimum.accumulate(mtf, axis=1)).max(axis=1)
    return float(np.median(rise)) if len(rise) else 0.0


def _uniform_part(
    position: NDArray, anisotropy: NDArray, mean: NDArray, size: tuple[int, int]
) -> tuple[NDArray[np.float64], float]:
    """The anisotropy common to all tiles, shape (2,), and the tiles' scatter about the pattern."""
    x, y = ((position - centre_of(size)) / half_diagonal(size)).T
    # h² cos 2φ and h² sin 2φ without angles.
    cos, sin, h2 = x * x - y * y, 2 * x * y, x * x + y * y
    one, none = np.ones_like(x), np.zeros_like(x)
    matrix = np.concatenate(
        [np.stack([one, none, cos, h2 * cos], axis=-1), np.stack([none, one, sin, h2 * sin], axis=-1)]
    )
    values = anisotropy.T.ravel()
    sharpness = np.tile(np.median(mean) / mean, 2)
    weight = sharpness
    for _ in range(ROUNDS):
        fit = np.linalg.lstsq(matrix * weight[:, None], values * weight, rcond=None)[0]
        residual = (values - matrix @ fit) * sharpness
        scatter = robust_sigma(residual, about=0.0) + 1e-6
        weight = sharpness * np.sqrt(cauchy_weight(residual, 2 * scatter))
    return fit[:2], scatter


def _motion_between(narrow: float, wide: float) -> float:
    """Length of the uniform motion that lowers MTF50 from that of a Gaussian `narrow` to that of one `wide`."""
    frequency = float(gaussian_mtf50(wide))
    contrast = 0.5 / float(gaussian_mtf(frequency, narrow))
    # sinc falls from 1 to 0 within one cycle a length.
    return float(brentq(lambda cycles: np.sinc(cycles) - contrast, 0.0, 1.0)) / frequency if contrast < 1 else 0.0
