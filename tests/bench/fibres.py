"""Fibres of all bends, found whole or in pieces, and marks of the other sign imagined beside them.

Run by hand: python -m tests.bench.fibres [--cases 200]. Bar: 95 % of fibres come out as one mark each, and none
has a mark of the other sign beside it. The fibres are 60 px to 1.5 frame heights long, bend down to a radius of
30 px, loop, cross, meet, are 3 to 40 px wide, 0.5 % deep or deeper, of a signal to noise of 8 or more; they are
drawn pixel by pixel.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lensbench.analysers.dust import find_marks
from tests.analysers import flats

SIZE = (1800, 1200)
SEED = 93_000
"""Seeds from here on are this study's own."""

KINDS = ("plain",) * 5 + ("tight", "tight", "loop", "crossing", "meeting")
SHARPEST = 1 / 30
"""Curvature at most, per px."""

MARGIN = 40
COVERED = 0.7
"""Share of a fibre that its mark must follow."""


@dataclass
class Planted:
    """A planted fibre: path, width, depth (a share, darker positive), the matched filter's signal to noise."""

    kind: str
    path: np.ndarray
    width: float
    depth: float
    signal_to_noise: float


def bent_path(rng, length, sharpest):
    """A path of some length with a point each half px, curved by sines as sharply as given, about (0, 0)."""
    s = np.arange(0, length, 0.5)
    curvature = np.zeros(len(s))
    for _ in range(rng.integers(1, 4)):
        period = max(np.exp(rng.uniform(np.log(120), np.log(2 * length + 200))), 60)
        curvature += np.sin(2 * np.pi * (s / period + rng.random())) * rng.uniform(0.3, 1)
    curvature *= sharpest / np.abs(curvature).max()
    angle = rng.uniform(0, 2 * np.pi) + np.cumsum(curvature) / 2
    path = np.cumsum(np.stack([np.cos(angle), np.sin(angle)], axis=1), axis=0) / 2
    return path - path.mean(axis=0)


def own_crossings(path, width):
    """Whether a path comes close to itself."""
    thin = path[::8]
    apart = np.hypot(*(thin[:, None] - thin[None]).transpose(2, 0, 1))
    along = 4 * np.abs(np.arange(len(thin))[:, None] - np.arange(len(thin)))
    return bool((apart < np.where(along > 3 * width + 60, 2 * width + 20, 0)).any())


def looped_path(rng, length):
    """A path with one full turn in its middle."""
    radius = rng.uniform(30, min(120, length / 9))
    arms = (length - 2 * np.pi * radius) / 2
    s = np.arange(0, length, 0.5)
    curvature = np.where((s > arms) & (s < length - arms), 1 / radius, rng.uniform(-1, 1) / length)
    angle = rng.uniform(0, 2 * np.pi) + np.cumsum(curvature) / 2
    path = np.cumsum(np.stack([np.cos(angle), np.sin(angle)], axis=1), axis=0) / 2
    return path - path.mean(axis=0)


def placed(rng, path, size):
    """The path somewhere in the frame; None where it is too large for it."""
    low, high = path.min(axis=0), path.max(axis=0)
    room = np.array(size) - 2 * MARGIN - (high - low)
    return None if (room < 0).any() else path - low + MARGIN + rng.uniform(0, 1, 2) * room


def a_path(rng, kind, size):
    """A path of a kind, in the frame, and the fibre's width."""
    while True:
        width = np.exp(rng.uniform(np.log(3), np.log(40)))
        length = np.exp(rng.uniform(np.log(60), np.log(1.5 * size[1])))
        if length < 4 * width or (kind == "loop" and length < 500) or (kind == "tight" and length < 150):
            continue
        if kind in ("crossing", "meeting") and length < 200:
            continue
        if kind == "loop":
            path = looped_path(rng, length)
        else:
            sharpest = SHARPEST if kind == "tight" else SHARPEST * np.exp(rng.uniform(-5, -1))
            path = bent_path(rng, length, max(sharpest, 1e-5))
            if own_crossings(path, width):
                continue
        path = placed(rng, path, size)
        if path is not None:
            return path, width


def planted_fibres(rng, light, size, kind):
    """Darken or brighten `light` along one fibre or two; what was planted."""
    one, width = a_path(rng, kind, size)
    paths = [(one, width)]
    while kind in ("crossing", "meeting") and len(paths) < 2:
        other, other_width = a_path(rng, "plain", size)
        if len(other) < 400:
            continue
        on_one = one[int(rng.uniform(0.25, 0.75) * len(one))]
        own = int(rng.uniform(0.25, 0.75) * len(other)) if kind == "crossing" else 0
        other = other - other[own] + on_one
        low, high = other.min(), (other - size).max()
        # The two meet once only, and at an angle.
        far = np.abs(np.arange(len(other)) - own) > 3 * (width + other_width) + 120
        apart = np.array([np.hypot(*(one[::6] - point).T).min() for point in other[far][::6]])
        if low > MARGIN and high < -MARGIN and apart.min(initial=np.inf) > 2 * (width + other_width) + 20:
            paths.append((other, other_width))
    sign = rng.choice([1, 1, 1, -1])
    planted = []
    for path, wide in paths:
        while True:
            depth = 0.005 * np.exp(rng.uniform(0, 4))
            before = light.copy()
            flats.fibre(light, path, wide, sign * depth, wide * rng.uniform(0.1, 0.3))
            signal = flats.signal_to_noise(before, light)
            if signal >= 8:
                break
            light[...] = before
        planted.append(Planted(kind, path, wide, sign * depth, signal))
    return planted


def case_of(number, size=SIZE):
    """The flat of one case, and the fibres planted in it."""
    rng = np.random.default_rng(SEED + number)
    light = flats.cos4(size, rng.uniform(0.3, 1.0), rng.uniform(-40, 40, 2))
    planted = planted_fibres(rng, light, size, KINDS[number % len(KINDS)])
    return flats.flat(light, seed=SEED + number, hot=1e-5), planted


def points_of(mark):
    return np.array(mark.path or [(mark.x, mark.y)])


def outcome(fibre, marks):
    """One word on a planted fibre: whole, missed, in pieces, or followed in part only."""
    on = []
    for mark in marks:
        away = np.hypot(*(points_of(mark)[:, None] - fibre.path[None, ::4]).transpose(2, 0, 1))
        if np.median(away.min(axis=1)) < fibre.width / 2 + 4 and mark.depth_percent.value * fibre.depth > 0:
            on.append(mark)
    if len(on) != 1:
        return "missed" if not on else f"{len(on)} pieces"
    points = points_of(on[0])
    fine = np.concatenate([np.linspace(a, b, 20) for a, b in pairwise(points)] or [points])
    away = np.hypot(*(fibre.path[::10, None] - fine[None]).transpose(2, 0, 1)).min(axis=1)
    return "whole" if np.mean(away < fibre.width / 2 + 12) >= COVERED else "part"


def result_of(number):
    """Outcomes of the fibres of one case, and the marks that are none of them: other signs, and like ones."""
    shot, planted = case_of(number)
    marks = find_marks(shot).marks
    outcomes = [outcome(fibre, marks) for fibre in planted]
    other, alike = [], []
    for mark in marks:
        points = points_of(mark)
        away = min(
            np.median(np.hypot(*(points[:, None] - fibre.path[None, ::4]).transpose(2, 0, 1)).min(axis=1))
            - fibre.width / 2
            for fibre in planted
        )
        if mark.depth_percent.value * planted[0].depth < 0:
            other.append(mark)
        elif away >= 4:
            alike.append(mark)
    return planted, outcomes, other, alike


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--list", action="store_true", help="name every case that is not as it should be")
    options = parser.parse_args()
    counts, others, alikes = Counter(), 0, 0
    begin = time.process_time()
    for number in range(options.first, options.first + options.cases):
        planted, outcomes, other, alike = result_of(number)
        for fibre, word in zip(planted, outcomes, strict=True):
            counts[fibre.kind, "whole" if word == "whole" else "not"] += 1
        others, alikes = others + bool(other), alikes + bool(alike)
        if options.list and (other or alike or set(outcomes) != {"whole"}):
            text = "; ".join(
                f"{len(f.path) / 2:.0f} × {f.width:.0f} px {100 * f.depth:+.1f} %, {f.signal_to_noise:.0f}: {end}"
                for f, end in zip(planted, outcomes, strict=True)
            )
            print(
                f"{number:4d} {planted[0].kind:9s} {text}; other sign {len(other)}, alike {len(alike)}", flush=True
            )
    for kind in dict.fromkeys(KINDS):
        print(f"{kind:9s} whole {counts[kind, 'whole']:3d} of {counts[kind, 'whole'] + counts[kind, 'not']:3d}")
    whole = sum(count for (_, word), count in counts.items() if word == "whole")
    seconds = (time.process_time() - begin) / options.cases
    print(
        f"all: {100 * whole / counts.total():.0f} % of {counts.total()} whole; cases with a mark of the other "
        f"sign {others}, with another mark {alikes}; {seconds:.1f} s of CPU a case"
    )


if __name__ == "__main__":
    main()
