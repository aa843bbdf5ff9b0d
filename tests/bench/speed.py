"""How long one flat and one target shot of 24 megapixels take, as ratios to LibRaw's unpacking of the same file.

Bars: the check of a flat 6, a target shot with all edges in all colours 15; memory 6 float32 frames above the
imports. Run by hand: python -m tests.bench.speed
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import rawpy

RUNS = 3
SIZE = (6000, 4000)

WORK = {
    "check of a flat": "from lensbench.analysers.dust._measure import find_marks\nfind_marks(read_shot(path))",
    "target shot": (
        "from lensbench.run._read_edges import read_target\nfrom lensbench.loaders import load_session\n"
        "from lensbench.target.layout import read_layout\nsession = load_session(path.parent)\n"
        "entry = next(e for e in session.shots if e.file == path.name)\n"
        "read_target(path.parent, entry, read_layout(path.parent / 'target.json'), [], 2)"
    ),
}
"""What is timed: Python that finds the file in `path`, run in a process of its own."""

HEAD = (
    "import resource, sys, time\nfrom pathlib import Path\nimport rawpy\nfrom lensbench.loaders import read_shot\n"
    "path = Path(sys.argv[1])\n"
    "import lensbench.run._read_edges, lensbench.analysers.dust._measure\n"
    "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\nstart = time.perf_counter()\n"
)
TAIL = "\nprint(time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)"


def unpack_seconds(path: Path) -> float:
    """LibRaw opening and unpacking the file: the shortest of some runs."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        with rawpy.imread(str(path)) as raw:
            raw.unpack()
        times.append(time.perf_counter() - start)
    return min(times)


def measured(work: str, path: Path) -> tuple[float, float]:
    """Seconds (the shortest of some runs) and peak memory above the imports in float32 frames."""
    results = []
    for _ in range(RUNS):
        command = [sys.executable, "-W", "ignore", "-c", HEAD + WORK[work] + TAIL, str(path)]
        seconds, kibibytes = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
        results.append((float(seconds), float(kibibytes) * 1024 / (4 * SIZE[0] * SIZE[1])))
    return min(seconds for seconds, _ in results), max(frames for _, frames in results)


def write_shots(folder: Path) -> None:
    """A target shot and a flat of the demo's build, in 24 megapixels."""
    from lensbench.demo import demo_bench, demo_takes
    from lensbench.simulator.session import write_session

    bench = demo_bench()
    takes = [take for take in demo_takes() if take.f_number == 4.0]
    write_session(folder, replace(bench, camera=replace(bench.camera, size=SIZE)), takes, 2)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        write_shots(Path(folder))
        print(f"{'':18s}{'unpack':>9s}{'ours':>9s}{'ratio':>8s}{'frames':>8s}")
        for work, name in (("check of a flat", "w_040.dng"), ("target shot", "t_040.dng")):
            path = Path(folder) / name
            plain = unpack_seconds(path)
            ours, frames = measured(work, path)
            print(f"{work:18s}{plain:8.3f}s{ours:8.2f}s{ours / plain:8.1f}{frames:8.1f}")


if __name__ == "__main__":
    main()
