"""Blur that lies one way alike all over the frame, in no radial pattern: what motion does and a lens does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.analysers.edge import EdgeResponses
from lensbench.frame import centre_of, half_diagonal
from lensbench.optics import gaussian_mtf, gaussian_mtf50

FEWEST = 12
"""Fewer whole tiles than this don't show a pattern over the frame."""

TURNS = 12
"""Of the robust fit; it stands after far fewer."""

UNEVEN = 2.0
"""The common part counts where it is so many times as large as what the places scatter about the pattern ..."""

SHORTEST_PX = 0.7
"""... and amounts to a motion of so many pixels: less hides behind the pixel's own square."""


COMA_FLARE = 0.7
"""Coma that is alike all over the frame and stretches the blur's variance by a share s along its way makes edges
that face it lighter by about so much times s^1.5 (`tone.LopsidedEdges`): third moment against second."""


@dataclass(frozen=True)
class OneWayBlur:
    """Blur that all places have alike, along one way.

    Attributes
    ----------
    length_px : float
        Of the even motion that would blur MTF50 so much.
    angle_deg : float
        The way of it, anticlockwise as seen from x right, 0 to 180.
    lost_percent : float
        How much of the MTF50 along that way it takes, at the typical place.
    share : float
        By how much it stretches the typical place's variance along that way, and shrinks it across.
    places : int
        How many tiles tell so.
    """

    length_px: float
    angle_deg: float
    lost_percent: float
    share: float
    places: int

    def is_coma(self, flare: tuple[float, float]) -> bool:
        """Whether light flares along that way as it does by coma; motion is even to both sides.

        Parameters
        ----------
        flare : (float, float)
            `tone.LopsidedEdges.one_way` of the same shot.
        """
        angle = np.radians(self.angle_deg)
        along = abs(flare[0] * np.cos(angle) - flare[1] * np.sin(angle))
        return bool(along > COMA_FLARE / 3 * self.share**1.5)


def blur_variances(responses: EdgeResponses) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The blur's ellipse at each tile whose three edges are measured: edge 3 i + k being leg k of tile i.

    Returns
    -------
    place : ndarray, shape (n, 2)
        (x, y) in pixels.
    variance : ndarray, shape (n, 3)
        xx, yy and xy of the variance of the Gaussian blur with the same MTF50 in every direction, px².
    """
    whole = responses.measured.reshape(-1, 3).all(axis=1)
    normal = responses.normal.reshape(-1, 3, 2)[whole]
    place = np.stack([responses.x, responses.y], axis=-1).reshape(-1, 3, 2)[whole].mean(axis=1)
    along = (gaussian_mtf50(1.0) / responses.mtf50.reshape(-1, 3)[whole]) ** 2
    a, b = normal[..., 0], normal[..., 1]
    return place, np.linalg.solve(np.stack([a * a, b * b, 2 * a * b], axis=-1), along[..., None])[..., 0]


def find_one_way_blur(responses: EdgeResponses, size: tuple[int, int]) -> OneWayBlur | None:
    """Look for blur that lies one way alike over the whole frame.

    A centred lens draws each place's blur out along or across the radius, the more the farther out: the ellipse's
    lopsidedness (xx - yy, 2 xy) / 2 then runs as (h², h⁴) (cos 2φ, sin 2φ). Motion adds the same everywhere. Both
    are fitted together, sharp places counting for more, since there little hides it.

    Parameters
    ----------
    responses : EdgeResponses
        Of a target's tiles in one channel; edge 3 i + k is leg k of tile i.
    size : (int, int)
        Width and height of the frame in pixels.

    Returns
    -------
    OneWayBlur or None
        None where there is none worth the name, or too few tiles to tell.
    """
    place, variance = blur_variances(responses)
    if len(place) < FEWEST:
        return None
    lopsided = np.stack([(variance[:, 0] - variance[:, 1]) / 2, variance[:, 2]], axis=-1)
    typical = (variance[:, 0] + variance[:, 1]) / 2
    common, scatter = _common_part(place, lopsided, np.maximum(typical, 1e-3), size)
    strength = float(np.hypot(*common))
    if strength < UNEVEN * scatter:
        return None
    # Twice the angle, x right and y down: turned over for y up.
    angle = float(-np.degrees(np.arctan2(common[1], common[0])) / 2 % 180)
    middle = float(np.median(typical))
    narrow, wide = np.sqrt(max(middle - strength, 0.02)), np.sqrt(middle + strength)
    length = _motion_between(narrow, wide)
    if length < SHORTEST_PX:
        return None
    return OneWayBlur(length, angle, 100 * float(1 - narrow / wide), strength / middle, len(place))


def _common_part(
    place: NDArray, lopsided: NDArray, typical: NDArray, size: tuple[int, int]
) -> tuple[NDArray, float]:
    """What all places' lopsidedness has in common, shape (2,), and how the places scatter about the pattern."""
    x, y = ((place - centre_of(size)) / half_diagonal(size)).T
    # h² cos 2φ and h² sin 2φ without angles.
    cos, sin, h2 = x * x - y * y, 2 * x * y, x * x + y * y
    one, none = np.ones_like(x), np.zeros_like(x)
    matrix = np.concatenate(
        [np.stack([one, none, cos, h2 * cos], axis=-1), np.stack([none, one, sin, h2 * sin], axis=-1)]
    )
    wanted = lopsided.T.ravel()
    firm = np.tile(np.median(typical) / typical, 2)
    weight = firm
    for _ in range(TURNS):
        fit = np.linalg.lstsq(matrix * weight[:, None], wanted * weight, rcond=None)[0]
        rest = np.abs(wanted - matrix @ fit) * firm
        scatter = 1.4826 * float(np.median(rest)) + 1e-6
        weight = firm / np.sqrt(1 + (rest / (2 * scatter)) ** 2)
    return fit[:2], scatter


def _motion_between(narrow: float, wide: float) -> float:
    """The length of even motion that lowers a Gaussian's MTF50 from that of width `narrow` to that of `wide`."""
    at = float(gaussian_mtf50(wide))
    wanted = 0.5 / float(gaussian_mtf(at, narrow))
    # sinc falls from 1 to 0 before one cycle a length.
    return float(brentq(lambda turns: np.sinc(turns) - wanted, 0.0, 1.0)) / at if wanted < 1 else 0.0
