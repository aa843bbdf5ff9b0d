"""Whether two files hold one exposure with other numbers: another black level, more bits, another format."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot

ROWS = 24
"""Rows of a frame that are compared, spread over its height: a hundred thousand samples."""

MOST_STEPS = 1.5
"""Steps of the coarser file by which rounding makes the numbers of one exposure deviate at most ..."""

AGREEING = 0.995
"""... at this share of the samples: photon noise alone sets two exposures apart by more at most of them."""


def thin_sample(shot: Shot) -> NDArray:
    """A few rows of a shot's samples, as stored."""
    rows = np.linspace(0, shot.samples.shape[0] - 1, ROWS).round().astype(int)
    return shot.samples[rows].copy()


def is_stored_anew(one: NDArray, other: NDArray) -> bool:
    """Whether one sample's numbers are the other's times a factor, plus another black, but for rounding.

    Numbers that were left as they are say no: whether files hold the same ones, their digests tell.

    Parameters
    ----------
    one, other : ndarray
        Of `thin_sample`.
    """
    if one.shape != other.shape or np.mean(one == other) > AGREEING:
        return False
    first, second = (sample.ravel().astype(np.float64) for sample in (one, other))
    # The coarser one as a function of the finer.
    if len(np.unique(first)) < len(np.unique(second)):
        first, second = second, first
    spread = first.std()
    if not spread > 0:
        return False
    factor = np.mean((first - first.mean()) * (second - second.mean())) / spread**2
    off = second - second.mean() - factor * (first - first.mean())
    step = np.diff(np.unique(second)).min(initial=np.inf)
    return bool(factor > 0 and np.mean(np.abs(off) < MOST_STEPS * step) > AGREEING)
