"""A shot made smaller, over the light of the paper around."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Shot

LONG_SIDE = 1500
"""About how many blocks the longer side of the reduced picture has."""

COARSER = 4
"""Blocks a side that are averaged before the paper's light is looked for."""

PARTS = 16
"""Parts along the longer side of the picture; each must hold some bare paper, so no tile may fill one."""

DIMMEST = 0.002
"""Share of full scale under which paper is too dark to read."""


@dataclass(frozen=True, eq=False)
class Reduced:
    """A shot's reference channel as means over square blocks, over the paper's light around.

    `relative` is 1 on paper and near 0 in ink; `paper` is the light of bare paper there as a share of full scale.
    Both have the shape (down, across). A block's centre is x = block * column + offset[0] in the shot, y likewise.
    """

    relative: NDArray[np.float32]
    paper: NDArray[np.float32]
    block: int
    offset: NDArray[np.float64]

    @property
    def readable(self) -> NDArray[np.bool_]:
        """Where paper has light enough."""
        return self.paper > DIMMEST

    def to_shot(self, places: NDArray) -> NDArray:
        """Places (x, y) in blocks to places in the shot's pixels."""
        return places * self.block + self.offset

    def from_shot(self, places: NDArray) -> NDArray:
        """Places (x, y) in the shot's pixels to places in blocks."""
        return (places - self.offset) / self.block


def reduce_shot(shot: Shot) -> Reduced:
    """Average the reference channel over blocks and divide by the paper's light, which may fall off by stops."""
    block = block_side(shot)
    light, offset = block_means(shot, block)
    full = np.float32(shot.full_scale(shot.reference))
    paper = _paper(light) / full
    relative = np.clip(light / (np.maximum(paper, DIMMEST) * full), 0, 2)
    return Reduced(relative, paper, block, offset)


def block_side(shot: Shot) -> int:
    """A whole number of the mosaic's repeats, or half of an even one where that is too coarse."""
    repeat = 1 if shot.pattern is None else int(np.lcm(*shot.pattern.shape))
    wanted = max(shot.size) / LONG_SIDE / repeat
    if repeat == 6 and wanted < 0.75:
        # Every 3 × 3 of such a mosaic holds greens, lying evenly about its middle.
        return 3
    return repeat * max(round(wanted), 1)


def block_means(shot: Shot, block: int) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """The mean light of each block, and the mean place (x, y) of the samples in it."""
    down, across = max(shot.size[1] // block, 1), max(shot.size[0] // block, 1)
    total, count = np.zeros((down, across), np.float32), np.zeros((down, across), np.float32)
    places = []
    for samples, first, step, index in shot.sublattices(shot.reference):
        # Either several samples of a sublattice lie in each block, or one in every second block.
        inside = [max(block // s, 1) for s in step]
        apart = [max(s // block, 1) for s in step]
        start = [f // block for f in first]
        into = (slice(start[1], None, apart[1]), slice(start[0], None, apart[0]))
        rows, columns = total[into].shape
        part = samples[: rows * inside[1], : columns * inside[0]]
        rows, columns = part.shape[0] // inside[1], part.shape[1] // inside[0]
        part = part[: rows * inside[1], : columns * inside[0]].reshape(rows, inside[1], columns, inside[0])
        # Row by row of a block: numpy adds strided whole numbers fastest that way.
        sums = sum(part[:, i, :, j].astype(np.float32) for i in range(inside[1]) for j in range(inside[0]))
        size = inside[0] * inside[1]
        total[into][:rows, :columns] += (sums - size * np.float32(shot.black[index])) * np.float32(
            shot.gain[index]
        )
        count[into][:rows, :columns] += size
        places += [[f % block + s * (i - 1) / 2 for f, s, i in zip(first, step, inside, strict=True)]]
    return np.nan_to_num(total / np.maximum(count, 1), posinf=0, neginf=0), np.mean(places, axis=0)


def _paper(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """The light of the bare paper everywhere: a smooth surface over what is brightest in each part of the picture.

    In stops, where falloff is nearly straight over the width of a tile; parts without any paper, dark for their
    surroundings, hardly count.
    """
    places, stops = _brightest(np.log2(np.maximum(light, max(float(light.max()), 1e-6) * 1e-4)))
    side = max(light.shape) / PARTS
    nodes = [np.linspace(0, size - 1, max(round(2 * size / side), 2)) for size in light.shape]
    y, x = np.meshgrid(*nodes, indexing="ij")
    trust = np.ones(len(stops))
    for _ in range(3):
        around = _local_planes(places, places, stops, trust, side)
        trust = np.where(stops < around - 0.3, 0.02, 1.0)
    surface = _local_planes(np.stack([x.ravel(), y.ravel()], axis=1), places, stops, trust, side).reshape(x.shape)
    down, across = (_straight_between(size, node) for size, node in zip(light.shape, nodes, strict=True))
    return np.exp2(down @ surface.astype(np.float32) @ across.T)


def _brightest(stops: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean place (x, y) and light of the brightest quarter of each part of a picture."""
    coarse = max(min(COARSER, *stops.shape), 1)
    down, across = (size // coarse for size in stops.shape)
    means = stops[: down * coarse, : across * coarse].reshape(down, coarse, across, coarse).mean(axis=(1, 3))
    side = max(max(means.shape) / PARTS, 1)
    rows = np.array_split(np.arange(down), max(round(down / side), 1))
    columns = np.array_split(np.arange(across), max(round(across / side), 1))
    places, levels = [], []
    for row in rows:
        for column in columns:
            part = means[row[0] : row[-1] + 1, column[0] : column[-1] + 1].ravel()
            top = np.argpartition(part, -max(len(part) // 4, 1))[-max(len(part) // 4, 1) :]
            y, x = np.divmod(top, len(column))
            places.append(((column[0] + x.mean() + 0.5) * coarse - 0.5, (row[0] + y.mean() + 0.5) * coarse - 0.5))
            levels.append(part[top].mean())
    return np.array(places), np.array(levels, float)


def _local_planes(
    at: NDArray, places: NDArray, values: NDArray, trust: NDArray, side: float
) -> NDArray[np.float64]:
    """At each place the plane through the values around, weighted by nearness."""
    away = ((places[None] - at[:, None]) / side).astype(np.float32)
    weight = trust * np.exp(-(away**2).sum(axis=2) / 2) + 1e-9
    x, y = away[..., 0], away[..., 1]
    sums = [(weight * term).sum(axis=1) for term in (np.ones_like(x), x, y, x * x, x * y, y * y)]
    right = np.stack([(weight * term * values).sum(axis=1) for term in (np.ones_like(x), x, y)], axis=1)
    # A touch of stiffness keeps the slope at rest where all values lie on one line.
    normal = np.stack(sums, axis=1)[:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3) + np.diag([0, 0.05, 0.05])
    return np.linalg.solve(normal, right[..., None])[:, 0, 0]


def _straight_between(size: int, nodes: NDArray) -> NDArray[np.float32]:
    """The matrix that interpolates values at nodes to 0, 1, … size - 1."""
    return np.array([np.interp(np.arange(size), nodes, one) for one in np.eye(len(nodes))], np.float32).T
