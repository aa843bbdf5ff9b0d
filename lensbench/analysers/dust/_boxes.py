"""Rectangular parts of the frame: where something has changed, and what overlaps with what."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

MANY_BOXES = 6
"""Where more parts of the frame have changed, it is faster to search all of it at once (chosen by experience)."""


class Box(NamedTuple):
    """A part of the frame in pixels: left ≤ x < right, top ≤ y < bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def contains(self, x: NDArray, y: NDArray) -> NDArray[np.bool_]:
        """Which positions lie in it."""
        return (x >= self.left) & (x < self.right) & (y >= self.top) & (y < self.bottom)

    def overlaps(self, other: Box) -> bool:
        """Whether the two have some area in common."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom

    def united(self, other: Box) -> Box:
        """The smallest box around both."""
        low = min(self.left, other.left), min(self.top, other.top)
        return Box(*low, max(self.right, other.right), max(self.bottom, other.bottom))

    def grown(self, by: float) -> Box:
        """The box, larger by `by` on every side."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def cells(self, cell_px: int, shape: tuple[int, ...]) -> tuple[slice, slice]:
        """Rows and columns of the cells that it touches (one at least) on a grid of some shape."""
        spans = []
        for low, high, count in ((self.top, self.bottom, shape[0]), (self.left, self.right, shape[1])):
            first = int(np.clip(np.floor(low / cell_px), 0, count - 1))
            spans.append(slice(first, int(np.clip(np.ceil(high / cell_px), first + 1, count))))
        return spans[0], spans[1]


def in_any(boxes: list[Box], x: NDArray, y: NDArray) -> NDArray[np.bool_]:
    """Which positions lie in one of the boxes."""
    return np.any([box.contains(x, y) for box in boxes], axis=0) if boxes else np.zeros(x.shape, bool)


def merged(boxes: list[Box]) -> list[Box]:
    """The boxes, those that overlap united to larger ones."""
    disjoint: list[Box] = []
    for box in boxes:
        while (other := next((b for b in disjoint if b.overlaps(box)), None)) is not None:
            disjoint.remove(other)
            box = box.united(other)
        disjoint.append(box)
    return disjoint


def disjoint_groups(numbers: list[int], boxes: list[Box]) -> list[list[int]]:
    """The numbers of boxes in groups within which no two boxes overlap."""
    groups: list[list[int]] = []
    for number in numbers:
        free = [g for g in groups if not any(boxes[number].overlaps(boxes[other]) for other in g)]
        if free:
            free[0].append(number)
        else:
            groups.append([number])
    return groups
