"""Gains: what each place's light is multiplied with, 1 or more everywhere, so that what is blown stays blown."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lensbench.correction._recipe import Recipe, Shadow
from lensbench.shot import Shot

MOST_STOPS = 4.0
"""No place is lightened by more than this: darker corners hold more noise than picture."""

_COARSE = 65
"""Points along each side at which the smallest gain is looked for."""

Range = tuple[int, int, int]

_CELL = 16
"""Pixels between the places at which the smooth part is worked out; it is linear over so short a way."""


@dataclass(frozen=True, eq=False)
class Gains:
    """The gains of a recipe, for the colours of one shot."""

    recipe: Recipe
    colours: tuple[str, ...]

    @cached_property
    def exposure_stops(self) -> float:
        """By how much the whole picture is lightened so that no gain lies under 1; 0 or more."""
        if self.recipe.light is None:
            return 0.0
        x, y = (np.linspace(0, length - 1, _COARSE) for length in self.recipe.size)
        return max(0.0, -min(float(self._stops(colour, x, y).min()) for colour in self.colours))

    def smooth(self, colour: str, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Gains for falloff and cast at every crossing of rising x and y (pixels), shape (y, x)."""
        if self.recipe.light is None:
            return np.ones((len(y), len(x)))
        return np.exp2(np.clip(self._stops(colour, x, y) + self.exposure_stops, 0.0, MOST_STOPS))

    def _stops(self, colour: str, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        assert self.recipe.light is not None
        return self.recipe.light.stops_at(colour, x, y, self.recipe.size)

    def capped_part(self) -> float:
        """The part of the frame that stays darker, because it lacks more than `MOST_STOPS`."""
        if self.recipe.light is None:
            return 0.0
        x, y = (np.linspace(0, length - 1, 4 * _COARSE) for length in self.recipe.size)
        return float(np.mean(self._stops(self.colours[0], x, y) + self.exposure_stops > MOST_STOPS))

    def on_map(self, colour: str, x: NDArray, y: NDArray, shadows: list[Shadow]) -> NDArray[np.float64]:
        """Gains at the points of a map, some shadows included."""
        gains = self.smooth(colour, x, y)
        for shadow in shadows:
            left, top, right, bottom = shadow.box(self.recipe.size)
            columns = slice(*np.searchsorted(x, (left, right)))
            rows = slice(*np.searchsorted(y, (top, bottom)))
            gains[rows, columns] /= shadow.light_at(x[columns], y[rows])
        return gains

    def applied(self, shot: Shot, light: NDArray[np.float32]) -> None:
        """Multiply light of the shape of a shot's samples with its gains, shadows included, in place."""
        if self.recipe.light is not None:
            self._apply_smooth(shot, light)
        for shadow in self.recipe.shadows:
            left, top, right, bottom = shadow.box(self.recipe.size)
            if left < right and top < bottom:
                left_light = shadow.light_at(np.arange(left, right), np.arange(top, bottom)).astype(np.float32)
                part = light[top:bottom, left:right]
                part /= left_light if part.ndim == 2 else left_light[:, :, None]

    def _apply_smooth(self, shot: Shot, light: NDArray[np.float32]) -> None:
        nodes_x, nodes_y = (_nodes(length) for length in self.recipe.size)
        for colour in dict.fromkeys(shot.colours):
            nodes = self.smooth(colour, nodes_x, nodes_y).astype(np.float32)
            for view, columns, rows in _views(shot, light, colour):
                across = _linear(nodes, np.arange(*columns) / nodes_x[1], axis=1)
                for line, row in zip(view, range(*rows), strict=True):
                    line *= _linear(across, np.array([row / nodes_y[1]]), axis=0)[0]


def _nodes(length: int) -> NDArray[np.float64]:
    """Places about `_CELL` pixels apart, from the first pixel to the last."""
    return np.linspace(0, length - 1, -(-(length - 1) // _CELL) + 1)


def _views(shot: Shot, light: NDArray, colour: str) -> Iterator[tuple[NDArray, Range, Range]]:
    """The parts of an array of the samples' shape that hold a colour, with their columns and rows."""
    height, width = light.shape[:2]
    if shot.pattern is None:
        for index in shot.indices(colour):
            yield light[:, :, index], (0, width, 1), (0, height, 1)
        return
    down, across = shot.pattern.shape
    for row, column in np.argwhere(np.isin(shot.pattern, shot.indices(colour))):
        yield light[row::down, column::across], (column, width, across), (row, height, down)


def _linear(values: NDArray[np.float32], at: NDArray, axis: int) -> NDArray[np.float32]:
    """Values between nodes along an axis, at places counted in nodes."""
    lower = np.minimum(at.astype(int), values.shape[axis] - 2)
    part = np.expand_dims(at - lower, 1 - axis).astype(np.float32)
    return np.take(values, lower, axis) * (1 - part) + np.take(values, lower + 1, axis) * part
