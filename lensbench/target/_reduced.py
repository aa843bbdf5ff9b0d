"""A reduced picture of a shot, divided by the light of the paper around.

The constants are chosen by experience; `tests.bench.finding` shows what they achieve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench.reduction import reduce_reference, reduction_block
from lensbench.shot import Shot

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
        """Positions (x, y) in blocks to positions in the shot's pixels."""
        return places * self.block + self.offset

    def from_shot(self, places: NDArray) -> NDArray:
        """Positions (x, y) in the shot's pixels to positions in blocks."""
        return (places - self.offset) / self.block


def reduce_shot(shot: Shot) -> Reduced:
    """Average the reference channel over blocks and divide by the paper's light, which may fall off by stops."""
    block = reduction_block(shot)
    light, offset = reduce_reference(shot, block)
    full = np.float32(shot.full_scale(shot.reference))
    paper = _paper(light) / full
    relative = np.clip(light / (np.maximum(paper, DIMMEST) * full), 0, 2)
    return Reduced(relative, paper, block, offset)


def _paper(light: NDArray[np.float32]) -> NDArray[np.float32]:
    """The light of bare paper everywhere: a smooth surface over the brightest quarter of each part of the picture.

    In stops, where falloff is nearly linear over the width of a tile; parts without paper, darker than their
    surroundings, get almost no weight.
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
    """Mean position (x, y) and stops of the brightest quarter of each part of a picture."""
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
    """At each point the plane through the values around, with Gaussian weights of distance."""
    away = ((places[None] - at[:, None]) / side).astype(np.float32)
    weight = trust * np.exp(-(away**2).sum(axis=2) / 2) + 1e-9
    x, y = away[..., 0], away[..., 1]
    sums = [(weight * term).sum(axis=1) for term in (np.ones_like(x), x, y, x * x, x * y, y * y)]
    right = np.stack([(weight * term * values).sum(axis=1) for term in (np.ones_like(x), x, y)], axis=1)
    # A little regularisation keeps the slope at 0 where all values lie on one line.
    normal = np.stack(sums, axis=1)[:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3) + np.diag([0, 0.05, 0.05])
    return np.linalg.solve(normal, right[..., None])[:, 0, 0]


def _straight_between(size: int, nodes: NDArray) -> NDArray[np.float32]:
    """The matrix that interpolates values at nodes to 0, 1, … size - 1."""
    return np.array([np.interp(np.arange(size), nodes, one) for one in np.eye(len(nodes))], np.float32).T
