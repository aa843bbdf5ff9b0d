"""How long one flat and one target shot of 24 megapixels take, as ratios to LibRaw's unpacking of the same file.

Bars: the check of a clean flat 4, a target shot with all edges in all colours 10, both on two idle cores; memory 3
float32 frames above the imports. Run by hand: python -m tests.bench.speed

On a busy machine only processor time tells: it is that of both cores, of the process that unpacks too.
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
    "import resource, sys, time\nfrom pathlib import Path\nfrom lensbench.loaders.decoder import decoder\n"
    # As commands do, before anything else is loaded.
    "decoder.start()\nfrom lensbench.loaders import read_shot\npath = Path(sys.argv[1])\n"
    "import lensbench.run._read_edges, lensbench.analysers.dust._measure\n"
    "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
    "def cpu():\n"
    "    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]\n"
    "    return sum(one.ru_utime + one.ru_stime for one in used)\n"
    "begun, start = cpu(), time.perf_counter()\n"
)
TAIL = (
    "\nseconds = time.perf_counter() - start\ndecoder.close()\n"
    "print(seconds, cpu() - begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)"
)


def unpack_seconds(path: Path) -> tuple[float, float]:
    """LibRaw opening and unpacking the file: time and processor time, the shortest of some runs."""
    times = []
    for _ in range(RUNS):
        start, begun = time.perf_counter(), time.process_time()
        with rawpy.imread(str(path)) as raw:
            raw.unpack()
        times.append((time.perf_counter() - start, time.process_time() - begun))
    return min(wall for wall, _ in times), min(cpu for _, cpu in times)


def measured(work: str, path: Path) -> tuple[float, float, float]:
    """Time and processor time (the shortest of some runs), and peak memory above the imports in float32 frames."""
    results = []
    for _ in range(RUNS):
        command = [sys.executable, "-W", "ignore", "-c", HEAD + WORK[work] + TAIL, str(path)]
        words = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
        results.append([float(word) for word in words])
    wall, cpu, kibibytes = zip(*results, strict=True)
    return min(wall), min(cpu), max(kibibytes) * 1024 / (4 * SIZE[0] * SIZE[1])


def write_shots(folder: Path) -> None:
    """A target shot and a flat of the demo's build, and a clean flat, in 24 megapixels."""
    from lensbench.demo import demo_bench, demo_takes
    from lensbench.dng import write_dng
    from lensbench.simulator.session import write_session
    from tests.analysers import flats

    bench = demo_bench()
    takes = [take for take in demo_takes() if take.f_number == 4.0]
    write_session(folder, replace(bench, camera=replace(bench.camera, size=SIZE)), takes, 2)
    write_dng(folder / "clean.dng", flats.flat(flats.cos4(SIZE, 0.7, (20, -30)), seed=5))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        # In a process of its own: the peak memory of those that follow begins at that of this one.
        write = (
            f"from pathlib import Path\nfrom tests.bench.speed import write_shots\nwrite_shots(Path({folder!r}))"
        )
        subprocess.run([sys.executable, "-c", write], check=True)
        print(f"{'':18s}{'unpack':>9s}{'ours':>9s}{'ratio':>8s}{'processor':>11s}{'frames':>8s}")
        shots = (("check of a flat", "clean.dng"), ("check of a flat", "w_040.dng"), ("target shot", "t_040.dng"))
        for work, name in shots:
            path = Path(folder) / name
            plain, plain_cpu = unpack_seconds(path)
            ours, cpu, frames = measured(work, path)
            ratios = f"{ours / plain:8.1f}{cpu / plain_cpu:11.1f}{frames:8.1f}"
            print(f"{work:18s}{plain:8.3f}s{ours:8.2f}s{ratios}  {name}")


if __name__ == "__main__":
    main()
