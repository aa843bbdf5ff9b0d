"""Series along a rail in closed form: tiles whose blur grows from a curved, leaning surface of best focus."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lensbench import frame
from lensbench.analysers.focus import FocusShot, Sheet
from lensbench.findings import Figure, TileSharpness

SIZE = (3000, 2000)
RAIL = np.arange(-0.8, 0.81, 0.1)
STRAIGHT = (Figure.of(0.0, 0.01, "°"), Figure.of(0.0, 0.01, "°"))
SHEET = Sheet(50.0, 0.3, STRAIGHT)
"""Square to the rail, 50 px a millimetre, at 0.3 of life size."""


@dataclass(frozen=True)
class Surface:
    """Best focus in mm, positive farther.

    `lean` is what it gains over a half-diagonal to the right and downwards, `bow` what it has more at h = 1
    (sagittal, tangential), `colours` what a channel has more everywhere.
    """

    centre: float = 0.0
    lean: tuple[float, float] = (0.0, 0.0)
    bow: tuple[float, float] = (0.0, 0.0)
    colours: tuple[tuple[str, float], ...] = (("green", 0.0),)

    def at(self, x: NDArray, y: NDArray) -> NDArray[np.float64]:
        """Of sagittal and tangential edges at places in pixels, shape (n, 2)."""
        (cx, cy), radius = frame.centre_of(SIZE), frame.half_diagonal(SIZE)
        plane = self.centre + self.lean[0] * (x - cx) / radius + self.lean[1] * (y - cy) / radius
        return plane[:, None] + frame.h_of(x, y, SIZE)[:, None] ** 2 * np.array(self.bow)


def lattice(shrink: float = 1.0) -> tuple[NDArray, NDArray, NDArray, NDArray]:
    """Column, row and place of 11 × 7 tiles, drawn smaller where asked."""
    column, row = (grid.ravel() for grid in np.meshgrid(np.arange(11), np.arange(7)))
    cx, cy = frame.centre_of(SIZE)
    return column, row, cx + (column - 5) * 270 * shrink, cy + (row - 3) * 270 * shrink


def mtf50_of(away: NDArray, blur_px: float = 0.8, growth: float = 3.0) -> NDArray[np.float64]:
    """Of a Gaussian blur whose variance grows with the square of the way from focus: 0.18739 / blur."""
    return 0.18739 / np.sqrt(blur_px**2 + (growth * away) ** 2)


def series(
    surface: Surface, away: NDArray = RAIL, reading: NDArray | None = None, noise: float = 0.01, seed: int = 0
) -> list[FocusShot]:
    """Shots at places `away` from nominal, whose rail reads `reading` (the same unless given)."""
    rng = np.random.default_rng(seed)
    reading = away if reading is None else reading
    shots = []
    for number, (true, read) in enumerate(zip(away, reading, strict=True)):
        column, row, x, y = lattice(1 / (1 + true / 150))
        rows = []
        for channel, shift in surface.colours:
            value = mtf50_of(true - shift - surface.at(x, y))
            value = value * (1 + noise * rng.standard_normal(value.shape))
            figures = [[Figure.of(v, 1.96 * noise * v, "cy/px") for v in pair] for pair in value]
            rows += [
                TileSharpness(int(c), int(r), channel, float(px), float(py), 0.0, *pair, True)
                for c, r, px, py, pair in zip(column, row, x, y, figures, strict=True)
            ]
        shots.append(FocusShot(f"t_{number:02d}.dng", float(read), rows))
    return shots


def assert_intervals_hold(error: NDArray, half_width: NDArray, least: float = 0.93) -> None:
    """Most intervals hold the truth, and they are not padded.

    Where the model's error counts besides noise, intervals may hold more than 97 %, but half of them must be
    narrower than twice the 95th percentile of the errors.
    """
    error, half_width = np.abs(np.asarray(error)), np.asarray(half_width)
    assert np.mean(error <= half_width) >= least
    assert np.median(half_width) <= 2 * np.percentile(error, 95)
