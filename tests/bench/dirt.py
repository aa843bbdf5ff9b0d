"""Dirt marks found, missed and imagined on flats made by hand; run by hand: python -m tests.bench.dirt --help."""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.dust import find_marks
from tests.analysers import flats


@dataclass
class Planted:
    """One planted mark: its kind, its places (a path or its middle), width, depth (a share), signal to noise."""

    kind: str
    places: np.ndarray
    width: float
    length: float
    depth: float
    signal_to_noise: float


def plant(rng, clean, size, kinds):
    """A dirty copy of `clean` and the marks planted in it; every mark's signal to noise is 8 or more."""
    light, planted = clean.copy(), []
    for kind in kinds:
        for _ in range(100):
            mark, window, changed = one_mark(rng, clean, size, kind)
            if mark.signal_to_noise >= 8:
                break
        light[window] *= changed / clean[window]
        planted.append(mark)
    return light, planted


def one_mark(rng, clean, size, kind):
    width, height = size
    x, y = rng.uniform(20, width - 20), rng.uniform(20, height - 20)
    sign = rng.choice([1, 1, 1, -1])
    if kind == "spot":
        diameter = np.exp(rng.uniform(np.log(5), np.log(100)))
        depth = max(0.005, 9 * 0.0085 / (0.886 * diameter)) * np.exp(rng.uniform(-0.1, 2.5))
        blur = diameter * rng.uniform(0.05, 0.35)
        window = cut(size, x, y, diameter / 2 + 4 * blur + 4)
        part = clean[window].copy()
        flats.disc(part, x - window[1].start, y - window[0].start, diameter, sign * depth, blur)
        places, length, wide = np.array([[x, y]]), diameter, diameter
    elif kind == "patch":
        wide = np.exp(rng.uniform(np.log(100), np.log(max(width / 9, 120))))
        length = min(wide * rng.uniform(1, 2), width / 6)
        depth = 0.01 * np.exp(rng.uniform(0, 2.5))
        window = cut(size, x, y, 2.3 * length)
        part = clean[window].copy()
        flats.smear(
            part, x - window[1].start, y - window[0].start, wide, length, rng.uniform(0, 180), sign * depth
        )
        places = np.array([[x, y]])
    else:
        length = np.exp(rng.uniform(np.log(60), np.log(width / 2)))
        wide = np.exp(rng.uniform(np.log(1), np.log(6)))
        depth = max(0.005, 10 * 0.0085 / np.sqrt(length * wide)) * np.exp(rng.uniform(0, 2.5))
        path = flats.curve(x, y, length, rng.uniform(0, 360), rng.uniform(-200, 200), rng.uniform(0, 2))
        path = path[(path[:, 0] > 1) & (path[:, 1] > 1) & (path[:, 0] < width - 2) & (path[:, 1] < height - 2)]
        window = np.s_[:, :]
        part = clean.copy()
        flats.fibre(part, path, wide, sign * min(depth, 0.5))
        places, length = path, len(path) / 2
    return (
        Planted(kind, places, wide, length, sign * depth, flats.signal_to_noise(clean[window], part)),
        window,
        part,
    )


def cut(size, x, y, reach):
    return (
        slice(max(int(y - reach), 0), min(int(y + reach) + 2, size[1])),
        slice(max(int(x - reach), 0), min(int(x + reach) + 2, size[0])),
    )


def match(planted, marks):
    """For each planted mark the found one that lies on it (or None), and the found marks that lie on none."""
    matched, imagined = [None] * len(planted), []
    order = np.argsort([-p.signal_to_noise for p in planted])
    for mark in marks:
        here = None
        for number in order:
            p = planted[number]
            if p.kind == "fibre":
                path = np.array(mark.path) if getattr(mark, "path", None) else np.array([[mark.x, mark.y]])
                near = np.hypot(*(path[:, None] - p.places[None, ::4]).transpose(2, 0, 1)).min(axis=1)
                on = np.median(near) < p.width / 2 + 4
            else:
                on = np.hypot(mark.x - p.places[0, 0], mark.y - p.places[0, 1]) < max(0.4 * p.length, 3)
            if on and matched[number] is None:
                here = number
                break
            if on:
                here = -1
        if here is None:
            imagined.append(mark)
        elif here >= 0:
            matched[here] = mark
    return matched, imagined


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", type=int, nargs=2, default=(3000, 2000))
    parser.add_argument("--frames", type=int, default=2)
    parser.add_argument("--spots", type=int, default=20)
    parser.add_argument("--patches", type=int, default=4)
    parser.add_argument("--fibres", type=int, default=6)
    parser.add_argument("--hot", type=float, default=1e-4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true")
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    kinds = ["patch"] * options.patches + ["spot"] * options.spots + ["fibre"] * options.fibres
    size = tuple(options.size)
    clean = flats.cos4(size, 1.0, (0.05 * size[0], -0.03 * size[1]))
    everything, imagined_in_all = [], 0
    for frame in range(options.frames):
        light, planted = plant(rng, clean, size, kinds)
        shot = flats.flat(light, seed=options.seed * 1000 + frame, hot=options.hot)
        begin = time.process_time()
        marks = find_marks(shot).marks
        took = time.process_time() - begin
        matched, imagined = match(planted, marks)
        everything += list(zip(planted, matched, strict=True))
        imagined_in_all += len(imagined)
        print(
            f"frame {frame}: {len(planted)} planted, {sum(m is not None for m in matched)} found, "
            f"{len(imagined)} imagined, {took:.2f} s of processor time"
        )
        for p, m in zip(planted, matched, strict=True):
            if options.list or m is None:
                where = p.places[len(p.places) // 2]
                line = (
                    f"  {p.kind:6s} at {where[0]:7.1f} {where[1]:7.1f} width {p.width:6.1f} "
                    f"length {p.length:6.1f} "
                    f"depth {100 * p.depth:6.2f} % s/n {p.signal_to_noise:6.1f}"
                )
                if m:
                    line += (
                        f" | {m.kind:6s} {m.x - where[0]:6.1f} {m.y - where[1]:6.1f} wide {m.width_px.value:6.1f} "
                        f"length {m.length_px.value:6.1f} depth {m.depth_percent.value:6.2f} "
                        f"± {m.depth_percent.half_width:.2f} s/n {m.signal_to_noise:6.1f}"
                    )
                print(line + ("" if m else " | MISSED"))
        for m in imagined:
            print(
                f"  imagined {m.kind} at {m.x:.1f} {m.y:.1f} width {m.width_px.value:.1f} length "
                f"{m.length_px.value:.1f} depth {m.depth_percent.value:.2f} s/n {m.signal_to_noise:.1f}"
            )
    for kind in ("spot", "patch", "fibre"):
        found = [m is not None for p, m in everything if p.kind == kind]
        if found:
            print(f"{kind}: {sum(found)} of {len(found)} found ({100 * np.mean(found):.1f} %)")
    print(f"imagined: {imagined_in_all} in {options.frames} frames")


if __name__ == "__main__":
    main()
