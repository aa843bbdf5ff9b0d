"""The expected value of each sample of a flat, from its smooth light, and the deviations from it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lensbench.analysers.dust._quantisation import quantisation_step
from lensbench.analysers.flat_light import (
    centre_of_light,
    fit_round,
    index_block_means,
    robust_round_weights,
    round_basis,
)
from lensbench.analysers.numerics.rank_filters import maximum_filter, reconstruction
from lensbench.analysers.numerics.surfaces import Surface, nodes, surface_through
from lensbench.errors import BenchError
from lensbench.noise import Noise, estimate_noise
from lensbench.shot import Shot
from lensbench.uniform_blocks import UniformBlocks, read_uniform_blocks

SPLINES = (27, 39)
"""B-splines down and across that interpolate the smooth light from blocks to cells."""

LEAST_SCATTER = 4e-4
"""Standard deviation of the logarithms of the blocks' light that never counts as dirt (chosen by experience)."""

CUT_OFF = 0.85
"""Blocks darker than this share of the smooth light and connected to the frame's border are vignetted by a barrel
or ring (chosen by experience)."""

CLIPPED_SHARE = 0.02
"""A block with a larger share of clipped samples is left out; a few are hot pixels (chosen by experience)."""

LEAST_BLOCKS = 60
"""Fewer readable blocks are too little of a frame."""

BLOCK_PX, BLOCKS_DOWN = (16, 64), 45
"""Limits of the blocks for the smooth light, and how many the shorter side has: few are fitted fast, but the
light's curvature within each must be small (chosen by experience)."""

LEAST_LIGHT, LEAST_LEVEL = 1 / 16, 0.002
"""Blocks with less than this share of the brightest light, or of full scale, are left out."""


@dataclass(frozen=True, eq=False)
class IndexLight:
    """The smooth light of one colour index.

    Attributes
    ----------
    surface : Surface
        In stored units above black.
    light, variance : ndarray
        The light on the surface's nodes, and the variance of a sample there.
    noise : Noise
    weight : float
        Of its samples: light over variance, its median.
    """

    surface: Surface
    light: NDArray[np.float64]
    variance: NDArray[np.float64]
    noise: Noise
    weight: float


@dataclass(frozen=True, eq=False)
class SmoothLight:
    """The smooth light of a flat.

    Attributes
    ----------
    by_index : dict of int to IndexLight
    x, y : ndarray
        Centres of the blocks that it was fitted to, in pixels.
    readable : ndarray of bool, shape (y, x)
        Blocks that can be measured in every colour.
    rounding : float
        From `quantisation_step`.
    """

    by_index: dict[int, IndexLight]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    readable: NDArray[np.bool_]
    rounding: float


def smooth_light(flat: Shot, blocks: UniformBlocks | None = None) -> SmoothLight:
    """The light of a flat without its marks.

    Parameters
    ----------
    flat : Shot
    blocks : UniformBlocks, optional
        Of its reference channel, where they have been read already.

    Returns
    -------
    SmoothLight

    Raises
    ------
    BenchError
        Where too little of the frame can be measured.
    """
    block = int(np.clip(min(flat.size) // BLOCKS_DOWN, *BLOCK_PX))
    indices = _indices(flat)
    means = dict(zip(indices, index_block_means(flat, indices, block), strict=True))
    first = next(iter(means.values()))
    clipped = np.any([m.clipped >= CLIPPED_SHARE for m in means.values()], axis=0)
    # Beside them light is flattened too, which looks like marks.
    readable = ~maximum_filter(clipped)
    for index, m in means.items():
        least = LEAST_LEVEL * flat.full_scale(flat.colours[index])
        readable &= m.light > max(LEAST_LIGHT * np.percentile(m.light, 99), least)
    if readable.sum() < LEAST_BLOCKS:
        raise BenchError(
            f"{flat.name}: too little of the frame can be searched for dirt (the rest is clipped or dark). "
            "Light the sheet evenly and expose so that white is at 50 to 75 %."
        )
    # Colours differ in light, hardly in electrons per unit: one noise model holds for all.
    noise = estimate_noise(read_uniform_blocks(flat) if blocks is None else blocks) or Noise(1.0, 0.0, 0.0)
    rounding = quantisation_step(flat, noise)
    # Rounding to visible steps is a uniform error: its variance is a twelfth of the step's square.
    noise = replace(noise, gain=noise.gain + rounding**2 / 12)
    logs = {i: np.log(np.where(readable, np.maximum(m.light, 1e-30), 1.0)) for i, m in means.items()}
    mean_log = np.mean(list(logs.values()), axis=0)
    found = centre_of_light(first.x, first.y, mean_log, readable, flat.size)
    centre = (0.0, 0.0) if found is None else (float(found[0][0]), float(found[0][1]))
    basis = round_basis(first.x, first.y, flat.size, centre)
    node_basis = round_basis(*nodes(flat.size, SPLINES), flat.size, centre)
    robust = robust_round_weights(mean_log, readable, basis, LEAST_SCATTER)
    lights = {}
    for index, m in means.items():
        parts = fit_round(logs[index], robust, basis)
        light = np.exp(node_basis @ parts).reshape([3 * n for n in SPLINES])
        lights[index] = _index_light(light, noise, flat.size)
        readable &= ~_vignetted(m.light / np.exp(basis @ parts).reshape(readable.shape), readable)
    return SmoothLight(lights, first.x, first.y, readable, rounding)


def _index_light(light: NDArray, noise: Noise, size: tuple[int, int]) -> IndexLight:
    """The smooth light of one colour index from its values on the nodes."""
    variance = noise.variance(light)
    return IndexLight(
        surface_through(light, size, SPLINES), light, variance, noise, float(np.median(light / variance))
    )


def _indices(flat: Shot) -> list[int]:
    """The colour indices that have samples."""
    return list(range(len(flat.colours))) if flat.pattern is None else [int(i) for i in np.unique(flat.pattern)]


def _vignetted(ratio: NDArray, readable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Blocks vignetted by a barrel or ring: far darker than the smooth light, and connected to the border."""
    dark = (ratio < CUT_OFF) | ~readable
    at_border = dark.copy()
    at_border[1:-1, 1:-1] = False
    return maximum_filter(maximum_filter(reconstruction(at_border, dark)))


def weights(flat: Shot, lights: dict[int, IndexLight]) -> NDArray[np.float64]:
    """The weight of every colour index, shape (colour indices,)."""
    return np.array([lights[i].weight if i in lights else 0.0 for i in range(len(flat.colours))])


def index_at(flat: Shot, x: NDArray, y: NDArray, plane: int) -> NDArray[np.int64]:
    """The colour index of the samples at pixels x, y."""
    if flat.pattern is None:
        return np.full(x.shape, plane)
    return flat.pattern[y % flat.pattern.shape[0], x % flat.pattern.shape[1]].astype(np.int64)


def sample_at(flat: Shot, x: NDArray, y: NDArray, plane: int) -> tuple[NDArray[np.int64], NDArray]:
    """Colour index and stored number of the samples at pixels x, y (or the nearest in the frame)."""
    x, y = np.clip(x, 0, flat.size[0] - 1), np.clip(y, 0, flat.size[1] - 1)
    stored = flat.samples[y, x] if flat.pattern is not None else flat.samples[y, x, plane]
    return index_at(flat, x, y, plane), stored


def deviations(
    flat: Shot, lights: dict[int, IndexLight], x: NDArray, y: NDArray, plane: int
) -> tuple[NDArray, NDArray]:
    """Deviations of samples from the smooth light, as a share of it, and their noise, shape (n,)."""
    x, y = np.clip(x, 0, flat.size[0] - 1), np.clip(y, 0, flat.size[1] - 1)
    index, stored = sample_at(flat, x, y, plane)
    share, noise = np.zeros(len(x)), np.ones(len(x))
    for number, part in lights.items():
        here = index == number
        light = part.surface.at(x[here], y[here])
        share[here] = flat.light(stored[here], number) / light - 1
        noise[here] = np.sqrt(part.noise.variance(light)) / light
    return share, noise
