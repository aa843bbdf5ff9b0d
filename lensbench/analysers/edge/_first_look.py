"""A first look at edges through thinned samples: where they lie, how blurred they are, how the light lies."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge._illumination import LIGHT_WINDOW, EdgeLight, light_round
from lensbench.analysers.edge._places import EdgePlaces
from lensbench.analysers.edge._samples import EdgeSamples, gather, joined, pieces_along
from lensbench.findings.reasons import Reason
from lensbench.shot import Shot

WINDOW = 80
"""How far to look to each side, in pixels: far enough for the widest blur that can be measured."""

MARGIN = 8.0
"""How far to stay from other edges, in pixels."""

APART = (2, 4, 6)
"""How far apart the samples are taken, in pixels: the shorter an edge, the more of its samples are needed."""

APART_BELOW = (80.0, 120.0)
"""Lengths in pixels from which on the next step will do."""

MIN_BLUR = 0.28
"""A pixel's own aperture keeps any edge from being sharper than this."""

NOISE_FLOOR = 5e-4
"""No sample is trusted better than this share of the contrast."""

MAX_CLIPPED = 0.01
"""An edge with a larger share of clipped samples has no white plateau to trust."""

LEAST_SIDE = 4.0
"""Pixels of the dark and of the bright side that must be seen for anything to be told."""

LEAST_SAMPLES = 40
"""Samples of one colour that there must be."""

MAX_TURN = 0.1
"""Nominal lines are turned by no more than this slope."""

LEVELLED = 0.5, 2.0
"""Light beside an edge is at least and at most so many times that at its middle."""

LEAST_WIDTH = 0.5
"""Pieces of the strip along a line that are cut to less than this share of its width tell nothing of the line."""

_STEPS = 2 * WINDOW
_PIECES = 6


@dataclass(frozen=True, eq=False)
class RoughEdges:
    """What a first look tells of n edges.

    Attributes
    ----------
    offset, turn : ndarray, shape (n,)
        Of each line against the nominal one: pixels along the normal at the middle, and slope.
    blur : ndarray, shape (n,)
        Blur width in pixels, to a third or so.
    dark, white : ndarray, shape (n,)
        Light far out on both sides.
    noise : ndarray, shape (n,)
        Standard deviation of one white sample.
    light : EdgeLight
        How the light on the sheet slopes and bends.
    clipped : ndarray, shape (n,)
        Share of samples that are clipped.
    reason : ndarray of str, shape (n,)
        Why there is nothing to measure; empty where there is.
    """

    offset: NDArray[np.float64]
    turn: NDArray[np.float64]
    blur: NDArray[np.float64]
    dark: NDArray[np.float64]
    white: NDArray[np.float64]
    noise: NDArray[np.float64]
    light: EdgeLight
    clipped: NDArray[np.float64]
    reason: NDArray[np.str_]


@dataclass(frozen=True, eq=False)
class _Steps:
    """Mean light and its scatter in one-pixel steps across each edge, shape (n, steps)."""

    count: NDArray
    mean: NDArray
    scatter: NDArray

    @property
    def seen(self) -> NDArray[np.bool_]:
        return self.count >= 2

    @property
    def ends(self) -> tuple[NDArray, NDArray]:
        """How far out there are samples on the dark side (negative) and on the bright side, in pixels."""
        return np.where(self.seen, _CENTRE, np.inf).min(axis=1), np.where(self.seen, _CENTRE, -np.inf).max(axis=1)


_CENTRE = np.arange(_STEPS) - WINDOW + 0.5


def look_roughly(shot: Shot, channel: str, places: EdgePlaces, margin: NDArray) -> RoughEdges:
    """Look at edges in one channel; nothing is assumed of their blur.

    Parameters
    ----------
    margin : ndarray, shape (n,)
        How far to stay from walls and neighbours where the light is read, in blur widths.
    """
    n = len(places)
    samples = _thinned(shot, channel, places)
    steps = _in_steps(samples, n)
    dark, white, noise = _levels(steps)
    clipped = samples.clipped / np.maximum(samples.taken, 1)
    reason = _reasons(steps, dark, white, noise, clipped, are_uncut(places, shot.size))
    good = reason == ""
    white = np.where(good, white, dark + 1.0)
    offset, blur = _place_and_blur(steps, dark, white)
    offset, blur = np.where(good, offset, 0.0), np.where(good, blur, 1.0)
    samples = samples.keep(good[samples.edge])
    noise = np.where(good, np.maximum(noise, NOISE_FLOOR * (white - dark)), 1.0)
    light = light_round(samples, places, offset, blur, white - dark, noise, margin * blur, shot.size)
    level_dark, level_white, offset, blur = _levelled(steps, light, places, (dark, white, offset, blur))
    dark, white = np.where(good, level_dark, dark), np.where(good, level_white, white)
    offset, blur = np.where(good, offset, 0.0), np.where(good, blur, 1.0)
    offset, turn = _line(samples, places, offset, blur, dark, white)
    return RoughEdges(offset, turn, blur, dark, white, noise, light, clipped, reason)


def _thinned(shot: Shot, channel: str, places: EdgePlaces) -> EdgeSamples:
    """Samples to both sides of each edge, thinned as its length allows."""
    step = np.searchsorted(APART_BELOW, 2 * places.half_length, side="right")
    parts = []
    for k in range(len(APART)):
        which = np.flatnonzero(step == k)
        some = places.take(which)
        window, margin = np.full((2, len(which)), [[LIGHT_WINDOW], [MARGIN]])
        parts.append(gather(shot, channel, some, window, margin, APART[k]).renamed(which, len(places)))
    return joined(parts)


def _in_steps(samples: EdgeSamples, n: int) -> _Steps:
    step = np.floor(samples.u).astype(np.int32) + WINDOW
    inside = (step >= 0) & (step < _STEPS)
    key = (samples.edge * _STEPS + step)[inside]
    count = np.bincount(key, minlength=n * _STEPS).reshape(n, _STEPS)
    light = samples.light[inside].astype(np.float64)
    mean, square = (
        np.bincount(key, a, n * _STEPS).reshape(n, _STEPS) / np.maximum(count, 1) for a in (light, light * light)
    )
    scatter = np.maximum(square - mean * mean, 0) * count / np.maximum(count - 1, 1)
    return _Steps(count, mean, scatter)


def _levels(steps: _Steps) -> tuple[NDArray, NDArray, NDArray]:
    """Dark and white light in the outer half of what is seen of each side, and the noise of one white sample."""
    first, last = steps.ends
    sides = (steps.seen & (first[:, None] > 2 * _CENTRE), steps.seen & (last[:, None] < 2 * _CENTRE))

    def mean_of(what, side):
        weight = steps.count * side
        return (what * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1)

    dark, white = (mean_of(steps.mean, side) for side in sides)
    return dark, white, np.sqrt(mean_of(steps.scatter, sides[1]))


def are_uncut(places: EdgePlaces, size: tuple[int, int]) -> NDArray[np.bool_]:
    """Whose ends, and a little of both sides, are in the frame."""
    beside = places.middle[:, None] + np.array([-1, 1])[:, None] * 2 * LEAST_SIDE * places.normal[:, None]
    points = np.concatenate([places.ends_px, beside], axis=1)
    return np.all((points >= 0) & (points <= np.array(size) - 1), axis=(1, 2))


def _reasons(
    steps: _Steps, dark: NDArray, white: NDArray, noise: NDArray, clipped: NDArray, uncut: NDArray
) -> NDArray:
    reason = np.full(len(dark), Reason.NONE, dtype="<U64")
    samples = (steps.count * steps.seen).sum(axis=1)
    first, last = steps.ends
    little = (first > -LEAST_SIDE) | (last < LEAST_SIDE) | (samples < LEAST_SAMPLES)
    reason[little] = np.where(uncut, Reason.TOO_SMALL, Reason.OUTSIDE)[little]
    # Clipped samples are left out, so that too few may remain: the clipping is what the user can mend.
    reason[clipped > MAX_CLIPPED] = Reason.CLIPPED
    unsure = 8 * noise / np.sqrt(np.maximum(samples, 1) / 8)
    reason[(reason == "") & ~(white - dark > np.maximum(unsure, 0.05 * np.abs(white)))] = Reason.NO_CONTRAST
    return reason


def _place_and_blur(steps: _Steps, dark: NDArray, white: NDArray) -> tuple[NDArray, NDArray]:
    """Where the edge lies by the light of both sides together, and its blur width by ∫E(1 - E)."""
    contrast = (white - dark)[:, None]
    level = _filled(np.clip((steps.mean - dark[:, None]) / contrast, 0, 1), steps.seen)
    noise = steps.scatter / np.maximum(steps.count, 1) / contrast**2
    spread = (level * (1 - level) - np.where(steps.seen, noise, 0)).sum(axis=1)
    # One-pixel steps blur by themselves; their own variance is taken off.
    blur = np.sqrt(np.maximum(np.pi * np.maximum(spread, 0) ** 2 - 1 / 12, MIN_BLUR**2))
    offset = WINDOW - level.sum(axis=1)
    near = np.abs(_CENTRE - offset[:, None]) < (5 * blur + 4)[:, None]
    last = np.where(near, _CENTRE, -np.inf).max(axis=1) + 0.5
    return last - (level * near).sum(axis=1), blur


def _levelled(steps: _Steps, light: EdgeLight, places: EdgePlaces, before: tuple) -> tuple[NDArray, ...]:
    """Dark, white, offset and blur width with the light as level as at the line, where it looked like blur."""
    _, across, _, _, bend = light.along_and_across(places).T
    # What is said of the light far from where it was read is no light.
    share = np.clip(1 + across[:, None] * _CENTRE + bend[:, None] * _CENTRE**2 / 2, *LEVELLED)
    level = replace(steps, mean=steps.mean / share, scatter=steps.scatter / share**2)
    dark, white, _ = _levels(level)
    found = white > dark
    offset, blur = _place_and_blur(level, dark, np.where(found, white, dark + 1.0))
    found &= blur < before[3]
    return tuple(np.where(found, now, then) for now, then in zip((dark, white, offset, blur), before, strict=True))


def _filled(level: NDArray, seen: NDArray) -> NDArray:
    """Levels of the steps without samples, drawn straight between the seen ones; 0 before them, 1 beyond."""
    place = np.arange(_STEPS)
    before = np.maximum.accumulate(np.where(seen, place, -1), axis=1)
    after = np.minimum.accumulate(np.where(seen, place, _STEPS)[:, ::-1], axis=1)[:, ::-1]
    padded = np.pad(level, ((0, 0), (1, 1)), constant_values=(0.0, 1.0))
    low, high = (np.take_along_axis(padded, k + 1, axis=1) for k in (before, after))
    share = (place - before) / np.maximum(after - before, 1)
    between = (before >= 0) & (after < _STEPS)
    return np.where(between, low + share * (high - low), np.where(before < 0, 0.0, 1.0))


def _line(samples, places, offset, blur, dark, white) -> tuple[NDArray, NDArray]:
    """Offset and turn from the light that pieces of a strip along the line hold."""
    n = len(places)
    half = 3 * blur + 3
    edge = samples.edge
    u = samples.u - offset.astype(np.float32)[edge]
    near = np.abs(u) < half.astype(np.float32)[edge]
    edge, t, u, light = edge[near], samples.t[near], u[near], samples.light[near]
    length = places.half_length.astype(np.float32)[edge]
    key = edge * _PIECES + pieces_along(t / length, _PIECES)
    count = np.bincount(key, minlength=n * _PIECES).reshape(n, _PIECES)
    level, where, middle, square = (
        np.bincount(key, a, n * _PIECES).reshape(n, _PIECES) / np.maximum(count, 1) for a in (light, t, u, u * u)
    )
    # The border and the other edges cut pieces: how wide one is, and about where, its own samples say.
    width = np.sqrt(3 * np.maximum(square - middle**2, 0))
    aside = width * (1 - 2 * (level - dark[:, None]) / (white - dark)[:, None])
    weight = np.where((np.abs(aside) < width) & (width > LEAST_WIDTH * half[:, None]), count, 0) + 1e-9
    place = middle + aside
    centre, mean = ((weight * a).sum(axis=1) / weight.sum(axis=1) for a in (where, place))
    lever = where - centre[:, None]
    moment = (weight * lever**2).sum(axis=1)
    # A line that is a pixel off over its length: what the finder leaves, and what holds a short stump back.
    turn = (weight * lever * place).sum(axis=1) / (moment + 0.02 * places.half_length**2 + 1e-6)
    turn = np.clip(turn, -MAX_TURN, MAX_TURN)
    return offset + mean - turn * centre, turn
