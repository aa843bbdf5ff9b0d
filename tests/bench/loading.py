"""How long loading takes against LibRaw's own unpacking, and how much memory, for 24-megapixel files.

Run by hand: python -m tests.bench.loading
"""

from __future__ import annotations

import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np
import rawpy

from lensbench.dng import write_dng
from lensbench.loaders import read_shot
from tests.invented_shots import KINDS, drawn_target, falloff, shot_of

WIDTH, HEIGHT = 6000, 4000
RUNS = 5


def unpack(path: Path) -> None:
    with rawpy.imread(str(path)) as raw:
        raw.unpack()


def seconds(function, *arguments) -> float:
    """The shortest of some runs."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        function(*arguments)
        times.append(time.perf_counter() - start)
    return min(times)


def peak_bytes(function, *arguments) -> int:
    tracemalloc.start()
    function(*arguments)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


def noisy(light: np.ndarray) -> np.ndarray:
    """Photon and reading noise as normal noise, which is quick."""
    random = np.random.default_rng(1)
    seen = light * 15359 + random.standard_normal(light.shape, dtype=np.float32) * np.sqrt(light * 7900 + 2.4)
    return np.clip(seen + 512, 0, 15871).astype(np.uint16)


def row(kind: str, scene: str, samples: np.ndarray, path: Path) -> str:
    """The figures of one sensor and scene."""
    pattern, colours = KINDS[kind]
    shot = shot_of(samples if pattern else np.stack([samples] * 3, axis=-1), pattern, colours)
    written = seconds(write_dng, path, shot)
    plain, loaded = seconds(unpack, path), seconds(read_shot, path)
    frames = peak_bytes(read_shot, path) / (4 * shot.samples.size)
    return f"{kind:8} {scene:8} {plain:8.3f} {loaded:8.3f} {loaded / plain:8.2f} {written:8.3f} {frames:8.2f}"


def main() -> None:
    scenes = {"flat": noisy(falloff(WIDTH, HEIGHT)), "target": noisy(drawn_target(WIDTH, HEIGHT, 15, 10))}
    print(
        "Seconds to unpack, to load, their ratio, seconds to write; memory in float32 frames beside LibRaw's own"
    )
    print(f"{'sensor':8} {'scene':8} {'unpack':>8} {'load':>8} {'ratio':>8} {'write':>8} {'memory':>8}")
    with tempfile.TemporaryDirectory() as folder:
        for kind in ("RGGB", "6x6", "grey", "planes"):
            for scene, samples in scenes.items():
                print(row(kind, scene, samples, Path(folder) / "a.dng"))


if __name__ == "__main__":
    main()
