"""What a shot's own samples tell about its levels: where it really clips, and how the two greens differ."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lensbench.robust import robust_sigma
from lensbench.shot import Shot, Sublattice

SPIKE_FROM = 0.85
"""A sensor clips at this part of its stated range or above; lower spikes aren't looked for."""

SPIKE_BINS = 2048
"""Bins over the stated range, so fine that photon noise spreads any unclipped light over several. A range with
fewer numbers than this (8 bits) is too coarse to tell."""

SAMPLES_READ = 250_000
"""Samples read per sublattice when looking for the spike."""

BLOCK = 16
"""Side, in samples of one colour, of the blocks in which the greens are compared."""

BANDS = 40
"""Rows of blocks compared."""

LARGEST_GAIN_ERROR = 0.001
"""Standard error above which the greens' ratio counts as unknown."""

LARGEST_GAIN = 0.1
"""Like filters of one sensor differ by less than this; what differs more isn't an imbalance."""


def clipping_level(shot: Shot) -> float:
    """The stored number at which a shot's samples really clip: its white level, or a spike a little below it.

    Cameras often clip below the level that their files state. Clipped samples all have the same number (or, with
    reading noise, nearly so), while photon noise spreads any other light, so a narrow spike with next to nothing
    above it is where samples clip.

    Parameters
    ----------
    shot : Shot
        With whole numbers as samples.
    """
    black = float(shot.black.min())
    if shot.white - black < SPIKE_BINS:
        return shot.white
    edges = np.linspace(black, shot.white, SPIKE_BINS + 1)[round(SPIKE_FROM * SPIKE_BINS) :]
    levels = [shot.white]
    for channel in shot.channels:
        for part in shot.sublattices(channel):
            step = max(1, int(np.sqrt(part.samples.size / SAMPLES_READ)))
            level = _spike(part.samples[::step, ::step], edges)
            levels += [] if level is None else [level]
    return min(levels)


def _spike(samples: NDArray, edges: NDArray) -> float | None:
    """The lower edge of the narrow spike that ends the histogram, or None."""
    high = samples[samples >= edges[0]]
    counts, _ = np.histogram(high[high < edges[-1]], edges)
    peak = int(np.argmax(counts))
    if counts[peak] < max(50, 2e-4 * samples.size):
        return None
    # Reading noise behind the clipping spreads the spike by a bin or so; all of it must count as clipped.
    first = max(peak - (2 if counts[max(peak - 1, 0)] > 0.1 * counts[peak] else 1), 0)
    spike = counts[first : peak + 2].sum()
    above = high.size - counts[: peak + 2].sum()
    below = counts[max(first - 12, 0) : max(first - 1, 0)]
    if above > 0.05 * spike or (below.size and below.mean() > 0.2 * counts[peak]):
        return None
    return float(edges[first])


def like_gains(shot: Shot) -> NDArray[np.float64]:
    """Factors by colour index that bring like-named colours (the two greens) to the first one's light.

    Parameters
    ----------
    shot : Shot
        Any shot; its own `gain` is not looked at.

    Returns
    -------
    ndarray, shape (colours,)
        1 for the first of each name, and where the shot has too few evenly lit, unclipped places to tell.
    """
    gains = np.ones(len(shot.colours))
    for channel in shot.channels:
        first, *others = shot.indices(channel)
        for other in others:
            gains[other] = _ratio(shot, first, other)
    return gains


def _ratio(shot: Shot, first: int, other: int) -> float:
    """The light of one index over that of another, as the median of neighbouring blocks' ratios."""
    one, two = (_block_light(shot, next(_parts(shot, index))) for index in (first, other))
    rows, columns = np.minimum(one.shape, two.shape)
    one, two = one[:rows, :columns], two[:rows, :columns]
    known = np.isfinite(one) & np.isfinite(two)
    if known.sum() < 30:
        return 1.0
    lit = known & (np.fmin(one, two) > 0.25 * np.percentile(one[known], 95))
    lit &= np.fmin(one, two) > 0.02 * (shot.white - shot.black[first])
    if lit.sum() < 30:
        return 1.0
    ratios = one[lit] / two[lit]
    ratio = np.median(ratios)
    # Standard error of a median, for normal noise.
    error = np.sqrt(np.pi / 2) * robust_sigma(ratios) / np.sqrt(ratios.size)
    return float(ratio) if error < LARGEST_GAIN_ERROR and abs(ratio - 1) < LARGEST_GAIN else 1.0


def _parts(shot: Shot, index: int) -> Iterator[Sublattice]:
    return (part for part in shot.sublattices(shot.colours[index]) if part.colour_index == index)


def _block_light(shot: Shot, part: Sublattice) -> NDArray[np.float32]:
    """Mean light above black in blocks of some bands of rows, NaN where a sample is clipped."""
    bands, across = (n // BLOCK for n in part.samples.shape)
    chosen = np.unique(np.linspace(0, bands - 1, min(bands, BANDS)).astype(int))
    rows = (chosen[:, None] * BLOCK + np.arange(BLOCK)).ravel()
    blocks = part.samples[rows, : across * BLOCK].reshape(len(chosen), BLOCK, across, BLOCK)
    light = blocks.mean(axis=(1, 3), dtype=np.float32) - np.float32(shot.black[part.colour_index])
    return np.where((blocks >= shot.white).any(axis=(1, 3)), np.nan, light)
