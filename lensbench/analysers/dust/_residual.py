"""The residual of a flat: all colours combined into cells, the smooth light subtracted, in units of noise.

Dirt's shadows are grey, so every sample holds information on them, whatever its colour. Samples are weighted by
their signal to noise, two by two pixels make a cell, and each cell's deviation from the smooth light is divided by
its noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lensbench.analysers.dust._border_light import level_border
from lensbench.analysers.dust._cell_sums import along_x, cell_kinds, normalised_residual
from lensbench.analysers.dust._cells import CELL_PX, block_means_of_cells, cell_centres, zero_unreadable
from lensbench.analysers.dust._defective_pixels import correct_defective_pixels
from lensbench.analysers.dust._expected_light import (
    LEAST_SCATTER,
    SPLINES,
    IndexLight,
    deviations,
    smooth_light,
    weights,
)
from lensbench.analysers.dust._uneven_light import Levelled, level_uneven_light
from lensbench.analysers.flat_light import fit_round, nearest_blocks, robust_round_weights, round_basis
from lensbench.analysers.numerics.b_splines import spline_basis
from lensbench.analysers.numerics.strips import subtract_product
from lensbench.analysers.numerics.surfaces import Surface, nodes, surface_through
from lensbench.robust import robust_sigma
from lensbench.shot import Shot
from lensbench.uniform_blocks import UniformBlocks

LARGEST_CELLS, CORRELATED = 8, 1.5
"""Side of the largest cells whose noise is measured, and the factor over uncorrelated noise from which the noise
counts as correlated: less may come of marks, or of how few such cells there are (chosen by experience)."""


@dataclass(frozen=True, eq=False)
class Residual:
    """Deviations from the smooth light, darker positive, in units of the noise.

    Attributes
    ----------
    size : (int, int)
        Width and height of the frame in pixels.
    z : ndarray of float32, shape (height // CELL_PX, width // CELL_PX)
        Deviation of each cell over its noise; 0 where the light can't be measured.
    strength : Surface
        Signal to noise of a whole cell's light: a shadow of relative depth d gives z = d × strength.
    block_x, block_y : ndarray
        Centres of the blocks to which the smooth light was fitted, in pixels.
    readable, levelled : ndarray of bool, shape (block_y, block_x)
        Blocks that can be measured, and those where uneven light at the border was subtracted.
    rounding : float
        One step of the stored numbers as a share of the light, where it shows; else 0.
    flat : Shot
        The flat itself.
    lights : dict of int to IndexLight
        Expected light of each colour index.
    uneven : Levelled
        What the light plainly is besides even; subtracted.
    """

    size: tuple[int, int]
    z: NDArray[np.float32]
    strength: Surface
    block_x: NDArray[np.float64]
    block_y: NDArray[np.float64]
    readable: NDArray[np.bool_]
    levelled: NDArray[np.bool_]
    rounding: float
    flat: Shot
    lights: dict[int, IndexLight]
    uneven: Levelled

    @property
    def unsure(self) -> float:
        """Depth, as a share of the light, that steps of the stored numbers or levelling may leave."""
        return max(self.rounding, self.uneven.unsure)

    @cached_property
    def round_bases(self) -> tuple[NDArray, NDArray]:
        """The functions of symmetric light, on the blocks and on the nodes of smooth surfaces."""
        x, y = nodes(self.size, SPLINES)
        return round_basis(self.block_x, self.block_y, self.size), round_basis(x, y, self.size)

    def levelled_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.bool_]:
        """Whether uneven light at the border was subtracted at positions in pixels."""
        return self.levelled[
            nearest_blocks(self.block_y, np.asarray(y)), nearest_blocks(self.block_x, np.asarray(x))
        ]

    def strength_at(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """Signal to noise of a whole cell's light at positions in pixels (or the nearest in the frame)."""
        x, y = np.broadcast_arrays(np.clip(x, 0, self.size[0] - 1), np.clip(y, 0, self.size[1] - 1))
        return self.strength.at(x.ravel(), y.ravel()).reshape(x.shape)

    def depth_of_cells(self, z: ArrayLike, x: ArrayLike, y: ArrayLike, cell_px: ArrayLike) -> NDArray[np.float64]:
        """Depth in percent at which cells of some size deviate by z."""
        return 100 * np.asarray(z) / (self.strength_at(x, y) * np.asarray(cell_px) / CELL_PX)

    def pixels(self, x: NDArray[np.int64], y: NDArray[np.int64]) -> tuple[NDArray, NDArray]:
        """How much darker than the smooth light single pixels are, as a share of it, and its noise."""
        depth, variance = np.zeros((2, x.size))
        planes = 1 if self.flat.pattern is not None else len(self.flat.colours)
        for plane in range(planes):
            share, noise = deviations(self.flat, self.lights, x.ravel(), y.ravel(), plane)
            depth -= share / planes
            variance += (noise / planes) ** 2
        return depth.reshape(x.shape), np.sqrt(variance).reshape(x.shape)


def residual_of(flat: Shot, blocks: UniformBlocks | None = None) -> Residual:
    """The residual of a flat.

    Parameters
    ----------
    flat : Shot
        An even light through the lens.
    blocks : UniformBlocks, optional
        Of its reference channel, where they have been read already.

    Returns
    -------
    Residual

    Raises
    ------
    BenchError
        Where too little of the frame can be measured.
    """
    light = smooth_light(flat, blocks)
    lights, x, y, readable = light.by_index, light.x, light.y, light.readable
    kinds = cell_kinds(flat)
    expected, inverse_noise, signal_to_noise = [], [], []
    for indices in kinds.reshape(-1, kinds.shape[-1]):
        parts = [lights[i] for i in indices]
        noise = np.sqrt(sum(part.weight**2 * part.variance for part in parts))
        signal = sum(part.weight * part.light for part in parts)
        black = sum(lights[i].weight * flat.gain[i] * flat.black[i] for i in indices)
        coefficients = sum(part.weight * part.surface.coefficients for part in parts)
        expected.append(Surface(flat.size, coefficients + black))
        inverse_noise.append(surface_through(1 / noise, flat.size, SPLINES))
        signal_to_noise.append(signal / noise)
    sample_weights = (weights(flat, lights) * flat.gain).astype(np.float32)
    z = normalised_residual(flat, sample_weights, expected, inverse_noise, kinds.shape[:2])
    zero_unreadable(z, readable, x, y)
    correct_defective_pixels(z, flat, lights, inverse_noise, kinds.shape[:2])
    noise_factor = _noise_factor(z, kinds.shape[1])
    z /= np.float32(noise_factor)
    strength_on_nodes = np.sqrt(np.mean(np.square(signal_to_noise), axis=0)) / noise_factor
    strength = surface_through(strength_on_nodes, flat.size, SPLINES)
    uneven = level_uneven_light(z, strength, x, y)
    levelled, steep = level_border(z, strength, x, y)
    readable = readable & ~steep
    zero_unreadable(z, readable, x, y)
    return Residual(flat.size, z, strength, x, y, readable, levelled, light.rounding, flat, lights, uneven)


def _noise_factor(z: NDArray[np.float32], step: int) -> float:
    """Measured noise of the cells over that of the noise model; at least 1.

    Where noise is correlated, as in developed pictures, larger cells have more of it than their samples' noise
    explains: the largest factor counts.
    """
    own = _neighbour_sigma(z[::7], step)
    whole = len(z) // (8 * LARGEST_CELLS) * 8 * LARGEST_CELLS
    rows: NDArray = z[:whole].reshape(-1, 8, LARGEST_CELLS, z.shape[1])[:, 0]
    larger = []
    for _ in range(int(np.log2(LARGEST_CELLS))):
        pairs = rows[:, 0::2] + rows[:, 1::2]
        even = pairs.shape[-1] // 2 * 2
        rows = (pairs[..., 0:even:2] + pairs[..., 1:even:2]) / 2
        larger.append(_neighbour_sigma(rows, 1))
    largest = max(larger, default=own)
    return max(largest if largest > CORRELATED * own else own, 1.0)


def _neighbour_sigma(z: NDArray[np.float32], step: int) -> float:
    """Robust standard deviation of cells, from their differences to neighbours `step` further on."""
    difference = (z[..., step:] - z[..., :-step]).ravel()
    difference = difference[difference != 0]
    return robust_sigma(difference, about=0.0) / np.sqrt(2) if difference.size else 0.0


def refit_smooth_light(residual: Residual, z: NDArray[np.float32]) -> None:
    """Fit the smooth light again to cells from which marks were subtracted, and subtract the difference in place.

    Parameters
    ----------
    residual : Residual
        As first computed.
    z : ndarray of float32
        Its cells without the marks; changed in place.
    """
    x, y = residual.block_x, residual.block_y
    basis, node_basis = residual.round_bases
    depth = block_means_of_cells(z, x, y) / residual.strength.on_grid(x, y)
    parts = fit_round(depth, robust_round_weights(depth, residual.readable, basis, LEAST_SCATTER), basis)
    strength = residual.strength.on_grid(*nodes(residual.size, SPLINES))
    change = surface_through(strength * (node_basis @ parts).reshape(strength.shape), residual.size, SPLINES)
    rows, columns = z.shape
    down = spline_basis(cell_centres(rows), residual.size[1], SPLINES[0])
    subtract_product(z, down.astype(np.float32), along_x(change, cell_centres(columns)), keep_zeros=True)
