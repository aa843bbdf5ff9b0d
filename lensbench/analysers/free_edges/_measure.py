"""Free straight edges of a shot (a blade, a foil before a light): how sharp, and the colours how far apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.edge import EdgeResponses, blade_places, measure_edges
from lensbench.analysers.free_edges._finding import find_straight_edges
from lensbench.analysers.free_edges._judging import RefusedLine
from lensbench.analysers.free_edges._one_step import step_reasons
from lensbench.findings import NORMAL_95, Figure, Reason
from lensbench.findings.tables import Tabular
from lensbench.optics import gaussian_mtf50
from lensbench.shot import Shot

NEAR_PX = 3.0
"""How far to each side of an edge its samples must lie close."""

MOST_GAP = 1.2
"""Widest gap between samples across an edge, in blur widths, that its profile can be drawn over."""


@dataclass(frozen=True)
class EdgeColour(Tabular):
    """One colour of a free edge; without figures where there is a `reason`.

    `lateral_px` is how far the colour lies from the reference channel (green), across the edge: positive outwards
    from the frame's centre, at a sagittal edge positive anticlockwise as seen. `rise_px` is the distance from
    10 % to 90 %. `nearly_level` says that the contrast runs nearly level about a half, so that MTF50 tells little.
    """

    channel: str
    mtf50: Figure | None
    mtf50_lp_mm: Figure | None
    rise_px: Figure | None
    lateral_px: Figure | None
    overshoot_percent: float | None
    contrast_to_noise: float | None
    reason: Reason = Reason.NONE
    nearly_level: bool = False


@dataclass(frozen=True)
class FreeEdge(Tabular):
    """A straight edge, or a part of a long one: where its middle lies, which way it runs, its colours.

    `angle_deg` is the way it runs, `bright_deg` the way to its bright side, anticlockwise as seen from x right.
    """

    number: int
    x: float
    y: float
    h: float
    zone: str
    direction: str
    angle_deg: float
    bright_deg: float
    length_px: float
    colours: list[EdgeColour]


@dataclass(frozen=True)
class FreeEdges(Tabular):
    """All free edges of a shot, from the top left on, and the lines that could not serve as edges, with why."""

    shot: str
    size_px: tuple[int, int]
    pixel_pitch_um: float | None
    edges: list[FreeEdge]
    refused: list[RefusedLine]


def measure_free_edges(shot: Shot, pixel_pitch_um: float | None = None, threads: int = 2) -> FreeEdges:
    """Find and measure every clean straight edge of a shot; no target is needed.

    Parameters
    ----------
    shot : Shot
        Any shot.
    pixel_pitch_um : float, optional
        Distance of the pixels on the sensor; gives the figures in lp/mm as well.
    threads : int, optional
        How many threads share the edges.

    Returns
    -------
    FreeEdges
        Without edges, and with reasons, where none is clean.

    Examples
    --------
    A blade blurred by a Gaussian of 1.4 px, whose MTF50 is 0.18739 over that:

    >>> import numpy as np
    >>> from scipy.special import ndtr
    >>> from lensbench import Shot, measure_free_edges
    >>> y, x = np.mgrid[:400, :600]
    >>> u = (x - 299.5) * np.cos(0.1) + (y - 199.5) * np.sin(0.1)
    >>> v = (y - 199.5) * np.cos(0.1) - (x - 299.5) * np.sin(0.1)
    >>> covered = ndtr((90 - abs(u)) / 1.4) * ndtr((60 - abs(v)) / 1.4)
    >>> shot = Shot.from_array(np.random.default_rng(1).poisson(12000 * (1 - 0.97 * covered)), white=16000)
    >>> edges = measure_free_edges(shot).edges
    >>> len(edges) >= 4
    True
    >>> all(abs(edge.colours[0].mtf50.value / (0.18739 / 1.4) - 1) < 0.03 for edge in edges)
    True
    """
    responses, refused = free_responses(shot, threads)
    count = len(responses[shot.reference])
    edges = [_edge(responses, shot.reference, i, shot.size, pixel_pitch_um) for i in range(count)]
    return FreeEdges(shot.name, shot.size, pixel_pitch_um, edges, refused)


def free_responses(shot: Shot, threads: int = 2) -> tuple[dict[str, EdgeResponses], list[RefusedLine]]:
    """What each channel shows at the free edges that the reference channel can be measured at.

    Returns
    -------
    dict of str to EdgeResponses
        By channel, edge by edge alike.
    list of RefusedLine
        The lines that can't serve, with why.
    """
    found = find_straight_edges(shot)
    places = blade_places(found.ends_px, found.towards_bright, found.reach_px)
    measured = measure_edges(shot, places, threads=threads)
    responses = {channel: _well_sampled(shot, channel, response) for channel, response in measured.items()}
    reference = responses[shot.reference]
    reason = np.where(reference.measured, step_reasons(shot, responses), reference.reason)
    length = np.hypot(*(found.ends_px[:, 1] - found.ends_px[:, 0]).T)
    lost = [
        RefusedLine(float(reference.x[i]), float(reference.y[i]), float(length[i]), Reason(reason[i]))
        for i in np.flatnonzero(reason != "")
    ]
    kept = {channel: response.take(reason == "") for channel, response in responses.items()}
    return kept, [*lost, *found.refused]


def _well_sampled(shot: Shot, channel: str, response: EdgeResponses) -> EdgeResponses:
    """The responses, without figures of edges that the lattice of samples leaves wide gaps across.

    A printed edge is twisted to sample well; a free one may lie just level, and its few lines of samples then look
    like a wider blur.
    """
    gap = np.array([_widest_gap(shot, channel, response, i) for i in range(len(response))])
    blur = gaussian_mtf50(1.0) / response.mtf50
    lost = response.measured & (gap > MOST_GAP * blur)
    reason = response.reason.astype("<U96")
    reason[lost] = Reason.ALONG_ROWS
    return replace(response, reason=reason, mtf50=np.where(lost, np.nan, response.mtf50))


def _widest_gap(shot: Shot, channel: str, response: EdgeResponses, i: int) -> float:
    """The largest distance across an edge, within a few pixels of it, that holds no sample of a channel."""
    if not response.measured[i]:
        return 0.0
    middle, normal = np.array([response.x[i], response.y[i]]), response.normal[i]
    half = response.length_px[i] / 2
    reach = np.abs([normal[1], normal[0]]) * half + NEAR_PX
    (left, top), (right, bottom) = np.floor(middle - reach).astype(int), np.ceil(middle + reach).astype(int) + 1
    window = shot.window(channel, left, top, right, bottom)
    x, y = window.x - middle[0], window.y - middle[1]
    across, along = x * normal[0] + y * normal[1], x * normal[1] - y * normal[0]
    near = np.sort(across[(np.abs(across) < NEAR_PX) & (np.abs(along) < half)])
    return float(np.diff(near).max(initial=0.0)) if len(near) > 1 else float("inf")


# -- rows -----------------------------------------------------------------------------------------------------


def _edge(responses: dict[str, EdgeResponses], reference: str, i: int, size, pitch_um: float | None) -> FreeEdge:
    green = responses[reference]
    x, y, angle = float(green.x[i]), float(green.y[i]), float(green.angle_deg[i])
    sign = _sign(green.normal[i], x, y, size)
    return FreeEdge(
        i + 1,
        x,
        y,
        float(frame.h_of(x, y, size)),
        frame.zone_of(x, y, size),
        str(frame.edge_direction(x, y, angle, size)),
        angle,
        float(np.degrees(np.arctan2(-green.normal[i, 1], green.normal[i, 0])) % 360),
        float(green.length_px[i]),
        [
            _colour(channel, response, i, None if channel == reference else green, sign, pitch_um)
            for channel, response in responses.items()
        ],
    )


def _sign(normal: NDArray, x: float, y: float, size: tuple[int, int]) -> float:
    """1 where the way to the bright side is outwards (anticlockwise at a sagittal edge), else -1."""
    parts = [float(normal @ axis) for axis in frame.radial_axes(x, y, size)]
    outward, around = parts
    sagittal = abs(outward) < np.sin(np.radians(frame.DIRECTION_TOLERANCE_DEG))
    return 1.0 if (around if sagittal else outward) >= 0 else -1.0


def _colour(
    channel: str,
    response: EdgeResponses,
    i: int,
    green: EdgeResponses | None,
    sign: float,
    pitch_um: float | None,
) -> EdgeColour:
    if response.reason[i]:
        return EdgeColour(channel, None, None, None, None, None, None, Reason(response.reason[i]))
    mtf50, half = float(response.mtf50[i]), NORMAL_95 * float(response.mtf50_sigma[i])
    lateral = None
    if green is not None:
        apart = sign * (response.offset_px[i] - green.offset_px[i])
        unsure = NORMAL_95 * np.hypot(response.offset_sigma_px[i], green.offset_sigma_px[i])
        lateral = Figure.of(apart, unsure, "px")
    scale = 1000 / pitch_um if pitch_um else None
    return EdgeColour(
        channel,
        Figure.of(mtf50, half, "cy/px"),
        Figure.of(mtf50 * scale, half * scale, "lp/mm") if scale else None,
        Figure.if_known(response.rise_px[i], response.rise_sigma_px[i], "px"),
        lateral,
        100 * float(response.overshoot[i]),
        float(response.contrast_to_noise[i]),
        nearly_level=bool(response.nearly_level[i]),
    )
