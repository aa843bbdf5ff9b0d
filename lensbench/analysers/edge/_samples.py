"""The samples of one channel beside edges, where they lie: no demosaicing, no resampling."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.edge import _sample_loops as loops
from lensbench.analysers.edge._places import EdgePlaces
from lensbench.shot import Shot, Sublattice


@dataclass(frozen=True, eq=False)
class EdgeSamples:
    """Samples of one channel beside edges; all arrays but the last two have shape (samples,).

    Attributes
    ----------
    edge : ndarray of int
        Which of the places a sample belongs to.
    t, u : ndarray of float32
        Where it lies from the nominal middle: along the nominal line and along its normal, in pixels.
    light : ndarray of float32
        Light above black in stored units.
    taken, clipped : ndarray of int, shape (n,)
        How many samples each place had, and how many of these were clipped (and left out).
    """

    edge: NDArray[np.int32]
    t: NDArray[np.float32]
    u: NDArray[np.float32]
    light: NDArray[np.float32]
    taken: NDArray[np.int64]
    clipped: NDArray[np.int64]

    def keep(self, which: NDArray[np.bool_]) -> EdgeSamples:
        """The samples where a mask is true."""
        return EdgeSamples(
            self.edge[which], self.t[which], self.u[which], self.light[which], self.taken, self.clipped
        )

    def renamed(self, which: NDArray, n: int) -> EdgeSamples:
        """The samples as those of `n` places, of which `which` were taken."""
        taken, clipped = np.zeros((2, n), dtype=np.int64)
        taken[which], clipped[which] = self.taken, self.clipped
        edge = which.astype(np.int32).take(self.edge)
        return EdgeSamples(edge, self.t, self.u, self.light, taken, clipped)


def pieces_along(tau: NDArray[np.float32], count: int) -> NDArray[np.int32]:
    """Which of so many equal pieces of its edge a sample lies in, by where it lies along it, -1 to 1."""
    return np.clip(((tau + 1) * np.float32(count / 2)).astype(np.int32), 0, count - 1)


def joined(parts: Sequence[EdgeSamples]) -> EdgeSamples:
    """Samples of the same places, taken in several parts."""
    return EdgeSamples(
        edge=np.concatenate([part.edge for part in parts]),
        t=np.concatenate([part.t for part in parts]),
        u=np.concatenate([part.u for part in parts]),
        light=np.concatenate([part.light for part in parts]),
        taken=np.sum([part.taken for part in parts], axis=0),
        clipped=np.sum([part.clipped for part in parts], axis=0),
    )


def gather(
    shot: Shot,
    channel: str,
    places: EdgePlaces,
    window: NDArray,
    margin: NDArray,
    thin: int = 1,
    beyond: float | NDArray = 0.0,
) -> EdgeSamples:
    """Samples of one channel on both sides of edges, clear of everything else.

    Parameters
    ----------
    window : ndarray, shape (n,)
        How far to go to each side, in pixels, as far as the side reaches.
    margin : ndarray, shape (n,)
        How far to stay from the walls and from the end of the bright side's reach.
    thin : int, optional
        Take samples about so many pixels apart each way; all by default.
    beyond : float or ndarray, shape (n,), optional
        Leave out those nearer to the line, in pixels.
    """
    planes = _regions(places, beyond, window, margin, shot.size)
    owner = np.tile(np.arange(len(places)), 2)
    reach = places.half_length * np.abs(places.along[:, 1]) + window * np.abs(places.normal[:, 1])
    top, bottom = places.middle[:, 1] - reach, places.middle[:, 1] + reach
    parts = [
        _samples_inside(shot, lattice, planes, owner, places, np.tile(top, 2), np.tile(bottom, 2))
        for lattice in (_thinned(lattice, thin) for lattice in shot.sublattices(channel))
    ]
    edge, t, u, light, clipped = (np.concatenate(column) for column in zip(*parts, strict=True))
    n = len(places)
    taken = np.bincount(edge, minlength=n)
    if not clipped.any():
        return EdgeSamples(edge, t, u, light, taken, np.zeros(n, dtype=np.int64))
    lost = np.bincount(edge[clipped], minlength=n)
    return EdgeSamples(edge, t, u, light, taken, lost).keep(~clipped)


def _thinned(lattice: Sublattice, apart: int) -> Sublattice:
    across, down = (max(apart // step, 1) for step in lattice.step)
    step = (lattice.step[0] * across, lattice.step[1] * down)
    return lattice._replace(samples=lattice.samples[::down, ::across], step=step)


def _regions(
    places: EdgePlaces, beyond: float | NDArray, window: NDArray, margin: NDArray, size: tuple[int, int]
) -> NDArray:
    """Half-planes (a, b, c), a x + b y + c ≥ 0 inside: shape (2 n, 4, 3), the dark sides, then the bright."""
    middle = places.middle
    low, high = places.span(margin, size)
    across = _lines(places.normal, middle)
    along = _lines(places.along, middle)
    dark = np.minimum(window, places.reach_px[:, 0])
    bright = np.minimum(window, places.reach_px[:, 1] - margin)
    walls = places.walls - margin[:, None, None] * np.array([0, 0, 1.0])
    dark_side = np.stack([_shifted(across, dark), _shifted(-across, -beyond), walls[:, 0], walls[:, 1]], axis=1)
    bright_side = np.stack(
        [_shifted(across, -beyond), _shifted(-across, bright), _shifted(along, -low), _shifted(-along, high)],
        axis=1,
    )
    return np.concatenate([dark_side, bright_side])


def _lines(direction: NDArray, through: NDArray) -> NDArray:
    return np.concatenate([direction, -np.einsum("nc,nc->n", direction, through)[:, None]], axis=1)


def _shifted(lines: NDArray, by: float | NDArray) -> NDArray:
    return np.concatenate([lines[:, :2], (lines[:, 2] + by)[:, None]], axis=1)


def _samples_inside(shot, lattice, planes, owner, places, top, bottom):
    """Samples of one sublattice in convex regions: edge, t, u, light, clipped."""
    ends = np.stack([np.maximum(top, 0), np.minimum(bottom, shot.size[1] - 1)], axis=1)
    runs = loops.runs_inside(planes, ends, shot.size[0], lattice.first, lattice.step)
    axes = np.concatenate([places.middle, places.along, places.normal], axis=1)
    edge, t, u, stored = loops.samples_of_runs(runs, owner, axes, lattice.samples, lattice.first, lattice.step)
    return edge, t, u, shot.light(stored, lattice.colour_index), stored >= shot.white
