"""The worst corner: how far the colours lie apart there, and the width of the fringe that the eye sees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lensbench.analysers.edge import EdgeResponses
from lensbench.findings import NORMAL_95, Figure, WorstFringing, ZoneFringing
from lensbench.frame import ZONES, zone_index
from lensbench.optics import gaussian_mtf50

VISIBLE = 0.1
"""A fringe is where the colours' edge profiles, each scaled from 0 to 1, differ by more than this (chosen by
eye)."""

MEDIAN_OVER_MEAN = 1.25
"""Standard deviation of a median over that of a mean, for normal noise: √(π / 2)."""

Position = tuple[Figure, Figure]
"""A colour's displacement against green, radial and around."""


class Blur(NamedTuple):
    """Standard deviation in px of the Gaussian blur of the same MTF50, and the standard deviation of that."""

    px: float
    sigma: float


def zone_blurs(responses: Mapping[str, EdgeResponses], size: tuple[int, int]) -> dict[tuple[str, str], Blur]:
    """Blur of each colour in each zone with two measured edges or more, by zone and colour."""
    blurs = {}
    for colour, response in responses.items():
        zone = zone_index(response.x, response.y, size)
        for k, name in enumerate(ZONES):
            inside = response.measured & (zone == k)
            if inside.sum() >= 2:
                mtf50 = float(np.median(response.mtf50[inside]))
                median_sigma = float(np.median(response.mtf50_sigma[inside]))
                relative = MEDIAN_OVER_MEAN * median_sigma / mtf50 / np.sqrt(inside.sum())
                px = float(gaussian_mtf50(mtf50))
                blurs[name, colour] = Blur(px, relative * px)
    return blurs


def worst_corner(
    zones: Sequence[ZoneFringing], blurs: Mapping[tuple[str, str], Blur], pixel_pitch_um: float | None
) -> WorstFringing | None:
    """Find the corner zone where two colours lie farthest apart.

    Parameters
    ----------
    zones : sequence of ZoneFringing
        Displacements by zone.
    blurs : mapping of (zone, colour) to Blur
        Without those of all colours of the corner the fringe has no width.
    pixel_pitch_um : float or None
        For the width in micrometres.

    Returns
    -------
    WorstFringing or None
        None where no corner was measured.
    """
    zero = Figure(0.0, 0.0, 0.0, "px")
    corners: dict[str, dict[str, Position]] = {}
    for row in zones:
        if row.zone.startswith("corner"):
            corners.setdefault(row.zone, {"green": (zero, zero)})[row.channel] = row.radial_px, row.around_px
    pairs = [
        (_distance(positions[a], positions[b]), zone, (a, b))
        for zone, positions in corners.items()
        for a, b in combinations(positions, 2)
    ]
    if not pairs:
        return None
    apart, zone, colours = max(pairs, key=lambda pair: pair[0].value)
    positions = corners[zone]
    known = {colour: blurs[zone, colour] for colour in positions if (zone, colour) in blurs}
    width = _fringe_width(positions, colours, known) if len(known) == len(positions) else None
    microns = width.scaled(pixel_pitch_um, "µm") if width is not None and pixel_pitch_um is not None else None
    return WorstFringing(zone, colours, apart, width, microns)


def _distance(a: Position, b: Position) -> Figure:
    """Distance of two colours."""
    vector = np.array([p.value - q.value for p, q in zip(a, b, strict=True)])
    half = np.array([np.hypot(p.half_width, q.half_width) for p, q in zip(a, b, strict=True)])
    length = float(np.hypot(*vector))
    unit = vector / length if length > 0 else np.array([1.0, 0.0])
    reach = float(np.hypot(*(unit * half)))
    return Figure(length, max(length - reach, 0.0), length + reach, "px")


def _fringe_width(
    positions: Mapping[str, Position], farthest: tuple[str, str], blurs: Mapping[str, Blur]
) -> Figure:
    """Width of the fringe on an edge square to the line between the two colours farthest apart."""
    first, second = (positions[colour] for colour in farthest)
    vector = np.array([p.value - q.value for p, q in zip(first, second, strict=True)])
    unit = vector / max(float(np.hypot(*vector)), 1e-12)
    along_line = np.array([unit @ [part.value for part in position] for position in positions.values()])
    half = np.array([np.hypot(*(unit * [part.half_width for part in p])) for p in positions.values()])
    blur, blur_sigma = np.array([blurs[colour] for colour in positions]).T
    values, sigmas = np.concatenate([along_line, blur]), np.concatenate([half / NORMAL_95, blur_sigma])
    effects = []
    for i, step in enumerate(sigmas):
        moved = np.zeros_like(values)
        moved[i] = step
        effects.append((_visible_length(values + moved) - _visible_length(values - moved)) / 2)
    width = _visible_length(values)
    reach = NORMAL_95 * float(np.hypot.reduce(effects))
    return Figure(width, max(width - reach, 0.0), width + reach, "px")


def _visible_length(values: NDArray) -> float:
    """Length over which the lightest and the darkest profile differ by more than `VISIBLE`.

    `values` are the colours' positions, then their blurs.
    """
    position, blur = np.split(values, 2)
    reach = np.abs(position).max() + 5 * blur.max()
    along, step = np.linspace(-reach, reach, 4001, retstep=True)
    profiles = ndtr((along - position[:, None]) / blur[:, None])
    excess = np.ptp(profiles, axis=0) - VISIBLE
    # Cells that the threshold crosses count by the part of them that lies above it.
    ahead, behind = excess[1:], excess[:-1]
    share = np.clip(np.maximum(ahead, behind) / np.maximum(np.abs(ahead - behind), 1e-300), 0, 1)
    return float(step * share.sum())
