"""Whether every colour shows one step between two plateaus at an edge, and the same step."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import EdgeResponses
from lensbench.findings import Reason
from lensbench.frame import half_diagonal
from lensbench.optics import gaussian_mtf50
from lensbench.robust import robust_sigma
from lensbench.shot import Shot

LEAST_SIDE_PX, SIDE = 12.0, 8.0
"""How far to each side colours are looked at: so many pixels at least, or so many blur widths (our own choice)."""

BIN_PX, BIN = 1.0, 0.35
"""Width of the bins across the edge, in pixels at least, or in blur widths: two steps stay apart (own choice)."""

LEAST_SAMPLES = 6
"""Bins with fewer samples are empty."""

NOISE = 4.0
"""Standard errors of a bin by which it may deviate from what one step allows."""

RETURN = 0.08
"""Share of the contrast by which light may fall again on the way to bright: more is a line beside the edge, or a
sharpened picture (our own choice; a perfect lens makes none) ..."""

HALO = 0.3
"""... where both plateaus are passed, each by no more than this and at least a third of the other (own choice)."""

SECOND_STEP = 0.03
"""Share of the contrast that the light may gain within a bin after it had nearly levelled off (our own choice)."""

DEPTH_DIFFERENCE = 0.15
"""How much the depths of the step, in shares of bright, may differ between colours: a blade is as black in each, a
coloured patch isn't (our own choice)."""

ASIDE_PX, ASIDE = 2.0, 0.004
"""How far a colour's step may lie from green's: so many pixels, or such a share of the half-diagonal (the
most that lenses fringe; common practice), or the distance over which both rise."""

RISE_TIMES_MTF50 = 0.2, 5.0
"""Least and most of the 10-90 % rise times MTF50: 0.48 for a Gaussian blur, less for none that passes a pupil,
more only for a sharp core in a wide glow."""

RISE_RATIO = 2.0
"""How many times as long, or as short, a fitted rise may be as that of the binned samples ..."""

RISE_BINS = 3.0
"""... with so many bins added to each, since bins are wide."""


class _Step(NamedTuple):
    """Samples of one colour across an edge by bin: distance, light in shares of its step, standard error of that.

    `depth` is the step over its bright side, `width` that of the bins in pixels.
    """

    distance: NDArray[np.float64]
    level: NDArray[np.float64]
    error: NDArray[np.float64]
    depth: float
    width: float

    def crossing(self, share: float) -> float:
        """Where the light first reaches a share of the step, in pixels."""
        k = int(np.argmax(self.level >= share))
        if k == 0:
            return float(self.distance[0])
        low, high = self.level[k - 1], self.level[k]
        return float(np.interp(share, [low, high], self.distance[k - 1 : k + 1]))


def step_reasons(shot: Shot, responses: Mapping[str, EdgeResponses]) -> NDArray[np.str_]:
    """Why edges can't serve although they were measured, shape (n,); empty where nothing speaks against them.

    Parameters
    ----------
    shot : Shot
        The frame.
    responses : mapping of str to EdgeResponses
        What was measured, by channel.
    """
    reference = responses[shot.reference]
    found = np.full(len(reference), "", "<U96")
    for i in np.flatnonzero(reference.measured):
        found[i] = _reason_of(shot, responses, int(i))
    return found


def _reason_of(shot: Shot, responses: Mapping[str, EdgeResponses], i: int) -> Reason:
    reference = responses[shot.reference]
    steps = {channel: _step(shot, channel, reference, i) for channel in responses}
    first = steps[shot.reference]
    if first is None or any(
        step is None or abs(step.depth - first.depth) > DEPTH_DIFFERENCE for step in steps.values()
    ):
        return Reason.COLOURS_DIFFER
    for step in steps.values():
        if step is not None and not _is_single(step):
            return Reason.SEVERAL_STEPS
    apart = max(ASIDE_PX, ASIDE * half_diagonal(shot.size), _quartile(first))
    if any(step and abs(step.crossing(0.5) - first.crossing(0.5)) > apart for step in steps.values()):
        return Reason.COLOURS_DIFFER
    for channel, response in responses.items():
        step = steps[channel]
        if response.measured[i] and step and _contradicts(response, i, step):
            return Reason.CONTRADICTORY
    return Reason.NONE


def _quartile(step: _Step) -> float:
    return step.crossing(0.75) - step.crossing(0.25)


def _step(shot: Shot, channel: str, reference: EdgeResponses, i: int) -> _Step | None:
    """One colour's samples by bin about the reference channel's line; None where they rise to no brighter side."""
    blur = float(gaussian_mtf50(1.0) / reference.mtf50[i])
    side = min(max(LEAST_SIDE_PX, SIDE * blur), max(float(reference.reach_px[i]), LEAST_SIDE_PX))
    across, light = _samples(shot, channel, reference, i, side)
    width = max(BIN_PX, BIN * blur)
    number = np.floor((across + side) / width).astype(int)
    rows = []
    for k in range(int(2 * side / width)):
        mine = number == k
        inside = light[mine]
        if len(inside) >= LEAST_SAMPLES:
            # A bin's own slope is no noise.
            aside = across[mine] - across[mine].mean()
            noise = robust_sigma(inside - aside * (aside @ inside) / max(aside @ aside, 1e-9))
            error = np.sqrt(np.pi / 2) * noise / np.sqrt(len(inside))
            rows.append((float(np.median(across[mine])), float(np.median(inside)), error))
    if len(rows) < 6:
        return None
    distance, level, error = np.array(rows).T
    outer = max(len(level) // 6, 1)
    dark, bright = np.median(level[:outer]), np.median(level[-outer:])
    contrast = bright - dark
    if contrast <= NOISE * float(np.median(error)) or bright <= 0:
        return None
    return _Step(distance, (level - dark) / contrast, error / contrast, float(contrast / bright), width)


def _samples(
    shot: Shot, channel: str, reference: EdgeResponses, i: int, side: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distances of a channel's samples from the reference's line, positive towards bright, and their light."""
    middle, normal = np.array([reference.x[i], reference.y[i]]), reference.normal[i]
    half = reference.length_px[i] / 2
    reach = np.abs([normal[1], normal[0]]) * half + np.abs(normal) * side
    (left, top), (right, bottom) = np.floor(middle - reach).astype(int), np.ceil(middle + reach).astype(int) + 1
    window = shot.window(channel, left, top, right, bottom)
    x, y = window.x - middle[0], window.y - middle[1]
    along = x * normal[1] - y * normal[0]
    across = x * normal[0] + y * normal[1] - reference.curvature_px[i] * (along / half) ** 2
    near = (np.abs(across) < side) & (np.abs(along) < half)
    return across[near], window.light[near].astype(float)


def _is_single(step: _Step) -> bool:
    """Whether the light rises once, from one plateau to the other."""
    level, noise = step.level, NOISE * step.error
    fallen = np.maximum.accumulate(level) - level - noise
    if fallen.max() > RETURN and not _is_sharpened(level):
        return False
    # Samples of a colour may fill bins unevenly: what counts is the gain over a bin's width.
    over = step.width / np.maximum(np.diff(step.distance), step.width / 4)
    gain = np.diff(level) * over
    doubt = np.hypot(noise[:-1], noise[1:]) * over
    peak = int(np.argmax(gain))
    sides = (gain[peak:], doubt[peak:]), (gain[peak::-1], doubt[peak::-1])
    return all(
        (one - np.minimum.accumulate(np.maximum(one, 0)) - unsure).max() <= SECOND_STEP for one, unsure in sides
    )


def _is_sharpened(level: NDArray) -> bool:
    """Whether both plateaus are passed about alike, as sharpening does."""
    least, most = sorted((-float(level.min()), float(level.max()) - 1))
    return 3 * least >= most and most <= HALO


def _contradicts(response: EdgeResponses, i: int, step: _Step) -> bool:
    """Whether a colour's fitted figures contradict each other, or the samples."""
    rise, product = float(response.rise_px[i]), float(response.rise_px[i] * response.mtf50[i])
    least, most = RISE_TIMES_MTF50
    if not least <= product <= most:
        return True
    seen, room = step.crossing(0.9) - step.crossing(0.1), RISE_BINS * step.width
    return rise > RISE_RATIO * seen + room or seen > RISE_RATIO * rise + room
