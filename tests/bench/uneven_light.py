"""Flats whose light is no even one: whether that is said and named, and how many clean flats are accused.

Run by hand: python -m tests.bench.uneven_light [--clean 200]. Bars: each cause is named at each of its four
strengths, no more than five marks are counted on any, and at most 1 % of clean flats carry a warning. The lights
are drawn in closed form.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
from scipy.ndimage import gaussian_filter, zoom
from scipy.special import ndtr

from lensbench.analysers.dust import find_marks
from lensbench.analysers.flat_light import flat_exposure
from lensbench.verdicts.dirt import flat_notices
from tests.analysers import flats

SIZE = (2400, 1600)
SEED = 95_000
"""Seeds from here on are this study's own."""


def bands(rng, size, depth):
    """A flickering lamp and a rolling shutter: rows brighter and darker by `depth` in turn."""
    rows = np.arange(size[1])
    wave = 1 + depth * np.sin(2 * np.pi * (rows / rng.uniform(150, 500) + rng.random()))
    return np.broadcast_to(wave[:, None], size[::-1])


def window_bars(rng, size, depth):
    """Two upright bars and one across, out of focus."""
    x, y = np.arange(size[0])[None, :], np.arange(size[1])[:, None]
    soft, wide = rng.uniform(25, 60), 0.05 * size[0]

    def bar(v, middle):
        return ndtr((v - middle + wide / 2) / soft) - ndtr((v - middle - wide / 2) / soft)

    places = rng.uniform(0.2, 0.4), rng.uniform(0.6, 0.85), rng.uniform(0.3, 0.7)
    shade = np.maximum(bar(x, places[0] * size[0]) + bar(x, places[1] * size[0]), bar(y, places[2] * size[1]))
    return 1 - depth * shade


def clouds(rng, size, depth):
    """A random field with a scale of an eighth of the frame, of standard deviation `depth`."""
    shape = -(-size[1] // 16), -(-size[0] // 16)
    field = gaussian_filter(rng.standard_normal(shape), size[0] / 128, mode="wrap")
    return 1 + depth * zoom(field / field.std(), 16, order=1)[: size[1], : size[0]]


def leak(rng, size, depth):
    """Light from a place beyond the right border."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    away = np.hypot(x - size[0] - 40, 0.7 * (y - rng.uniform(0.2, 0.8) * size[1]))
    return 1 + depth * np.exp(-away / (0.12 * size[0]))


def line(rng, size, depth):
    """A straight line across the frame, 8 px wide."""
    light = np.ones(size[::-1], np.float32)
    steps = np.arange(-20, 1.2 * size[0], 0.5)
    path = np.stack([steps, rng.uniform(0.2, 0.5) * size[1] + rng.uniform(-0.2, 0.2) * steps], axis=1)
    flats.fibre(light, path, 8, depth, 2.0)
    return light


def gradient(rng, size, stops):
    """A lamp to one side: so many stops from one side of the frame to the other."""
    angle = rng.uniform(0, 2 * np.pi)
    x, y = flats.grid(size)
    along = (x * np.cos(angle) + y * np.sin(angle)) / np.hypot(*size)
    return 2.0 ** (-stops * along)


CAUSES = {
    "bands": (bands, (0.003, 0.01, 0.03, 0.1), ("bands ",)),
    "window bars": (window_bars, (0.01, 0.02, 0.05, 0.15), ("as of a window", "one bar")),
    "clouds": (clouds, (0.012, 0.02, 0.05, 0.1), ("as by clouds",)),
    "leak": (leak, (0.08, 0.15, 0.3, 0.6), ("from a border", "darker than the opposite")),
    "line": (line, (0.012, 0.03, 0.06, 0.2), ("straight line",)),
    "gradient": (gradient, (0.6, 1.0, 1.5, 2.0), ("darker than the opposite",)),
}
"""How each is drawn, its strengths, and what must be said of it."""


def flat_with(draw, strength, seed, size=SIZE):
    """A flat of a plain lens with light drawn by a cause."""
    rng = np.random.default_rng(seed)
    light = flats.cos4(size, rng.uniform(0.4, 1.2), rng.uniform(-30, 30, 2))
    light = light * draw(rng, size, strength) if draw else light
    return flats.flat((light / light.max()).astype(np.float32), seed=seed, hot=1e-5)


def said_of(shot):
    """What is said of a flat, and how many marks it has."""
    dust = find_marks(shot)
    return flat_notices(shot.name, flat_exposure(shot), dust.light), len(dust.marks)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--clean", type=int, default=200)
    parser.add_argument("--seeds", type=int, default=3)
    options = parser.parse_args()
    for number, (cause, (draw, strengths, words)) in enumerate(CAUSES.items()):
        for strength in strengths:
            named, most, begin = 0, 0, time.process_time()
            others = set()
            for seed in range(options.seeds):
                notices, marks = said_of(flat_with(draw, strength, SEED + 100 * number + seed))
                texts = [notice.text for notice in notices]
                named += any(word in text for text in texts for word in words)
                others |= {text.split(": ", 1)[1][:40] for text in texts if not any(w in text for w in words)}
                most = max(most, marks)
            seconds = (time.process_time() - begin) / options.seeds
            print(
                f"{cause:12s}{strength:7.3f} named {named} of {options.seeds}, {most:2d} marks at most, "
                f"{seconds:.1f} s {sorted(others) or ''}",
                flush=True,
            )
    accused = [said_of(flat_with(None, 0, SEED + 5000 + n, (1200, 800))) for n in range(options.clean)]
    print(f"clean flats accused: {sum(bool(notices) for notices, _ in accused)} of {options.clean}")


if __name__ == "__main__":
    main()
