"""Broken and hostile inputs, thousands of them: `python -m tests.bench.hostile [inputs] [seed] [first]`.

Prints a table of outcomes by kind: accepted, refused (a sentence that says what to do), and FAULT (any other
exception), SLOW (more than 10 s), with the largest memory of a process and what was written where nothing should
be. Input number n depends on the seed and n alone, so that a run can be cut in parts by `first` and `inputs`, and
a fault's number, which is printed, makes it again.

Last seen, 20,000 inputs of seed 9: 5,184 accepted, 14,816 refused, no fault, none slow, nothing written elsewhere;
0.14 GiB at most, 15 minutes on two busy cores.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import resource
import signal
import struct
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

from lensbench.dng import write_dng
from lensbench.errors import BenchError
from lensbench.findings import Build, Camera, Figure, Notice, Report, Setting, encode_report, read_report
from lensbench.loaders import load_session, read_shot, start_session
from lensbench.loaders.decoder import decoder
from lensbench.loaders.goals import read_goals
from lensbench.reporter.tables.csv_files import csv_files
from lensbench.shot import Exposure, Shot
from lensbench.target import find_tiles, make_layout, read_layout, write_layout

SLOW_S = 10
"""More processor time than this is a hang; a busy machine doesn't count."""

STUCK_S = 100
"""Nor does anybody wait for longer than this."""

CHUNK = 250
"""Inputs a process reads; its largest memory is that of its worst input."""

LAYOUT = make_layout((36.0, 24.0), 0.1, "coarse")


# -- good files to spoil --------------------------------------------------------------------------------------


def good_files(folder: Path) -> dict[str, bytes]:
    """One small file of every kind, by its ending."""
    rng = np.random.default_rng(0)
    light = rng.poisson(np.full((120, 160), 4000.0)).astype(np.uint16)
    exposure = Exposure(camera="Box", shutter_s=0.01, iso=100.0, f_number=5.6, taken="2024-05-06 21:10:11")
    write_dng(folder / "a.dng", Shot.from_array(light, 256, 15000, "RGGB", exposure=exposure))
    tifffile.imwrite(folder / "a.tif", light, photometric="minisblack")
    tifffile.imwrite(
        folder / "z.tif", np.stack([light] * 3, 2), photometric="rgb", compression="zlib", tile=(32, 32)
    )
    for ending in ("png", "jpg"):
        Image.fromarray((light >> 8).astype(np.uint8)).save(folder / f"a.{ending}")
    write_layout(folder / "target.json", LAYOUT)
    figure = Figure(0.3, 0.29, 0.31, "cy/px")
    report = Report(Build("Box"), Camera((600, 400)), warnings=[Notice("dark", "a.dng", "is dark")])
    report = replace_settings(report, [Setting(f_number=5.6, shots=["a.dng"], magnification=figure)])
    (folder / "report.json").write_bytes(encode_report(report))
    (folder / "goals.toml").write_text("[goals]\nmarks_most = 0\n[goals.mtf50_lp_mm_least]\ncentre = 40\n")
    (folder / "session.toml").write_text(
        '[build]\nname = "Box"\nnotes = """\nlong\n"""\n[camera]\nsensor_mm = [36.0, 24.0]\n'
        '[[shot]]\nfile = "a.dng"\nshows = "flat"\nf_number = 5.6\n[[shot]]\nfile = "z.tif"\nshows = "target"\n'
    )
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def replace_settings(report: Report, settings: list[Setting]) -> Report:
    """The report with other settings."""
    from msgspec.structs import replace as with_fields

    return with_fields(report, settings=settings)


# -- ways to spoil bytes --------------------------------------------------------------------------------------


def truncated(rng: np.random.Generator, content: bytes) -> bytes:
    return content[: rng.integers(0, len(content))]


def flipped(rng: np.random.Generator, content: bytes) -> bytes:
    spoiled = bytearray(content)
    # Mostly where the directories lie, at either end.
    reach = len(content) if rng.random() < 0.3 else min(len(content), 2500)
    for at in rng.integers(0, reach, rng.integers(1, 6)):
        spoiled[-at if rng.random() < 0.3 else at] ^= 1 << int(rng.integers(8))
    return bytes(spoiled)


def overwritten(rng: np.random.Generator, content: bytes) -> bytes:
    """A number somewhere in the first bytes as absurd as it can be: counts, offsets, sizes."""
    spoiled = bytearray(content)
    absurd = (0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFF, 10**9, 8)
    for _ in range(rng.integers(1, 4)):
        at = int(rng.integers(0, max(min(len(content), 1500) - 4, 1)))
        spoiled[at : at + 4] = struct.pack("<I", absurd[rng.integers(len(absurd))])
    return bytes(spoiled)


def spliced(rng: np.random.Generator, content: bytes) -> bytes:
    a, b = sorted(rng.integers(0, len(content), 2))
    return content[:b] + content[a:] if rng.random() < 0.5 else content[:a] + content[b:]


def noise(rng: np.random.Generator, content: bytes) -> bytes:
    return content[: rng.integers(0, 64)] + rng.bytes(int(rng.integers(1, 4000)))


SPOIL = (truncated, flipped, flipped, overwritten, overwritten, spliced, noise)

ABSURD = ("nan", "-inf", "1e400", "-1", "0", "9" * 5000, "[" * 9000, '""', '"\\u0000"', "1e-320", "{}")
NAMES = (
    *("../../etc/passwd", "a'b\".dng", "=1+1.dng", "<script>x</script>.dng"),
    *("\x1b[2J.dng", "a\nb.dng", "é" * 120),
)


def spoiled_text(rng: np.random.Generator, content: bytes) -> bytes:
    """Words and numbers of a text exchanged for absurd ones, lines repeated or lost."""
    if rng.random() < 0.3:
        return SPOIL[rng.integers(len(SPOIL))](rng, content)
    lines = content.decode().split("\n")
    for _ in range(rng.integers(1, 4)):
        at = int(rng.integers(len(lines)))
        head, mark, _ = lines[at].partition("=" if "=" in lines[at] else ":")
        choice = rng.random()
        if choice < 0.6 and mark:
            name = json.dumps(NAMES[rng.integers(len(NAMES))])
            lines[at] = head + mark + " " + (ABSURD[rng.integers(len(ABSURD))] if rng.random() < 0.6 else name)
        elif choice < 0.8:
            lines[at:at] = [lines[at]] * int(rng.integers(1, 200))
        else:
            del lines[at]
            lines = lines or [""]
    return "\n".join(lines).encode()


# -- kinds of input -------------------------------------------------------------------------------------------


def picture(name: str) -> Callable:
    def run(rng: np.random.Generator, good: dict[str, bytes], folder: Path) -> None:
        path = folder / f"{NAMES[rng.integers(1, 5)][:4]}{name}"
        path.write_bytes(SPOIL[rng.integers(len(SPOIL))](rng, good[name]))
        shot = read_shot(path, "linear" if rng.random() < 0.7 else None)
        find_tiles(shot, LAYOUT)

    return run


def text_file(name: str, read: Callable[[Path], object]) -> Callable:
    def run(rng: np.random.Generator, good: dict[str, bytes], folder: Path) -> None:
        path = folder / name
        path.write_bytes(spoiled_text(rng, good[name]))
        for other in ("a.dng", "z.tif", "target.json"):
            if not (folder / other).exists():
                (folder / other).write_bytes(good[other])
        read(path)

    return run


def reported(path: Path) -> None:
    csv_files(read_report(path))


def odd_files(rng: np.random.Generator, good: dict[str, bytes], folder: Path) -> None:
    """A folder with pipes, links in circles, names of any bytes, and folders called like shots."""
    for number in range(rng.integers(1, 6)):
        name = os.fsencode(str(folder)) + b"/" + bytes(b for b in rng.bytes(8) if b not in b"/\0") + b".dng"
        kind = rng.integers(5)
        with contextlib.suppress(FileExistsError):
            if kind == 0:
                os.mkfifo(name)
            elif kind == 1:
                os.symlink(name, name)
            elif kind == 2:
                os.mkdir(name)
            elif kind == 3:
                os.symlink(b"/dev/zero", name)
            else:
                Path(os.fsdecode(name)).write_bytes(flipped(rng, good["a.dng"]) if number else good["a.dng"])
    for path in sorted(folder.iterdir()):
        with contextlib.suppress(BenchError):
            read_shot(path)
    start_session(folder)
    load_session(folder)


def hostile_pictures(rng: np.random.Generator, good: dict[str, bytes], folder: Path) -> None:
    """Samples that no camera gives: constant, striped, saturated, one-sided, tiny and slim frames."""
    height, width = (int(n) for n in rng.integers(32, 300, 2))
    kind = rng.integers(6)
    samples = rng.integers(0, 65535, (height, width))
    if kind == 0:
        samples[:] = rng.choice([0, 256, 65535])
    elif kind == 1:
        samples[:, :: int(rng.integers(2, 9))] = 0
    elif kind == 2:
        samples = (np.add.outer(np.arange(height), np.arange(width)) % int(rng.integers(2, 40)) < 3) * 60000
    elif kind == 3:
        samples = np.where(rng.random((height, width)) < 0.5, 65535, 0)
    pattern = (None, "RGGB", "GBRG")[rng.integers(3)]
    find_tiles(Shot.from_array(samples.astype(np.uint16), 256, 60000, pattern), LAYOUT)
    light = np.where(rng.random((height, width, 3)) < 0.01, rng.choice([1e30, -1e30, 1e-30]), samples[..., None])
    find_tiles(Shot.from_array(light, 0.0, 1.0), LAYOUT)


KINDS: dict[str, Callable] = {
    **{name: picture(name) for name in ("a.dng", "a.tif", "z.tif", "a.png", "a.jpg")},
    "session.toml": text_file("session.toml", lambda path: load_session(path.parent)),
    "goals.toml": text_file("goals.toml", read_goals),
    "target.json": text_file("target.json", read_layout),
    "report.json": text_file("report.json", reported),
    "folders": odd_files,
    "samples": hostile_pictures,
}


# -- running --------------------------------------------------------------------------------------------------


class Slow(BaseException):
    """An input took too long."""


def _alarm(*_: object) -> None:
    raise Slow


def one(number: int, seed: int, good: dict[str, bytes]) -> tuple[str, str, str]:
    """What became of one input: its kind, the outcome, and what to print of it."""
    names = list(KINDS)
    kind = names[number % len(names)]
    rng = np.random.default_rng([seed, number])
    with tempfile.TemporaryDirectory(prefix="hostile-") as outer:
        folder = Path(outer) / "bench"
        folder.mkdir()
        signal.setitimer(signal.ITIMER_REAL, STUCK_S)
        began = time.process_time()
        try:
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                KINDS[kind](rng, good, folder)
            said = "accepted", ""
        except BenchError as error:
            said = "refused", "" if str(error) else "an empty sentence"
        except Slow:
            said = "SLOW", f"input {number}"
        except Exception as error:
            said = "FAULT", f"input {number}: {type(error).__name__}: {str(error)[:150]!r}"
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
        if time.process_time() - began > SLOW_S:
            said = "SLOW", f"input {number}"
        beside = sorted(set(os.listdir(outer)) - {"bench"})
        return (kind, "WROTE ELSEWHERE", f"input {number}: {beside}") if beside else (kind, *said)


def chunk(first: int, count: int, seed: int, good: dict[str, bytes]) -> tuple[list[tuple[str, str, str]], float]:
    """The outcomes of some inputs, and the largest memory of this process and its decoder in GiB."""
    signal.signal(signal.SIGALRM, _alarm)
    outcomes = [one(number, seed, good) for number in range(first, first + count)]
    decoder.close()
    used = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return outcomes, max(used) / 2**20


def main(inputs: int = 2000, seed: int = 1, first: int = 0) -> None:
    """Run, and print the table."""
    with tempfile.TemporaryDirectory(prefix="hostile-good-") as folder:
        good = good_files(Path(folder))
    counts: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
    memory, began = 0.0, time.monotonic()
    starts = range(first, first + inputs, CHUNK)
    with get_context("spawn").Pool(2, maxtasksperchild=1) as pool:
        jobs = [
            pool.apply_async(chunk, (start, min(CHUNK, first + inputs - start), seed, good)) for start in starts
        ]
        for job in jobs:
            outcomes, used = job.get()
            memory = max(memory, used)
            for kind, outcome, said in outcomes:
                counts[kind][outcome] += 1
                if outcome not in ("accepted", "refused"):
                    print(f"  {kind}: {outcome} {said}", flush=True)
    heads = ["accepted", "refused", "FAULT", "SLOW", "WROTE ELSEWHERE"]
    print(f"{'kind':14}" + "".join(f"{head:>17}" for head in heads))
    for kind, count in counts.items():
        print(f"{kind:14}" + "".join(f"{count[head]:17,}" for head in heads))
    total = sum(counts.values(), Counter())
    print(f"{'all':14}" + "".join(f"{total[head]:17,}" for head in heads))
    print(f"largest memory of a process {memory:.2f} GiB; {time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
