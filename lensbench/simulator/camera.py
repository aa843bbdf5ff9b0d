"""A camera known in full: light on the sensor to the numbers it stores."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lensbench.shot import Exposure, Shot, reference_channel
from lensbench.simulator.lens import Dirt

RGGB = ((0, 1), (3, 2))
"""A Bayer pattern whose two greens are indices 1 and 3."""

COLOURS = ("red", "green", "blue", "green")
"""The colours' names by the indices of `RGGB`."""


MODEL = "Bench Simulator"
"""What the camera calls itself."""


@dataclass(frozen=True)
class Camera:
    """A camera known in full.

    Attributes
    ----------
    size : (int, int)
        Width and height in pixels.
    sensor_mm : (float, float)
        Width and height in millimetres; pixels are square, so their width counts.
    pattern : tuple of tuples of int, or None
        Colour index of each sample, repeated from the top left; None for full planes of every colour.
    colours : tuple of str
        Names by colour index.
    sensitivity : mapping of str to float
        Electrons of a channel for white light, over those of the most sensitive.
    green_imbalance : float
        Part by which the last index of a name that comes twice is more sensitive than the first.
    full_well : float
        Electrons at which a sample clips.
    read_noise, pixel_gain : float
        Standard deviations: electrons a sample, and part of the light pixel to pixel.
    black, white : float
        Stored number without light, and at which a sample clips.
    fill : float
        Width of the light-gathering square over the pixel's.
    hot, dead : int
        How many pixels shine or stay dark; which, `body` decides.
    body : int
        Which one of its kind the camera is: fixes pixel gains, hot and dead pixels.
    dirt : tuple of Dirt
        On the sensor.
    """

    size: tuple[int, int] = (6000, 4000)
    sensor_mm: tuple[float, float] = (36.0, 24.0)
    pattern: tuple[tuple[int, ...], ...] | None = RGGB
    colours: tuple[str, ...] = COLOURS
    sensitivity: Mapping[str, float] = field(
        default_factory=lambda: {"red": 0.7, "green": 1.0, "blue": 0.8, "grey": 1.0}
    )
    green_imbalance: float = 0.0
    full_well: float = 30000.0
    read_noise: float = 3.0
    pixel_gain: float = 0.005
    black: float = 512.0
    white: float = 15871.0
    fill: float = 1.0
    hot: int = 0
    dead: int = 0
    body: int = 1
    dirt: tuple[Dirt, ...] = ()

    @property
    def pitch_mm(self) -> float:
        """Distance of neighbouring pixels."""
        return self.sensor_mm[0] / self.size[0]

    @property
    def channels(self) -> tuple[str, ...]:
        """The colours' names, each once."""
        return tuple(dict.fromkeys(self.colours))

    @property
    def reference(self) -> str:
        """Green, or the only channel there is."""
        return reference_channel(self.colours)

    def blank(self) -> Shot:
        """A shot of no light, whose samples are floating point: a canvas with the camera's colour layout."""
        width, height = self.size
        shape = (height, width) if self.pattern is not None else (height, width, len(self.colours))
        return self._shot(np.zeros(shape, np.float32), "canvas", Exposure())

    def expose(self, light: NDArray[np.float32], name: str, seed: int, exposure: Exposure | None = None) -> Shot:
        """Take a shot.

        Parameters
        ----------
        light : ndarray of float32, shape of the samples
            Light on the sensor over what clips the most sensitive channel; used up (overwritten).
        name : str
            The shot's name.
        seed : int
            Of photons and reading; the fixed pattern comes from `body`.

        Returns
        -------
        Shot
            With whole numbers, black below and clipped at white.
        """
        body, rng = np.random.default_rng([self.body, 1]), np.random.default_rng([seed, 2])
        electrons = self._gathered(light)
        electrons *= 1 + np.float32(self.pixel_gain) * body.standard_normal(light.shape, np.float32)
        few = electrons < 50
        counted = rng.poisson(electrons[few])
        noise = rng.standard_normal(light.shape, np.float32)
        noise *= np.sqrt(electrons)
        electrons += noise
        electrons[few] = counted
        electrons += np.float32(self.read_noise) * rng.standard_normal(light.shape, np.float32)
        self._spoil(electrons, body)
        electrons *= np.float32((self.white - self.black) / self.full_well)
        electrons += np.float32(self.black)
        stored = np.clip(np.rint(electrons, out=electrons), 0, self.white, out=electrons)
        return self._shot(stored.astype(np.uint16), name, exposure or Exposure())

    def _gathered(self, light: NDArray[np.float32]) -> NDArray[np.float32]:
        """Electrons without noise, each colour by its sensitivity."""
        canvas = self._shot(light, "light", Exposure())
        for index, factor in enumerate(self._sensitivities()):
            for part in canvas.sublattices(self.colours[index]):
                if part.colour_index == index:
                    part.samples[...] *= np.float32(factor * self.full_well)
        return np.maximum(light, 0, out=light)

    def _sensitivities(self) -> list[float]:
        """Sensitivity by colour index, the second of like-named ones a little more sensitive."""
        return [
            self.sensitivity[name] * (1 + self.green_imbalance * (name in self.colours[:index]))
            for index, name in enumerate(self.colours)
        ]

    def _spoil(self, electrons: NDArray[np.float32], body: np.random.Generator) -> None:
        """Make the camera's hot and dead pixels so."""
        rows, columns = electrons.shape[:2]
        for count, low, high, adds in ((self.hot, 0.05, 1.0, True), (self.dead, 0.0, 0.5, False)):
            row, column = body.integers(rows, size=count), body.integers(columns, size=count)
            strength = body.uniform(low, high, count).astype(np.float32)
            if adds:
                electrons[row, column] += (strength * self.full_well).reshape(-1, *[1] * (electrons.ndim - 2))
            else:
                electrons[row, column] *= strength.reshape(-1, *[1] * (electrons.ndim - 2))

    def _shot(self, samples: NDArray, name: str, exposure: Exposure) -> Shot:
        pattern = None if self.pattern is None else np.array(self.pattern, np.uint8)
        count = len(self.colours)
        return Shot(
            name, samples, pattern, self.colours, np.full(count, self.black), self.white, np.ones(count), exposure
        )
