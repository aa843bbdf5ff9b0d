"""Where each colour of the corrected picture comes from: lateral colour and distortion in one map."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from lensbench.correction._recipe import Recipe
from lensbench.frame import centre_of, half_diagonal

_BORDER_POINTS = 201
_ZOOMS = 0.3, 3.0


@dataclass(frozen=True, eq=False)
class Warp:
    """The map of a recipe for each colour.

    A place of the corrected picture is scaled about `centre` by `zoom`, bent as the lens bends (where distortion
    is taken out), and displaced as the lens displaces its colour: there the original is read. `zoom` is as large
    as it can be, so that as much as can be is kept, with nothing read from beyond the frame.
    """

    recipe: Recipe
    colours: tuple[str, ...]

    @property
    def needed(self) -> bool:
        """Whether anything moves at all."""
        return self.recipe.distortion is not None or bool(self.recipe.fringing)

    @property
    def centre(self) -> tuple[float, float]:
        """What distortion is about, else what the first colour's fringing is about, else the frame's centre."""
        if self.recipe.distortion is not None:
            return self.recipe.distortion.about
        fields = [field for fields in (self.recipe.fringing or {}).values() for field in fields]
        # Weak fringing shows no centre, and one outside of the frame is none to scale about.
        width, height = self.recipe.size
        inside = [f.about for f in fields if 0 <= f.about[0] < width and 0 <= f.about[1] < height]
        return inside[0] if inside else centre_of(self.recipe.size)

    @cached_property
    def zoom(self) -> float:
        """Step in the lens' undistorted picture over the step in the corrected one, about `centre`."""
        if not self.needed:
            return 1.0
        low, high = _ZOOMS
        if self._overrun(high) <= 0:
            return high
        return float(brentq(self._overrun, low, high, xtol=1e-7)) - 1e-6

    def _overrun(self, zoom: float) -> float:
        """By how many pixels the original is left at the worst place of the border; negative inside."""
        width, height = self.recipe.size
        along = np.linspace(0, 1, _BORDER_POINTS)
        zero, one = np.zeros_like(along), np.ones_like(along)
        x = np.concatenate([along, along, zero, one]) * (width - 1)
        y = np.concatenate([zero, one, along, along]) * (height - 1)
        places = [self._read_at(colour, x, y, zoom) for colour in self.colours]
        return float(
            max(max(-xs.min(), xs.max() - width + 1, -ys.min(), ys.max() - height + 1) for xs, ys in places)
        )

    def read_at(self, colour: str, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        """Where the original is read for places of the corrected picture, in pixels."""
        return self._read_at(colour, x, y, self.zoom)

    def _read_at(self, colour: str, x: NDArray, y: NDArray, zoom: float) -> tuple[NDArray, NDArray]:
        half, (cx, cy) = half_diagonal(self.recipe.size), self.centre
        across, down = (np.asarray(x) - cx) * zoom, (np.asarray(y) - cy) * zoom
        distortion = self.recipe.distortion
        if distortion is not None:
            radius = np.hypot(across, down) / half
            corners = np.hypot(*np.meshgrid([cx, self.recipe.size[0] - cx], [cy, self.recipe.size[1] - cy]))
            drawn = distortion.drawn_at(radius, float(corners.max()) / half * 1.02)
            factor = np.divide(drawn, radius, out=np.ones_like(radius), where=radius > 0)
            across, down = across * factor, down * factor
        return self.displaced(colour, cx + across, cy + down)

    def displaced(self, colour: str, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        """Where a colour draws what green draws at some places."""
        fields = (self.recipe.fringing or {}).get(colour)
        if not fields:
            return x, y
        half = half_diagonal(self.recipe.size)
        moved = np.sum([field.displacement(x, y, half) for field in fields], axis=0)
        return x + moved[..., 0], y + moved[..., 1]

    def undisplaced(self, colour: str, x: NDArray, y: NDArray) -> tuple[NDArray, NDArray]:
        """Where green draws what a colour draws at some places: `displaced` backwards."""
        at_x, at_y = x, y
        # Displacements change by a thousandth of the way: two steps leave some millionth of it.
        for _ in range(2):
            moved_x, moved_y = self.displaced(colour, at_x, at_y)
            at_x, at_y = at_x + x - moved_x, at_y + y - moved_y
        return at_x, at_y
