"""Dirt marks found, missed and imagined on flats made by hand, beside other libraries' on the same flats.

Run by hand: python -m tests.bench.dirt. Bars: of isolated marks of 5 px and more, depth 0.5 % (patches 1 %) and
more and signal to noise 8 and more, 99 % are found; of ten clean frames at most one has a false mark. The other
libraries get each shot as tests.analysers.dust.other_detectors prepares it, and are told at several thresholds.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np

from lensbench.analysers.dust._measure import find_marks
from tests.analysers import flats
from tests.analysers.dust.other_detectors import DETECTORS, levelled

SESSIONS = {
    # spots, patches, fibres
    "clean": (0, 0, 0),
    "spots": (20, 0, 0),
    "patches": (0, 3, 0),
    "fibres": (0, 0, 5),
    "40 marks": (28, 4, 8),
}


@dataclass
class Planted:
    """One planted mark: kind, places (a path or its middle), width, length, depth (a share), signal to noise.

    `isolated` says whether it lies clear of the border and of other marks.
    """

    kind: str
    places: np.ndarray
    width: float
    length: float
    depth: float
    signal_to_noise: float
    isolated: bool = True

    @property
    def counts(self) -> bool:
        """Whether the bars hold for it: fibres narrower than 5 px are beyond them."""
        deep = abs(self.depth) >= (0.01 if self.kind == "patch" else 0.005)
        return self.isolated and deep and self.signal_to_noise >= 8 and self.width >= 5


# -- planting -------------------------------------------------------------------------------------------------


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
    for mark in planted:
        mark.isolated = is_isolated(mark, planted, size)
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


def reach_of(mark):
    """How far from its places a mark's shadow reaches."""
    return mark.width / 2 + 8 if mark.kind == "fibre" else 1.2 * mark.length


def is_isolated(mark, planted, size):
    """Whether a mark's shadow stays clear of the border and of the other marks' shadows."""
    border = min(mark.places.min(), (np.array(size) - mark.places).min())
    others = (other for other in planted if other is not mark)
    clear = all(
        np.hypot(*(mark.places[::4, None] - other.places[None, ::4]).transpose(2, 0, 1)).min()
        > reach_of(mark) + reach_of(other)
        for other in others
    )
    return border > reach_of(mark) and clear


# -- scoring --------------------------------------------------------------------------------------------------


def match(planted, found):
    """For each planted mark the number of the found one that lies on it (or None), and those that lie on none.

    What is found more than once on one mark counts as imagined only beyond its shadow.
    """
    matched, imagined = [None] * len(planted), []
    order = np.argsort([-p.signal_to_noise for p in planted])
    for index, path in enumerate(found):
        on = [number for number in order if lies_on(path, planted[number])]
        free = [number for number in on if matched[number] is None]
        if free:
            matched[free[0]] = index
        elif not on:
            imagined.append(index)
    return matched, imagined


def lies_on(path, planted):
    """Whether a found mark (its places, shape (n, 2)) lies on a planted one."""
    near = np.hypot(*(path[:, None] - planted.places[None, ::4]).transpose(2, 0, 1)).min(axis=1)
    if planted.kind == "fibre":
        return np.median(near) < planted.width / 2 + 4
    return np.median(near) < max(0.4 * planted.length, 3)


def ours(shot):
    """Places of our marks."""
    return [np.array(mark.path or [(mark.x, mark.y)]) for mark in find_marks(shot).marks]


def contenders(others):
    """Every detector by name: ours, and (if wanted) each other one at each of its thresholds."""
    named = {"ours": ours}
    for name, (detect, thresholds) in DETECTORS.items() if others else ():
        for threshold in thresholds:
            named[f"{name} at {threshold:g}"] = lambda shot, d=detect, t=threshold: [
                np.array([place]) for place in d(levelled(shot), t)
            ]
    return named


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--size", type=int, nargs=2, default=(3000, 2000))
    parser.add_argument("--frames", type=int, default=3)
    parser.add_argument("--sessions", nargs="+", choices=SESSIONS, default=list(SESSIONS))
    parser.add_argument("--alone", action="store_true", help="without the other libraries")
    parser.add_argument("--hot", type=float, default=1e-4, help="share of pixels that are hot or dead")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--list", action="store_true", help="name what we miss and imagine")
    options = parser.parse_args()
    size = tuple(options.size)
    clean = flats.cos4(size, 1.0, (0.05 * size[0], -0.03 * size[1]))
    head = f"{'':10s}{'':22s}{'isolated':>12s}{'all':>12s}{'false':>7s}{'seconds a frame':>17s}"
    print(f"{options.frames} frames of {size[0]} × {size[1]} px each\n{head}")
    for session in options.sessions:
        counts = SESSIONS[session]
        kinds = ["patch"] * counts[1] + ["spot"] * counts[0] + ["fibre"] * counts[2]
        rng = np.random.default_rng(options.seed)
        shots = []
        for frame in range(options.frames):
            light, planted = plant(rng, clean, size, kinds)
            shots.append((flats.flat(light, seed=options.seed * 1000 + frame, hot=options.hot), planted))
        for name, detect in contenders(not options.alone).items():
            print_row(session, name, detect, shots, options.list and name == "ours")


def print_row(session, name, detect, shots, listing):
    """Score one detector on the flats of one session."""
    isolated, every, imagined_in_all, took = [], [], 0, 0.0
    for shot, planted in shots:
        begin = time.process_time()
        found = detect(shot)
        took += time.process_time() - begin
        matched, imagined = match(planted, found)
        every += [m is not None for m in matched]
        isolated += [m is not None for p, m in zip(planted, matched, strict=True) if p.counts]
        imagined_in_all += len(imagined)
        for p, m in zip(planted, matched, strict=True) if listing else ():
            if m is None:
                x, y = p.places[len(p.places) // 2]
                print(
                    f"  missed {p.kind} at {x:.0f} {y:.0f}, {p.width:.1f} × {p.length:.0f} px, "
                    f"{100 * p.depth:.2f} %, s/n {p.signal_to_noise:.1f}{', isolated' if p.isolated else ''}"
                )
        for index in imagined if listing else ():
            print(f"  imagined at {found[index][0].round()}")
    parts = [f"{sum(hits)} of {len(hits)}" for hits in (isolated, every)]
    print(
        f"{session:10s}{name:22s}{parts[0]:>12s}{parts[1]:>12s}{imagined_in_all:7d}{took / len(shots):17.2f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
