"""Flats made by hand: even light, cos⁴ falloff, photon, reading and gain noise, planted dirt; no simulator."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from lensbench.findings import Falloff
from lensbench.frame import ZONES, h_of, zone_index
from lensbench.shot import Shot

BAYER = np.array([[0, 1], [2, 3]], np.uint8)
SIX_BY_SIX = np.array(
    [
        [1, 1, 0, 1, 1, 2],
        [1, 1, 2, 1, 1, 0],
        [2, 0, 1, 0, 2, 1],
        [1, 1, 2, 1, 1, 0],
        [1, 1, 0, 1, 1, 2],
        [0, 2, 1, 2, 0, 1],
    ],
    np.uint8,
)
BLACK, WHITE = 512.0, 16383.0
FULL_ELECTRONS = 30000.0
READ_ELECTRONS = 3.0
COLOUR_LIGHT = (0.55, 1.0, 1.0, 0.7)
"""Light of red, green, green and blue in an even white light, before any white balance."""


def grid(size):
    """Coordinates from the frame's centre, shapes (1, width) and (height, 1), in px."""
    width, height = size
    x = np.arange(width, dtype=np.float32) - np.float32((width - 1) / 2)
    y = np.arange(height, dtype=np.float32) - np.float32((height - 1) / 2)
    return x[None, :], y[:, None]


def cos4(size, corner_stops, centre=(0.0, 0.0)):
    """Relative light after cos⁴, with `corner_stops` of falloff at h = 1."""
    tangent2 = 2 ** (corner_stops / 2) - 1
    x, y = grid(size)
    r2 = ((x - centre[0]) ** 2 + (y - centre[1]) ** 2) / (np.hypot(*size) / 2) ** 2
    return (1 / (1 + r2 * np.float32(tangent2)) ** 2).astype(np.float32)


def barrel(size, radius, centre=(0.0, 0.0), softness=6.0, corner_stops=0.7):
    """A plain lens whose light a tube ends: half of it is gone at a radius, in px; drawn pixel by pixel."""
    x, y = grid(size)
    away = np.hypot(x - centre[0], y - centre[1])
    return cos4(size, corner_stops) / (1 + np.exp(np.clip(4 * (away - radius) / softness, -60, 60)))


def stops_of(light):
    """Stops below the mean light at h < 0.1, by the definition."""
    x, y = np.arange(light.shape[1]), np.arange(light.shape[0])
    middle = h_of(x[None, :], y[:, None], light.shape[::-1]) < 0.1
    return -np.log2(light / light[middle].mean(dtype=float))


def zones_of(light):
    """Stops of the mean light over each zone below that at h < 0.1, by the definition; infinite where black."""
    x, y = np.arange(light.shape[1]), np.arange(light.shape[0])
    index = zone_index(x[None, :], y[:, None], light.shape[::-1]).ravel()
    mean = np.bincount(index, light.ravel().astype(float)) / np.bincount(index)
    middle = h_of(x[None, :], y[:, None], light.shape[::-1]) < 0.1
    with np.errstate(divide="ignore"):
        return dict(zip(ZONES, -np.log2(mean / light[middle].mean(dtype=float)), strict=True))


def map_of(found: Falloff):
    """The reported map in stops, NaN where it says nothing."""
    return np.array(found.grid.stops, float)


def misfit(found: Falloff, light, within=None):
    """Root mean square of the reported map against the truth at the same places, in stops.

    `within` says for each pixel whether it counts; all do unless given.
    """
    nodes = np.ix_(np.rint(found.grid.y).astype(int), np.rint(found.grid.x).astype(int))
    off = map_of(found) - stops_of(light)[nodes]
    return float(np.sqrt(np.mean((off if within is None else off[within[nodes]]) ** 2)))


def flat(
    light,
    seed=0,
    level=0.75,
    gain_noise=0.005,
    pattern=BAYER,
    colours=("red", "green", "green", "blue"),
    strengths=COLOUR_LIGHT,
    hot=0.0,
    name="flat.dng",
):
    """A Shot of relative light (1 at the brightest), greens at `level` of full scale.

    `hot` is the share of pixels that are hot or dead, with values anywhere between black and white.
    """
    rng = np.random.default_rng(seed)
    height, width = light.shape
    strength = np.asarray(strengths, np.float32)[pattern]
    tiled = np.tile(strength, (-(-height // pattern.shape[0]), -(-width // pattern.shape[1])))[:height, :width]
    electrons = light * tiled * np.float32(level * FULL_ELECTRONS)
    electrons *= 1 + np.float32(gain_noise) * rng.standard_normal(light.shape, np.float32)
    variance = np.maximum(electrons, 0) + np.float32(READ_ELECTRONS**2)
    electrons += np.sqrt(variance) * rng.standard_normal(light.shape, np.float32)
    stored = electrons * np.float32((WHITE - BLACK) / FULL_ELECTRONS) + np.float32(BLACK)
    if hot:
        places = rng.integers(0, stored.size, int(hot * stored.size))
        stored.flat[places] = rng.uniform(BLACK, WHITE, len(places))
    samples = np.clip(np.rint(stored), 0, WHITE).astype(np.uint16)
    count = len(colours)
    return Shot(name, samples, pattern, colours, np.full(count, BLACK), WHITE, np.ones(count))


# -- planted dirt ---------------------------------------------------------------------------------------------


def disc(light, x, y, diameter, depth, blur):
    """Darken `light` in place by the shadow of a round speck: a disc blurred by a Gaussian, `depth` in its middle.

    `blur` is the Gaussian's standard deviation in px. The profile is that of a long straight rim, which is what a
    blurred disc has while its diameter is several blurs.
    """
    reach = diameter / 2 + 4 * blur + 2
    view, dx, dy = _window(light, x, y, reach)
    profile = ndtr((diameter / 2 - np.hypot(dx, dy)) / blur) / ndtr(diameter / 2 / blur)
    view *= 1 - np.float32(depth) * profile.astype(np.float32)


def smear(light, x, y, width, length, angle_deg, depth):
    """Darken `light` in place by a soft elliptic smear (a Gaussian; width and length at half depth)."""
    view, dx, dy = _window(light, x, y, 2.2 * max(width, length))
    turn = np.radians(angle_deg)
    along = (dx * np.cos(turn) - dy * np.sin(turn)) / length
    across = (dx * np.sin(turn) + dy * np.cos(turn)) / width
    view *= 1 - np.float32(depth) * np.exp(-4 * np.log(2) * (along**2 + across**2)).astype(np.float32)


def fibre(light, path, width, depth, blur=0.5):
    """Darken `light` in place along a path, shape (points, 2) at steps of a pixel or so.

    The profile across is a bar of `width` blurred by a Gaussian of standard deviation `blur`, `depth` in its
    middle.
    """
    height, wide = light.shape
    reach = int(np.ceil(width / 2 + 4 * blur + 1))
    steps = np.arange(-reach, reach + 1)
    cells = np.rint(path).astype(int)
    distance = np.full(light.shape, np.inf, np.float32)
    for (px, py), (cx, cy) in zip(path, cells, strict=True):
        rows, columns = cy + steps, cx + steps
        rows, columns = rows[(rows >= 0) & (rows < height)], columns[(columns >= 0) & (columns < wide)]
        if len(rows) and len(columns):
            part = np.ix_(rows, columns)
            distance[part] = np.minimum(distance[part], np.hypot(rows[:, None] - py, columns[None, :] - px))
    near = np.isfinite(distance)
    bar = ndtr((width / 2 - distance[near]) / blur) + ndtr((width / 2 + distance[near]) / blur) - 1
    light[near] *= 1 - np.float32(depth) * (bar / (2 * ndtr(width / 2 / blur) - 1)).astype(np.float32)


def curve(x, y, length, angle_deg, bend_deg, waves=0.0):
    """A path of `length` px from (x, y): sets out at an angle, turns by `bend_deg` in all, sways `waves` times."""
    s = np.arange(0, length, 0.5)
    turn = np.radians(angle_deg) + np.radians(bend_deg) * s / length + 0.5 * np.sin(2 * np.pi * waves * s / length)
    return np.stack([x + np.cumsum(np.cos(turn)) * 0.5, y - np.cumsum(np.sin(turn)) * 0.5], axis=1)


def signal_to_noise(clean, dirty, **conditions):
    """Signal to noise of the matched filter for what was planted, from the light and the flat's own noise."""
    share = 1 - dirty / clean
    strengths = (
        np.asarray(conditions.get("strengths", COLOUR_LIGHT)) * conditions.get("level", 0.75) * FULL_ELECTRONS
    )
    gain_noise = conditions.get("gain_noise", 0.005)
    pattern = conditions.get("pattern", BAYER)
    total = 0.0
    for index, strength in enumerate(strengths):
        number = np.sum(pattern == index) / pattern.size
        electrons = clean * strength
        total += number * np.sum(share**2 / ((electrons + READ_ELECTRONS**2) / electrons**2 + gain_noise**2))
    return float(np.sqrt(total))


def _window(light, x, y, reach):
    """The part of `light` around (x, y), and its coordinates from there."""
    top, left = max(int(y - reach), 0), max(int(x - reach), 0)
    view = light[top : int(y + reach) + 2, left : int(x + reach) + 2]
    rows, columns = np.arange(top, top + view.shape[0]), np.arange(left, left + view.shape[1])
    return view, columns[None, :] - x, rows[:, None] - y
