"""Target shots by the simulator, good ones and such as something besides the lens has had its hand in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy import ndimage

from lensbench.analysers.edge import EdgePlaces, EdgeResponses, measure_edges, tile_edges
from lensbench.analysers.photon_transfer import NoiseAssessment, assess_noise, find_filter
from lensbench.analysers.shot_quality import ShotSigns, assess_shot
from lensbench.shot import Shot
from lensbench.simulator.camera import Camera
from lensbench.simulator.lens import Colour, Lens
from lensbench.simulator.scene import Print, Scene
from lensbench.simulator.target_shot import target_light
from lensbench.target.finder import FoundTiles, find_tiles
from lensbench.target.layout import make_layout
from lensbench.uniform_blocks import read_uniform_blocks

SIZE, SENSOR_MM, PITCH_UM = (1200, 800), (7.2, 4.8), 6.0
CAMERA = Camera(SIZE, SENSOR_MM, ((0,),), ("grey",), hot=10, dead=3)
MAGNIFICATION = 0.12
LAYOUT = make_layout(SENSOR_MM, MAGNIFICATION, "coarse")

PLAIN = Lens(focal_mm=20, image_radius_mm=4.33, colours={"grey": Colour((0.55,))})
"""A lens without any fault."""

LENSES = {
    "plain": PLAIN,
    "astigmatic": replace(PLAIN, astigmatism_um=6, curvature_um=4),
    "comatic": replace(PLAIN, coma_um=6, spherical_um=1),
    "decentred": replace(PLAIN, decentre_mm=(0.9, 0.3), astigmatism_um=4, coma_um=3),
    "skew": replace(PLAIN, axial_coma_um=(2.0, 0.8)),
}
"""Honest lenses, most of them strongly aberrated."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A shot, found and measured."""

    shot: Shot
    found: FoundTiles
    places: EdgePlaces
    responses: dict[str, EdgeResponses]

    @property
    def grey(self) -> EdgeResponses:
        return self.responses["grey"]

    def signs(self) -> ShotSigns:
        return assess_shot(self.shot, self.places, self.responses)

    def noise(self) -> NoiseAssessment | None:
        blocks = read_uniform_blocks(self.shot)
        return assess_noise(blocks, find_filter(self.shot, blocks))


@lru_cache(maxsize=16)
def taken(lens: str = "plain", exposure: float = 1.0, f_number: float = 4.0, **scene) -> Seen:
    """A shot of the coarse target through one of `LENSES`; whatever is given besides belongs to its Scene."""
    shot = CAMERA.expose(_light(lens, f_number, **scene) * np.float32(exposure), "t.dng", 1)
    return _seen(shot, find_tiles(shot, LAYOUT))


@lru_cache(maxsize=16)
def _light(lens: str, f_number: float, **scene) -> np.ndarray:
    stand = Scene(**{"magnification": MAGNIFICATION, "print": Print(ink_spread_mm=0.012)} | scene)
    return target_light(LENSES[lens], CAMERA, LAYOUT, stand, f_number)[0]


def _seen(shot: Shot, found: FoundTiles) -> Seen:
    places = tile_edges(found)
    return Seen(shot, found, places, measure_edges(shot, places, threads=1))


def afterwards(seen: Seen, change: Callable[[np.ndarray], np.ndarray], every: int = 2) -> Seen:
    """The same after something was done to the stored numbers, as light from 0 to 1; some of the tiles."""
    shot = seen.shot
    black, scale = shot.black[0], shot.white - shot.black[0]
    light = change((shot.samples - black) / scale)
    stored = np.clip(np.rint(black + scale * light), 0, shot.white).astype(np.uint16)
    found = seen.found
    some = replace(
        found, **{name: getattr(found, name)[::every] for name in ("column", "row", "corners_px", "whole")}
    )
    return _seen(replace(shot, samples=stored), some)


def sharpened(light: np.ndarray) -> np.ndarray:
    """An unsharp mask, as raw converters apply it."""
    return light + 0.5 * (light - ndimage.gaussian_filter(light, 2.0))


def curved(light: np.ndarray) -> np.ndarray:
    """The power curve of screens."""
    return np.clip(light, 0, 1) ** (1 / 2.2)


def denoised(light: np.ndarray) -> np.ndarray:
    """A median over 3 × 3 samples: the simplest noise reduction that spares edges."""
    return ndimage.median_filter(light, 3)


def resampled(light: np.ndarray) -> np.ndarray:
    """Turned by a degree or moved by half a sample: every resampling mixes neighbours."""
    return ndimage.shift(light, (0.5, 0.5), order=1, mode="nearest")
